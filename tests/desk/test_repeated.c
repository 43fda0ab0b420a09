/* An id that comes again: what was sent twice is one complaint, what says otherwise is refused with
 * what is on record. */
#include "desk/answer.h"
#include "desk/repeated.h"
#include "fixture.h"

static int again(struct fixture *f, const char *more, struct taking *t)
{
    int rc = fixture_take(f, FIRST, more, t);
    assert_int_equal(fixture_number(f, "SELECT count(*) FROM complaint"), 1);
    return rc;
}

static void what_is_sent_twice_is_logged_once(void **state)
{
    struct fixture *f = *state;
    struct taking t;
    fixture_log(f, FIRST, "{'packs':2,'note':'sour'}");
    assert_int_equal(again(f, "{'note':'sour','packs':2}", &t), 0);
    assert_true(t.placed.again);
    taking_clear(&t);
}

/* Of one with other content under its id: the field it names. */
static void refuses(struct fixture *f, const char *more, const char *field, const char *kept)
{
    struct taking t;
    assert_int_equal(again(f, more, &t), ERROR_CONFLICT);
    const json_t *first = json_array_get(t.faults, 0);
    assert_string_equal(json_string_value(json_object_get(first, "field")), field);
    const json_t *on_record = json_object_get(first, "kept");
    if (kept)
        assert_string_equal(json_string_value(on_record), kept);
    else
        assert_true(json_is_null(on_record));
    taking_clear(&t);
}

static void other_content_is_refused_with_what_is_on_record(void **state)
{
    struct fixture *f = *state;
    fixture_log(f, FIRST, "{'packs':2,'note':'sour'}");
    refuses(f, "{'packs':3,'note':'sour'}", "packs", "2");
    refuses(f, "{'packs':2,'note':'sour, dull'}", "note", "sour");
    refuses(f, "{'packs':2,'note':'sour','store':'0417'}", "store", NULL);
}

static void what_is_on_record_is_cut_at_a_character(void **state)
{
    struct fixture *f = *state;
    struct text_buffer long_note = {0};
    struct taking t;
    text_append(&long_note, "{'note':'s");
    for (int i = 0; i < 120; i++)
        text_append(&long_note, "á");
    text_append(&long_note, "'}");
    fixture_log(f, FIRST, long_note.data);
    assert_int_equal(again(f, "{'note':'dull'}", &t), ERROR_CONFLICT);
    assert_int_equal(json_array_size(t.faults), 1);
    taking_clear(&t);
    text_buffer_free(&long_note);
}

static void as_it_was_sent_or_as_it_stands_now_is_the_same(void **state)
{
    struct fixture *f = *state;
    struct correcting c;
    struct taking t;
    fixture_log(f, FIRST, "{'packs':2}");
    assert_int_equal(fixture_correct(f, FIRST, "{'packs':3}", &c, NULL), 0);
    fixture_corrected_clear(&c);
    static const char *const SAME[] = {"{'packs':2}", "{'packs':3}"};
    for (size_t i = 0; i < COUNT_OF(SAME); i++) {
        assert_int_equal(again(f, SAME[i], &t), 0);
        taking_clear(&t);
    }
    refuses(f, "{'packs':4}", "packs", "3");
}

static void a_name_that_was_not_known_yet_is_no_other_content(void **state)
{
    struct fixture *f = *state;
    struct taking t;
    fixture_log(f, FIRST, "{'note':'Ada Marsh called, moldy','contact':{'name':'Ada Marsh'}}");
    assert_int_equal(again(f, "{'note':'Ada Marsh called, moldy'}", &t), 0);
    taking_clear(&t);
}

/* The mask has grown since: what is kept with an older one's leavings is the same. */
static void a_mask_of_before_is_no_other_content(void **state)
{
    struct fixture *f = *state;
    struct taking t;
    fixture_log(f, FIRST, "{'note':'[name] O\u2019Hara\u2019s loaf'}");
    assert_int_equal(
        again(f, "{'note':'Ann O\u2019Hara\u2019s loaf','contact':{'name':'Ann O`Hara'}}", &t), 0);
    taking_clear(&t);
}

static size_t similar_told(struct fixture *f, bool desk)
{
    struct taking t;
    assert_int_equal(fixture_take(f, SECOND, "{'contact':{'phone':'607 555 0142'}}", &t), 0);
    t.desk = desk;
    json_t *answer = answer_taken(&f->desk, f->store, &t, NULL);
    size_t told = json_array_size(json_object_get(answer, "similar"));
    json_decref(answer);
    taking_clear(&t);
    return told;
}

static void who_called_before_is_told_to_the_desk_alone(void **state)
{
    struct fixture *f = *state;
    fixture_log(f, FIRST, "{'contact':{'phone':'6075550142'}}");
    assert_int_equal(similar_told(f, true), 1);
    assert_int_equal(similar_told(f, false), 0);
}

#define ON_A_PLANT(test) cmocka_unit_test_setup_teardown(test, fixture_clean, fixture_cleaned)

int main(void)
{
    const struct CMUnitTest tests[] = {
        ON_A_PLANT(what_is_sent_twice_is_logged_once),
        ON_A_PLANT(what_is_on_record_is_cut_at_a_character),
        ON_A_PLANT(other_content_is_refused_with_what_is_on_record),
        ON_A_PLANT(as_it_was_sent_or_as_it_stands_now_is_the_same),
        ON_A_PLANT(a_mask_of_before_is_no_other_content),
        ON_A_PLANT(who_called_before_is_told_to_the_desk_alone),
        ON_A_PLANT(a_name_that_was_not_known_yet_is_no_other_content),
    };
    return cmocka_run_group_tests(tests, fixture_open, fixture_close);
}

/* Who did what when, told of a case, a complaint and a lot. */
#include "desk/story.h"
#include "fixture.h"

static json_t *story(struct fixture *f, const char *word, bool with_contact)
{
    struct error err = {0};
    json_t *told = NULL;
    if (story_json(&f->desk, f->store, word, with_contact, &told, &err))
        fail_msg("%s", err.text);
    return told;
}

/* "logged corrected moved": what happened, in order. */
static void happened(struct fixture *f, const char *word, const char *want)
{
    struct text_buffer what = {0};
    json_t *told = story(f, word, false);
    size_t i;
    const json_t *event;
    json_array_foreach(json_object_get(told, "events"), i, event) text_appendf(
        &what, "%s%s", i ? " " : "", json_string_value(json_object_get(event, "what")));
    assert_string_equal(what.data ? what.data : "", want);
    text_buffer_free(&what);
    json_decref(told);
}

static void correct(struct fixture *f, const char *fields)
{
    struct correcting c;
    struct error err = {0};
    if (fixture_correct(f, FIRST, fields, &c, &err))
        fail_msg("%s", err.text);
    fixture_corrected_clear(&c);
}

static void a_complaint_is_told_from_its_first_day(void **state)
{
    struct fixture *f = *state;
    fixture_log(f, FIRST, "{'packs':1,'reference':'T-77'}");
    correct(f, "{'packs':2}");
    happened(f, FIRST, "logged corrected");
    happened(f, "T-77", "logged corrected");
    json_t *told = story(f, FIRST, false);
    assert_string_equal(json_string_value(json_object_get(told, "complaint")), FIRST);
    const json_t *events = json_object_get(told, "events"), *last = json_array_get(events, 1);
    static const char *const SAID[][2] = {{"by", "ivo"},
                                          {"field", "packs"},
                                          {"was", "1"},
                                          {"is", "2"},
                                          {"why", "the caller rang again"},
                                          {"at", "2026-11-20T12:01:00-05:00"},
                                          {"complaint", FIRST}};
    for (size_t i = 0; i < COUNT_OF(SAID); i++)
        assert_string_equal(json_string_value(json_object_get(last, SAID[i][0])), SAID[i][1]);
    assert_string_equal(json_string_value(json_object_get(json_array_get(events, 0), "by")),
                        "mira");
    json_decref(told);
}

static void a_case_and_a_lot_tell_what_moved_there(void **state)
{
    struct fixture *f = *state;
    fixture_log(f, FIRST, "{}");
    fixture_log(f, SECOND, "{'lot_text':'L2 6318 A0400'}");
    correct(f, "{'lot_text':'L2 6318 A0400'}");
    happened(f, "L2 6318 A0400", "moved");
    happened(f, "C2", "logged logged corrected moved moved");
    happened(f, "C1", "logged corrected moved moved");
}

static void what_was_said_is_told_to_the_desk_alone(void **state)
{
    struct fixture *f = *state;
    fixture_log(f, FIRST, "{'note':'moldy','contact':{'name':'Ada Marsh'}}");
    correct(f, "{'note':'Ada Marsh says moldy'}");
    for (int desk = 0; desk < 2; desk++) {
        json_t *told = story(f, FIRST, desk != 0);
        char *text = jsonx_dump(told);
        assert_int_equal(strstr(text, "Ada Marsh") != NULL, desk);
        assert_non_null(strstr(text, "says moldy"));
        free(text);
        json_decref(told);
    }
}

static void what_is_none_of_them_is_said_to_be_none(void **state)
{
    static const char *const NONE[] = {"C99", "L9 6318 A0400", "never heard of"};
    struct fixture *f = *state;
    for (size_t i = 0; i < COUNT_OF(NONE); i++) {
        struct error err = {0};
        json_t *told = NULL;
        assert_int_equal(story_json(&f->desk, f->store, NONE[i], false, &told, &err),
                         ERROR_NOT_FOUND);
        assert_null(told);
        assert_non_null(strstr(err.text, NONE[i]));
    }
}

#define ON_A_PLANT(test) cmocka_unit_test_setup_teardown(test, fixture_clean, fixture_cleaned)

int main(void)
{
    const struct CMUnitTest tests[] = {
        ON_A_PLANT(a_complaint_is_told_from_its_first_day),
        ON_A_PLANT(a_case_and_a_lot_tell_what_moved_there),
        ON_A_PLANT(what_was_said_is_told_to_the_desk_alone),
        ON_A_PLANT(what_is_none_of_them_is_said_to_be_none),
    };
    return cmocka_run_group_tests(tests, fixture_open, fixture_close);
}

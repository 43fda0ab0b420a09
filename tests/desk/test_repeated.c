/* An id that comes again: what was sent twice is one complaint, what says otherwise is refused with
 * what is on record. */
#include "desk/answer.h"
#include "desk/repeated.h"
#include "fixture.h"
#include "store/seen.h"

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

static const char *doubted_receipt(const struct taking *t)
{
    size_t i;
    const json_t *doubt;
    json_array_foreach(t->form->doubts, i, doubt)
    {
        if (strcmp(json_string_value(json_object_get(doubt, "field")), "received_at") == 0)
            return json_string_value(json_object_get(doubt, "value"));
    }
    return NULL;
}

/* It is taken as received when it came, with what its sender's clock said, however often. */
static void a_wrong_clock_costs_no_complaint(void **state)
{
    static const char *const STAMPS[] = {"2026-11-20T13:10:00-05:00", "2062-11-20T09:14:00-05:00",
                                         "1970-01-01T00:00:10Z"};
    struct fixture *f = *state;
    char said[96];
    for (size_t i = 0; i < COUNT_OF(STAMPS); i++) {
        struct taking t;
        int64_t now_ms = f->now_ms;
        snprintf(said, sizeof said, "{'received_at':'%s','harm':['illness']}", STAMPS[i]);
        fixture_begin(f);
        assert_int_equal(again(f, said, &t), 0);
        assert_int_equal(t.form->received_ms, now_ms);
        assert_string_equal(doubted_receipt(&t), STAMPS[i]);
        taking_clear(&t);
        f->now_ms += 7200000;
        assert_int_equal(again(f, said, &t), 0);
        assert_true(t.placed.again && !t.urgent);
        taking_clear(&t);
        f->now_ms = now_ms;
        refuses(f, "{'received_at':'2026-11-20T13:20:00-05:00','harm':['illness']}", "received_at",
                STAMPS[i]);
        fixture_end(f, false);
    }
}

/* What only a repeat says of harm the complaint says from then on, and its case. */
static void harm_of_a_refused_repeat_is_on_record(void **state)
{
    static const char ILL[] = "SELECT count(*) FROM complaint WHERE harm = 1 AND "
                              "json_extract(body, '$.harm') = '[\"illness\"]' AND "
                              "json_extract(body, '$.harm_possible') IS NULL";
    static const char CASE[] = "SELECT count(*) FROM complaint_case WHERE harm = 1";
    static const char CHANGED[] =
        "SELECT count(*) FROM complaint_change WHERE field = 'harm' AND was = '' AND now ="
        " '[\"illness\"]' AND reason LIKE '%illness%vomited%'";
    struct fixture *f = *state;
    struct taking t;
    fixture_log(f, FIRST, "{'note':'sour'}");
    for (int i = 0; i < 2; i++) {
        assert_int_equal(again(f, "{'note':'sour, and my son vomited'}", &t), ERROR_CONFLICT);
        assert_true((t.urgent != NULL) == (i == 0));
        assert_int_equal(fixture_number(f, ILL), 1);
        assert_int_equal(fixture_number(f, CASE), 1);
        assert_int_equal(fixture_number(f, CHANGED), 1);
        taking_clear(&t);
    }
}

/* Beside what it says already, and what may be said of it. */
static void graver_harm_of_a_repeat_is_on_record(void **state)
{
    static const struct {
        const char *first, *repeat, *harm;
        int possible;
    } ROWS[] = {
        {"{'note':'green mold, and I got sick, vomiting'}",
         "{'note':'x','harm':['foreign-matter','injury']}",
         "[\"illness\",\"foreign-matter\",\"injury\"]", 0},
        {"{'note':'green mold','harm_possible':true}", "{'note':'x','harm':['tampering']}",
         "[\"tampering\"]", 0},
        {"{'note':'green mold','harm':['illness']}",
         "{'note':'green mold, she died in hospital','harm':['illness']}", "[\"illness\"]", 0},
        {"{'note':'green mold','harm':[]}", "{'note':'green mold','harm':[],'harm_possible':true}",
         "[]", 1},
    };
    static const char SAID[] =
        "SELECT count(*) FROM complaint WHERE json_extract(body, '$.harm') = ?1 AND "
        "coalesce(json_extract(body, '$.harm_possible'), 0) = ?2";
    struct fixture *f = *state;
    struct taking t;
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        int64_t said = 0;
        struct error err = {0};
        fixture_begin(f);
        fixture_log(f, FIRST, ROWS[i].first);
        again(f, ROWS[i].repeat, &t);
        db_number(f->store, SAID, DB(DB_TEXT(ROWS[i].harm), DB_INT(ROWS[i].possible)), &said, &err);
        if (said != 1)
            fail_msg("%zu: not %s", i, ROWS[i].harm);
        taking_clear(&t);
        fixture_end(f, false);
    }
}

static bool said_to_mail(struct fixture *f, const struct taking *t)
{
    json_t *answer = answer_taken(&f->desk, f->store, t, NULL);
    const char *alarm = json_string_value(json_object_get(answer, "alarm"));
    bool mails = alarm && strcmp(alarm, "an urgent mail goes out at once") == 0;
    json_decref(answer);
    return mails;
}

static const char *mail_is_set_up(const void *arg)
{
    (void)arg;
    return NULL;
}

/* Whatever of harm is new in a repeat is mailed, once, and on record; the desk is told so, of that
 * alone. */
static void each_kind_of_harm_in_a_repeat_is_mailed_once(void **state)
{
    static const char MAILS[] = "SELECT count(*) FROM outbox WHERE event = 'urgent'";
    static const char CHANGES[] =
        "SELECT count(*) FROM complaint_change WHERE field = 'harm' AND reason LIKE '%repeat%'";
    static const char ANAPHYLAXIS[] =
        "{'note':'green mold; my son had an allergic reaction to sesame, he is in hospital'}";
    static const struct {
        const char *first, *repeats[3];
    } ROWS[] = {
        {"{'note':'green mold, and I got sick, vomiting'}",
         {ANAPHYLAXIS, "{'note':'x','harm':['foreign-matter','illness']}",
          "{'note':'x','harm':['tampering']}"}},
        {"{'note':'green mold'}",
         {"{'note':'green mold, and a piece of glass in it'}", ANAPHYLAXIS,
          "{'note':'x','harm':['wrong-label']}"}},
        {"{'note':'green mold'}",
         {"{'note':'green mold','harm_possible':true}", ANAPHYLAXIS,
          "{'note':'x','harm':['foreign-matter']}"}},
    };
    struct fixture *f = *state;
    struct taking t;
    f->desk.no_alarm = mail_is_set_up;
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        fixture_begin(f);
        fixture_log(f, FIRST, ROWS[i].first);
        int64_t mails = fixture_number(f, MAILS);
        for (size_t k = 0; k < 6; k++) { /* each of them twice */
            f->now_ms += 1000;
            again(f, ROWS[i].repeats[k / 2], &t);
            mails += k % 2 == 0;
            if (said_to_mail(f, &t) != (k % 2 == 0) || fixture_number(f, MAILS) != mails)
                fail_msg("%zu, repeat %zu: %lld mails", i, k, (long long)fixture_number(f, MAILS));
            taking_clear(&t);
        }
        assert_int_equal(fixture_number(f, CHANGES), 3);
        fixture_end(f, false);
    }
    f->desk.no_alarm = fixture_nobody;
}

/* What an export gives, loaded where it came from. */
static void a_joined_report_of_harm_is_no_news(void **state)
{
    static const char SAID[] = "{'same_as':'" FIRST "','harm':['illness'],'note':'sick'}";
    struct fixture *f = *state;
    struct taking t;
    fixture_log(f, FIRST, "{}");
    fixture_log(f, SECOND, SAID);
    assert_int_equal(fixture_number(f, "SELECT count(*) FROM outbox"), 1);
    assert_int_equal(fixture_take(f, SECOND, SAID, &t), 0);
    assert_true(t.placed.again && !t.urgent);
    taking_clear(&t);
    assert_int_equal(fixture_number(f, "SELECT count(*) FROM outbox"), 1);
}

/* Whoever has the file mends it. */
static void a_row_of_a_file_is_refused_for_its_time(void **state)
{
    struct fixture *f = *state;
    static const struct {
        const char *source;
        bool taken;
    } ROWS[] = {{"calls.csv", false}, {"spool", true}, {NULL, true}};
    json_t *said = fixture_complaint(FIRST, "{'received_at':'2062-11-20T09:14:00-05:00'}");
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        struct taking t = {.source = ROWS[i].source, .line = 3};
        taking_read(&f->desk, f->store, said, f->now_ms, &t);
        assert_true(ROWS[i].taken == (t.form != NULL));
        taking_clear(&t);
    }
    json_decref(said);
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
    seen_set(f->store, &(struct seen_plants){.count = 1, .plant = {"elsewhere"}, .user = "jo"});
    assert_int_equal(similar_told(f, true), 0); /* nor to another plant's desk */
    seen_set(f->store, NULL);
    assert_int_equal(similar_told(f, true), 1);
}

#define ON_A_PLANT(test) cmocka_unit_test_setup_teardown(test, fixture_clean, fixture_cleaned)

/* Each word of gravity is mailed when it is said first, beside a kind that is told. */
static void gravity_in_a_repeat_is_mailed_once(void **state)
{
    static const char MAILS[] = "SELECT count(*) FROM outbox WHERE event = 'urgent'";
    static const char KEPT[] = "SELECT count(*) FROM complaint_change WHERE field = 'harm' AND "
                               "reason LIKE '%says illness (died)%'";
    static const char *const NOTES[] = {
        "{'note':'I felt ill after eating it. She is in hospital now, in intensive care'}",
        "{'note':'I felt ill after eating it. She died of it'}",
        "{'note':'I felt ill after eating it. Listeria was found in her blood'}"};
    struct fixture *f = *state;
    struct taking t;
    fixture_log(f, FIRST, "{'note':'I felt ill after eating it'}");
    int64_t mails = fixture_number(f, MAILS);
    assert_int_equal(mails, 1);
    for (size_t k = 0; k < 2 * COUNT_OF(NOTES); k++) { /* each of them twice */
        f->now_ms += 1000;
        assert_int_equal(again(f, NOTES[k / 2], &t), ERROR_CONFLICT);
        mails += k % 2 == 0;
        if (fixture_number(f, MAILS) != mails)
            fail_msg("repeat %zu: %lld mails", k, (long long)fixture_number(f, MAILS));
        taking_clear(&t);
    }
    assert_int_equal(fixture_number(f, KEPT), 1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        ON_A_PLANT(what_is_sent_twice_is_logged_once),
        ON_A_PLANT(what_is_on_record_is_cut_at_a_character),
        ON_A_PLANT(other_content_is_refused_with_what_is_on_record),
        ON_A_PLANT(as_it_was_sent_or_as_it_stands_now_is_the_same),
        ON_A_PLANT(a_mask_of_before_is_no_other_content),
        ON_A_PLANT(a_wrong_clock_costs_no_complaint),
        ON_A_PLANT(a_row_of_a_file_is_refused_for_its_time),
        ON_A_PLANT(harm_of_a_refused_repeat_is_on_record),
        ON_A_PLANT(graver_harm_of_a_repeat_is_on_record),
        ON_A_PLANT(each_kind_of_harm_in_a_repeat_is_mailed_once),
        ON_A_PLANT(gravity_in_a_repeat_is_mailed_once),
        ON_A_PLANT(a_joined_report_of_harm_is_no_news),
        ON_A_PLANT(who_called_before_is_told_to_the_desk_alone),
        ON_A_PLANT(a_name_that_was_not_known_yet_is_no_other_content),
    };
    return cmocka_run_group_tests(tests, fixture_open, fixture_close);
}

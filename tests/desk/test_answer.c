/* What whoever sent a complaint is answered, whole: logged, refused, in a hurry, previewed; and
 * what a change is answered about harm. */
#include "../told.h"
#include "desk/answer.h"
#include "desk/lot_harm.h"
#include "desk/unkept.h"
#include "fixture.h"
#include "store/measured.h"
#include <math.h>

static const char *const SENT[][2] = {
    {"plain", "{'packs':2,'kept':'counter'}"},
    {"harm", "{'harm':['illness'],'contact':{'phone':'555 0123'},'note':'my son was sick'}"},
    {"possible", "{'note':'my son had a stomach ache'}"},
    {"unknown_lot", "{'lot_text':'ZZ 9','note':'bought on Friday'}"},
    {"of_lot_two", "{'lot_text':'L2 6318 A0400','same_as':'" FIRST "','note':'and sour'}"},
    {"by_the_driver", "{'channel':'route','note':'green on the tray'}"},
    {"refused", "{'packs':-1,'symptom':'blue','note':'it is moldy'}"},
    {"refused_harm", "{'packs':-1,'note':'my son was sick all night from it'}"},
};

static void as_sent(struct fixture *f, const char *name, struct taking *t)
{
    json_t *ranking = fixture_json(
        "{'harm':false,'ranked':[{'cause':'a','title':'A','probability':0.5,'bits':[]},"
        "{'cause':'b','title':'B','probability':0.3},{'cause':'c','title':'C','probability':0.1},"
        "{'cause':'d','title':'D','probability':0.05}],'ask':['when'],'caller_cautions':['wash']}");
    char file[64];
    snprintf(file, sizeof file, "answer_%s", name);
    json_t *taken = answer_taken(&f->desk, f->store, t, ranking);
    json_t *bare = answer_taken(&f->desk, f->store, t, NULL);
    json_object_set_new(ranking, "harm_possible", json_true());
    json_t *beside = answer_taken(&f->desk, f->store, t, ranking);
    told_check("desk", file,
               json_pack("{s:o, s:o, s:o, s:o, s:o}", "taken", taken, "bare", bare, "beside",
                         beside, "busy", answer_busy(&f->desk, t, true), "refused",
                         answer_refused_harm(&f->desk, t)));
    json_decref(ranking);
}

static void what_is_answered_is_as_it_was(void **state)
{
    struct fixture *f = *state;
    fixture_log(f, FIRST, "{}");
    f->desk.similar_ms = 7 * WHEN_DAY_MS;
    for (size_t i = 0; i < COUNT_OF(SENT); i++) {
        struct taking t;
        fixture_begin(f);
        fixture_take(f, SECOND, SENT[i][1], &t);
        t.desk = true;
        as_sent(f, SENT[i][0], &t);
        taking_clear(&t);
        fixture_end(f, false);
    }
    for (int times = 0; times < 2; times++) { /* the second is a repeat */
        struct taking t;
        fixture_take(f, SECOND, SENT[1][1], &t);
        as_sent(f, times ? "again" : "once", &t);
        taking_clear(&t);
    }
}

/* Bread that cut somebody is told to whoever calls of it next, whatever it is about, of a lot on
 * record and of a code that is on none; of another lot it is not. */
static void harm_of_the_lot_is_told_of_any_symptom(void **state)
{
    static const struct {
        const char *first, *then, *says; /* NULL: nothing */
    } CASES[] = {{"{'symptom':'other','harm':['injury']}", "{}", "an earlier caller reported harm"},
                 {"{'symptom':'other','lot_text':'ZZ 99 17','harm':['injury']}",
                  "{'lot_text':'ZZ-9917'}", "an earlier caller reported harm"},
                 {"{'symptom':'other','note':'could it be that a child got sick from this'}", "{}",
                  "nobody has read it"},
                 {"{'symptom':'other','harm':['injury']}", "{'lot_text':'L2 6318 A0400'}", NULL},
                 {"{'symptom':'other','lot_text':'ZZ 99 17','harm':['injury']}",
                  "{'lot_text':'ZZ 99 18'}", NULL},
                 {"{'symptom':'other','note':'wet'}", "{}", NULL}};
    struct fixture *f = *state;
    for (size_t i = 0; i < COUNT_OF(CASES); i++) {
        struct taking t;
        fixture_begin(f);
        fixture_log(f, FIRST, CASES[i].first);
        assert_int_equal(fixture_take(f, SECOND, CASES[i].then, &t), 0);
        json_t *ranking = fixture_json("{'ranked':[{'cause':'a','title':'A','probability':0.5}]}");
        json_t *answer = answer_taken(&f->desk, f->store, &t, ranking);
        const char *says = json_string_value(json_object_get(answer, "earlier_harm"));
        if (!says != !CASES[i].says || (says && !strstr(says, CASES[i].says)))
            fail_msg("%d: %s", (int)i, says ? says : "nothing");
        assert_int_equal(json_array_size(json_object_get(answer, "ranked")), says ? 0 : 1);
        json_t *page = json_pack("{s:s?}", "lot_text", complaint_form_text(t.form, "lot_text"));
        assert_int_equal(
            lot_harm_json(&f->desk, f->store, t.placed.case_id, t.placed.lot_id, page, NULL), 0);
        assert_int_equal(json_object_get(page, "harm_elsewhere") != NULL, says != NULL);
        json_decref(page);
        json_decref(answer);
        json_decref(ranking);
        taking_clear(&t);
        fixture_end(f, false);
    }
}

/* What a laboratory found in the lot is no caller's word, and hurts the next one all the same. */
static void harm_a_laboratory_found_is_told_to_whoever_calls(void **state)
{
    static const struct {
        const char *found, *then, *says; /* NULL: nothing */
    } CASES[] = {{"positive", "{'symptom':'staling'}", "a laboratory found harm"},
                 {"positive", "{'lot_text':'L2 6318 A0400'}", NULL},
                 {"not detected", "{'symptom':'staling'}", NULL}};
    struct fixture *f = *state;
    for (size_t i = 0; i < COUNT_OF(CASES); i++) {
        struct taking t;
        struct error err = {0};
        enum measured_outcome outcome;
        const struct measured_row row = {.lot_id = 1,
                                         .quantity = "salmonella",
                                         .lab = "Millgate",
                                         .sample = "S1",
                                         .said = CASES[i].found,
                                         .value = NAN,
                                         .unit = "",
                                         .word = "",
                                         .method = "",
                                         .note = "",
                                         .at_ms = f->now_ms,
                                         .by_name = "jo",
                                         .user = "",
                                         .logged_ms = f->now_ms,
                                         .reason = ""};
        fixture_begin(f);
        assert_int_equal(measured_put(f->store, &row, &outcome, &err), 0);
        assert_int_equal(fixture_take(f, SECOND, CASES[i].then, &t), 0);
        json_t *ranking = fixture_json("{'ranked':[{'cause':'a','title':'A','probability':0.5}]}");
        json_t *answer = answer_taken(&f->desk, f->store, &t, ranking), *page = json_object();
        const char *says = json_string_value(json_object_get(answer, "earlier_harm"));
        if (!says != !CASES[i].says || (says && !strstr(says, CASES[i].says)))
            fail_msg("%d: %s", (int)i, says ? says : "nothing");
        assert_int_equal(json_array_size(json_object_get(answer, "ranked")), says ? 0 : 1);
        assert_int_equal(
            lot_harm_json(&f->desk, f->store, t.placed.case_id, t.placed.lot_id, page, NULL), 0);
        const json_t *lot = json_object_get(json_object_get(page, "harm_elsewhere"), "lot");
        assert_int_equal(lot != NULL, says != NULL);
        json_decref(page);
        json_decref(answer);
        json_decref(ranking);
        taking_clear(&t);
        fixture_end(f, false);
    }
}

static const char *no_reason(const void *arg)
{
    (void)arg;
    return NULL;
}

static void a_preview_promises_no_mail(void **state)
{
    struct fixture *f = *state;
    const char *(*const kept)(const void *) = f->desk.no_alarm;
    f->desk.no_alarm = no_reason;
    for (int i = 0; i < 3; i++) {
        char name[32];
        struct taking t = {.alone = true, .desk = true};
        json_t *said = fixture_complaint(SECOND, SENT[i][1]);
        taking_read(&f->desk, f->store, said, f->now_ms, &t);
        snprintf(name, sizeof name, "preview_%s", SENT[i][0]);
        told_check("desk", name, answer_preview(&f->desk, f->store, &t, NULL, f->now_ms));
        taking_clear(&t);
        json_decref(said);
    }
    f->desk.no_alarm = kept;
}

/* Whether a mail leaves is said by what was just queued. */
static void a_change_is_answered_about_harm(void **state)
{
    static const struct {
        const char *harm, *alarm;
        bool possible, came, gathered;
    } CASES[] = {{NULL, NULL, false, true, false},
                 {"['illness']", "an urgent mail goes out at once", false, true, false},
                 {"['illness']", "its mail was queued when it was first said", true, false, false},
                 {"['illness']", "harm of this case was mailed a moment ago", false, true, true},
                 {NULL, "an urgent mail goes out at once", true, true, false}};
    struct fixture *f = *state;
    const char *(*const kept)(const void *) = f->desk.no_alarm;
    f->desk.no_alarm = no_reason;
    for (size_t i = 0; i < COUNT_OF(CASES); i++) {
        json_t *harm = CASES[i].harm ? fixture_json(CASES[i].harm) : NULL, *answer = json_object();
        const struct answer_harm says = {.harm = harm,
                                         .possible = CASES[i].possible,
                                         .came = CASES[i].came,
                                         .gathered = CASES[i].gathered,
                                         .reachable = true};
        answer_changed_harm(&f->desk, f->store, &says, NULL, f->now_ms, answer);
        const char *alarm = json_string_value(json_object_get(answer, "alarm"));
        if (!CASES[i].alarm != !alarm || (alarm && !strstr(alarm, CASES[i].alarm)))
            fail_msg("%d: %s", (int)i, alarm ? alarm : "no alarm");
        assert_int_equal(json_object_get(answer, "script") != NULL, CASES[i].alarm != NULL);
        assert_int_equal(json_is_true(json_object_get(answer, "harm_possible")),
                         CASES[i].possible && !harm);
        assert_int_equal(json_array_size(json_object_get(answer, "harm")), harm ? 1 : 0);
        assert_true(json_is_array(json_object_get(answer, "cautions")));
        json_decref(harm);
        json_decref(answer);
    }
    assert_string_equal(answer_alarm(&f->desk, f->store, f->now_ms),
                        "an urgent mail goes out at once");
    f->desk.no_alarm = kept;
    assert_string_equal(answer_alarm(&f->desk, f->store, f->now_ms), "no mail is set up");
}

/* What is no JSON is heard all the same. */
static void what_is_broken_is_heard(void **state)
{
    static const char BROKEN[] = "{\"note\": \"my son was sick all night from it\", ";
    struct fixture *f = *state;
    struct taking t = {.alone = true};
    error_set(&t.err, ERROR_INVALID, "is no JSON");
    taking_read_broken(&f->desk, BROKEN, sizeof BROKEN - 1, f->now_ms, &t);
    told_check("desk", "answer_broken", answer_refused_harm(&f->desk, &t));
    assert_null(t.form);
    assert_non_null(t.urgent);
    taking_clear(&t);
}

/* Nothing could be kept: each kind is said once, with whom to phone, and nothing where there was no
 * harm. What was refused is heard as it stands. */
static void harm_that_cannot_be_kept_is_said(void **state)
{
    static const struct {
        const char *harm[3]; /* "": none, "?": possible */
        const char *kinds;
        bool possible;
    } UNKEPT[] = {{{"", "", ""}, NULL, false},
                  {{"['illness']", "", "['illness', 'injury']"}, "['illness', 'injury']", false},
                  {{"", "?", ""}, NULL, true},
                  {{"?", "['injury']", ""}, "['injury']", true}};
    struct fixture *f = *state;
    for (size_t i = 0; i < COUNT_OF(UNKEPT); i++) {
        struct taking taking[3] = {{.reachable = true}, {.reachable = true}, {.reachable = true}};
        for (int k = 0; k < 3; k++) {
            const char *said = UNKEPT[i].harm[k];
            taking[k].harm = *said == '[' ? fixture_json(said) : NULL;
            taking[k].harm_possible = *said == '?';
        }
        json_t *answer = unkept_takings(&f->desk, taking, 3);
        json_t *kinds = UNKEPT[i].kinds ? fixture_json(UNKEPT[i].kinds) : NULL;
        const json_t *got = json_object_get(answer, "harm");
        assert_true(kinds ? json_equal(got, kinds) : got == NULL);
        assert_int_equal(json_is_true(json_object_get(answer, "harm_possible")),
                         UNKEPT[i].possible);
        const bool any = kinds || UNKEPT[i].possible;
        const char *alarm = json_string_value(json_object_get(answer, "alarm"));
        assert_int_equal(alarm != NULL, any);
        assert_true(!alarm || strstr(alarm, "phone the food-safety lead now"));
        assert_int_equal(json_object_get(answer, "script") != NULL, any);
        json_decref(kinds);
        json_decref(answer);
        for (int k = 0; k < 3; k++)
            json_decref(taking[k].harm);
    }
}

/* Of any request that was refused, whatever its members are called: JSON, lines of it, and neither.
 * A word of the field is one; what denies it is none; nothing is heard beyond what is read. */
static void a_refused_body_is_heard(void **state)
{
    static const struct {
        const char *body, *kinds; /* NULL: none */
        bool possible;
    } BODIES[] = {
        {"{'note':'rang the store','by':'mira'}", NULL, false},
        {"{'note':'her son was sick all night from it','by':'mira'}", "['illness']", false},
        {"{'fields':{'harm':['injury']},'reason':'x'}", "['injury']", false},
        {"{'lots':['L1'],'reason':'a customer cut her mouth on a piece of metal in it'}",
         "['injury','foreign-matter']", false},
        {"{'results':[{'quantity':'x','note':'it may make somebody sick'}]}", NULL, true},
        {"{'note':'all quiet'}\n{'note':'her son was sick all night from it'}\n", "['illness']",
         false},
        {"{'note':'her son was sick all night from it','due'", "['illness']", false},
        {"{'note':'her son was sick\nall night from it'", "['illness']", false},
        {"{'by':'Ann Sick','cause':'rope','note':'fan mended'}", NULL, false},
        {"{'by':'Ann','owner':'her son was sick all night from it'}", "['illness']", false},
        {"{'by':'Ann','note':'oglum ekmegi yedikten sonra hastanede'}", NULL, true},
        {"{'harm_possible':true}", NULL, true},
        {"\n\n\n", NULL, false},
        {"", NULL, false},
    };
    struct fixture *f = *state;
    for (size_t i = 0; i < COUNT_OF(BODIES); i++) {
        char *body = fixture_text(BODIES[i].body);
        json_t *kinds = BODIES[i].kinds ? fixture_json(BODIES[i].kinds) : NULL;
        json_t *told = unkept_body(&f->desk, body, strlen(body));
        const json_t *got = json_object_get(told, "harm");
        if (kinds ? !json_equal(got, kinds) : got != NULL)
            fail_msg("%s: %s", body, jsonx_dump(told));
        assert_int_equal(json_is_true(json_object_get(told, "harm_possible")), BODIES[i].possible);
        assert_int_equal(json_object_get(told, "script") != NULL, kinds || BODIES[i].possible);
        json_decref(told);
        json_decref(kinds);
        free(body);
    }
}

static void of_a_body_so_much_is_read(void **state)
{
    static const char SAID[] = "my son was sick all night from it";
    struct fixture *f = *state;
    char *body = xcalloc(1, UNKEPT_READ + sizeof SAID);
    memset(body, ' ', UNKEPT_READ);
    memcpy(body + UNKEPT_READ - sizeof SAID + 1, SAID, sizeof SAID - 1);
    json_t *told = unkept_body(&f->desk, body, UNKEPT_READ);
    assert_non_null(json_object_get(told, "harm"));
    json_decref(told);
    memset(body, ' ', UNKEPT_READ);
    memcpy(body + UNKEPT_READ, SAID, sizeof SAID);
    told = unkept_body(&f->desk, body, strlen(body));
    assert_null(json_object_get(told, "harm"));
    assert_non_null(strstr(json_string_value(json_object_get(told, "hint")), "not all of it"));
    json_decref(told);
    told = unkept_body(&f->desk, body, UNKEPT_READ);
    assert_int_equal(json_object_size(told), 0);
    json_decref(told);
    free(body);
}

/* Bread of two lots, or a code beside the one that was typed: the mail names each. */
static void each_lot_of_harm_is_named(void **state)
{
    static const struct {
        const char *said, *says;
    } ROWS[] = {
        {"{'lot_text':'','note':'glass in L1 6318 A0400 and in L2 6318 A0400'}",
         "%names several lots: L1 6318 A0400, L2 6318 A0400: hold%"},
        {"{'note':'glass in L1 6318 A0400 and in L2 6318 A0400'}",
         "%names other lots, too: L2 6318 A0400: hold%"},
        {"{'lot_text':'L1 6318 A0400, L2 6318 A0400','harm':['illness']}", "%L2 6318 A0400: hold%"},
        {"{'note':'glass in L1 6318 A0400, L1 6318 A0400'}", NULL},
        {"{'note':'glass in it, call 607 555 0142'}", NULL},
        {"{'note':'moldy, L2 6318 A0400 too'}", NULL}, /* of no harm nothing is in a hurry */
    };
    static const char SAYS[] = "SELECT count(*) FROM outbox_text WHERE payload LIKE ?1";
    struct fixture *f = *state;
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        int64_t told = -1;
        struct error err = {0};
        fixture_begin(f);
        fixture_log(f, FIRST, ROWS[i].said);
        const char *says = ROWS[i].says ? ROWS[i].says : "%lots%hold and look at each%";
        assert_int_equal(db_number(f->store, SAYS, DB(DB_TEXT(says)), &told, &err), 0);
        if (told != (ROWS[i].says != NULL))
            fail_msg("%s: %lld", ROWS[i].said, (long long)told);
        fixture_end(f, false);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(what_is_answered_is_as_it_was, fixture_clean,
                                        fixture_cleaned),
        cmocka_unit_test_setup_teardown(harm_of_the_lot_is_told_of_any_symptom, fixture_clean,
                                        fixture_cleaned),
        cmocka_unit_test_setup_teardown(harm_a_laboratory_found_is_told_to_whoever_calls,
                                        fixture_clean, fixture_cleaned),
        cmocka_unit_test_setup_teardown(a_preview_promises_no_mail, fixture_clean, fixture_cleaned),
        cmocka_unit_test_setup_teardown(a_change_is_answered_about_harm, fixture_clean,
                                        fixture_cleaned),
        cmocka_unit_test_setup_teardown(harm_that_cannot_be_kept_is_said, fixture_clean,
                                        fixture_cleaned),
        cmocka_unit_test_setup_teardown(each_lot_of_harm_is_named, fixture_clean, fixture_cleaned),
        cmocka_unit_test_setup_teardown(what_is_broken_is_heard, fixture_clean, fixture_cleaned),
        cmocka_unit_test_setup_teardown(a_refused_body_is_heard, fixture_clean, fixture_cleaned),
        cmocka_unit_test_setup_teardown(of_a_body_so_much_is_read, fixture_clean, fixture_cleaned),
    };
    return cmocka_run_group_tests(tests, fixture_open, fixture_close);
}

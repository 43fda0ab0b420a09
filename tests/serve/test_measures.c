/* What a laboratory's result sets going among the cases about its lot. */
#include "fixture.h"
#include "serve/health.h"

enum { OTHERS = 25 };

static int setup(void **state)
{
    *state = fixture_start(FIXTURE_SETTINGS);
    return 0;
}

static int teardown(void **state)
{
    return fixture_stop(*state);
}

static int may_be_about_it(struct store *store, void *arg, struct error *err)
{
    (void)arg;
    return db_exec(store,
                   "INSERT INTO complaint_lot(complaint_id, lot_id, weight) SELECT c.id, l.id, 0.5"
                   " FROM complaint c, lot l WHERE c.lot_id IS NULL ON CONFLICT DO NOTHING",
                   err);
}

static void load_lot(struct fixture *f)
{
    fixture_does(f, "POST records/products?source=p.csv",
                 "product,name,family,shelf_life_days,unit_g\nW24,White 24,pan-bread,10,680\n",
                 200);
    fixture_does(f, "POST records/lots?source=l.csv",
                 "lot,product,line,made_from,made_to,packed_from,packed_to,units,code_date\n"
                 "L1 6318 A0400,W24,1,2026-11-14T01:00:00-05:00,2026-11-14T02:00:00-05:00,"
                 "2026-11-14T04:00:00-05:00,2026-11-14T06:00:00-05:00,9000,2026-11-24\n",
                 200);
}

/* Many cases may be about it, all older than its own: each is marked, its own is told of, and as
 * many are told one by one as an answer holds, its own among them. */
static void all_cases_of_a_lot_hear_it(void **state)
{
    struct fixture *f = *state;
    struct error err = {0};
    load_lot(f);
    for (int i = 0; i <= OTHERS; i++) {
        char id[64];
        snprintf(id, sizeof id, "01990000-0000-7000-8000-0000000000%02d", i + 10);
        fixture_log(f, id, i < OTHERS ? "" : ",'lot_text':'L1 6318 A0400'");
    }
    assert_int_equal(writer_run(f->app.writer, may_be_about_it, NULL, &err), 0);
    assert_int_equal(fixture_count(f, "SELECT count(*) FROM complaint_case"), OTHERS + 1);
    struct asked *a = fixture_ask(f, f->store, "POST lots/measure",
                                  "{'by':'jo','lab':'Millgate','sample':'S1','lot':'L1 6318 "
                                  "A0400','results':[{'quantity':'salmonella','value':"
                                  "'positive'}]}");
    if (a->status >= 300)
        fail_msg("%d %s", a->status, a->body.data);
    json_t *answer = NULL;
    assert_int_equal(jsonx_parse(a->body.data, a->body.length, &answer, &err), 0);
    const json_t *cases = json_object_get(answer, "cases");
    assert_int_equal(json_array_size(cases), 20);
    assert_string_equal(json_string_value(json_object_get(json_array_get(cases, 0), "case")),
                        "C26");
    assert_string_equal(
        json_string_value(json_object_get(json_object_get(answer, "heard"), "complaint")),
        "01990000-0000-7000-8000-000000000035");
    json_decref(answer);
    fixture_asked_free(a);
    assert_int_equal(fixture_count(f, "SELECT count(*) FROM complaint WHERE json_extract(body,"
                                      " '$.harm_possible') = 1"),
                     OTHERS + 1);
}

static json_t *answer_of(struct fixture *f, const char *what, const char *body)
{
    struct error err = {0};
    json_t *answer = NULL;
    struct asked *a = fixture_ask(f, f->store, what, body);
    if (a->status >= 300)
        fail_msg("%s: %d %s", what, a->status, a->body.data);
    assert_int_equal(jsonx_parse(a->body.data, a->body.length, &answer, &err), 0);
    fixture_asked_free(a);
    return answer;
}

/* Nobody complained of it: its own page tells it, until it is taken back. */
static void a_lot_of_no_case_tells_what_was_found_in_it(void **state)
{
    static const char *const VALUES[] = {"'absent/25 g'", "'positive'", "null"};
    struct fixture *f = *state;
    load_lot(f);
    for (size_t i = 0; i < COUNT_OF(VALUES); i++) {
        char body[300];
        snprintf(body, sizeof body,
                 "{'by':'jo','lab':'Millgate','sample':'S1','lot':'L1 6318 A0400',"
                 "'reason':'a slip','results':[{'quantity':'salmonella','value':%s}]}",
                 VALUES[i]);
        json_decref(answer_of(f, "POST lots/measure", body));
        json_t *answer = answer_of(f, "GET lots/L1%206318%20A0400", NULL);
        const json_t *found = json_object_get(answer, "open_harm"), *one = json_array_get(found, 0);
        assert_int_equal(json_array_size(json_object_get(answer, "cases")), 0);
        assert_int_equal(json_array_size(found), i == 1);
        if (one) {
            static const char *const IS[][2] = {{"lot", "L1 6318 A0400"},
                                                {"lab", "Millgate"},
                                                {"sample", "S1"},
                                                {"spoken", "salmonella positive"},
                                                {"by", "jo"}};
            for (size_t k = 0; k < COUNT_OF(IS); k++)
                assert_string_equal(json_string_value(json_object_get(one, IS[k][0])), IS[k][1]);
        }
        json_decref(answer);
    }
}

static void measure(struct fixture *f, const char *results)
{
    struct text_buffer body = {0};
    text_appendf(&body,
                 "{'by':'jo','lab':'Millgate','sample':'S1','lot':'L1 6318 A0400','reason':'a "
                 "slip','results':[%s]}",
                 results);
    json_decref(answer_of(f, "POST lots/measure", body.data));
    text_buffer_free(&body);
    f->now_ms += 1000;
}

/* As status tells a plant's people: is somebody to decide about a lot? */
static bool is_needed(struct fixture *f)
{
    bool needed = false;
    size_t i;
    const json_t *need;
    struct setup *setup = app_setup(&f->app);
    json_t *needs = health_needs_of_plants(setup, f->store);
    json_array_foreach(needs, i, need)
    {
        if (strcmp(json_string_value(json_object_get(need, "what")), "harm-in-lots") == 0)
            needed = strstr(json_string_value(json_object_get(need, "says")), ": 1");
    }
    json_decref(needs);
    setup_unref(setup);
    return needed;
}

/* Of what a week, or a month, tells of it: the sentence; "" none. */
static void sentence_of(struct fixture *f, const char *span, char *out, size_t size)
{
    size_t i;
    const json_t *line;
    char what[40];
    snprintf(what, sizeof what, "GET %s", span);
    json_t *report = answer_of(f, what, NULL);
    *out = '\0';
    json_array_foreach(json_object_get(report, "headline"), i, line)
    {
        if (strstr(json_string_value(line), "laboratory result"))
            text_clip(json_string_value(line), out, size);
    }
    json_decref(report);
}

static void is_told(struct fixture *f, const char *sentence)
{
    static const char *const SPANS[] = {"weeks/2026-W48", "weeks/2026-W47", "spans/2026-11",
                                        "spans/2026"};
    char told[200];
    for (size_t i = 0; i < COUNT_OF(SPANS); i++) {
        sentence_of(f, SPANS[i], told, sizeof told);
        assert_string_equal(told, sentence);
    }
}

/* Until somebody holds the lot, or has decided about it since, or the result is taken back. */
static void what_no_case_tells_needs_somebody(void **state)
{
    struct fixture *f = *state;
    load_lot(f);
    assert_false(is_needed(f));
    measure(f, "{'quantity':'crumb_colour','value':'yellow'}");
    assert_false(is_needed(f));
    is_told(f, "");
    measure(f, "{'quantity':'glass','value':'3 grains'}");
    assert_true(is_needed(f));
    is_told(f,
            "1 laboratory result says harm or may: lot L1 6318 A0400: glass 3 grains (Millgate), "
            "NOT on hold");
    fixture_does(f, "POST lots/hold", "{'by':'mira','lots':['L1 6318 A0400'],'reason':'x'}", 200);
    assert_false(is_needed(f));
    is_told(f,
            "1 laboratory result says harm or may: lot L1 6318 A0400: glass 3 grains (Millgate), "
            "on hold");
    f->now_ms += 60000;
    fixture_does(f, "POST lots/release",
                 "{'by':'mira','lots':['L1 6318 A0400'],'reason':'x','disposition':'release'}",
                 409);
    fixture_does(f, "POST lots/release",
                 "{'by':'mira','lots':['L1 6318 A0400'],'reason':'x','disposition':'destroy'}",
                 200);
    assert_false(is_needed(f));
    f->now_ms += 60000;
    measure(f, "{'quantity':'salmonella','value':'positive'}"); /* of what is left of it */
    assert_true(is_needed(f));
    measure(f, "{'quantity':'salmonella','value':null},{'quantity':'glass','value':null}");
    assert_false(is_needed(f));
    is_told(f, "");
}

/* A result of a lot that nobody loaded is not kept; who found it is told whom to phone. */
static void harm_in_a_result_that_is_refused_is_heard(void **state)
{
    struct fixture *f = *state;
    struct asked *a = fixture_ask(f, f->store, "POST lots/measure",
                                  "{'by':'jo','lab':'Millgate','sample':'S1','lot':'L3 6319 "
                                  "NOLOT','results':[{'quantity':'salmonella','value':"
                                  "'positive'}]}");
    json_t *answer = NULL;
    assert_int_equal(a->status, 404);
    assert_int_equal(jsonx_parse(a->body.data, a->body.length, &answer, NULL), 0);
    assert_string_equal(json_string_value(json_array_get(json_object_get(answer, "harm"), 0)),
                        "illness");
    assert_true(json_is_string(json_object_get(answer, "alarm")));
    json_decref(answer);
    fixture_asked_free(a);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(all_cases_of_a_lot_hear_it, setup, teardown),
        cmocka_unit_test_setup_teardown(what_no_case_tells_needs_somebody, setup, teardown),
        cmocka_unit_test_setup_teardown(harm_in_a_result_that_is_refused_is_heard, setup, teardown),
        cmocka_unit_test_setup_teardown(a_lot_of_no_case_tells_what_was_found_in_it, setup,
                                        teardown),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

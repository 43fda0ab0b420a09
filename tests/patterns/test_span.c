/* Weeks, months, quarters and years: each counts what its days hold, and compares. */
#include "base/cuts.h"
#include "patterns/span.h"
#include "patterns/week.h"
#include "plant.h"
#include "store/pattern_span.h"
#include <gsl/gsl_errno.h>

static int setup(void **state)
{
    *state = plant_new("America/New_York");
    return 0;
}

static int teardown(void **state)
{
    plant_free(*state);
    return 0;
}

static void names_of_spans(void **state)
{
    static const struct {
        const char *name, *from, *last;
    } SPANS[] = {{"2026-W47", "2026-11-16", "2026-11-22"}, {"2026-W53", "2026-12-28", "2027-01-03"},
                 {"2026-11", "2026-11-01", "2026-11-30"},  {"2028-02", "2028-02-01", "2028-02-29"},
                 {"2026-12", "2026-12-01", "2026-12-31"},  {"2026-Q1", "2026-01-01", "2026-03-31"},
                 {"2026-Q4", "2026-10-01", "2026-12-31"},  {"2026", "2026-01-01", "2026-12-31"}};
    static const char *const WRONG[] = {"",        "26",     "2026-",   "2026-0",  "2026-00",
                                        "2026-13", "2026-Q", "2026-Q0", "2026-Q5", "2026-W54",
                                        "2026-1x", "1999",   "2100-01", "20261",   "2026-11-01"};
    (void)state;
    for (size_t i = 0; i < COUNT_OF(SPANS); i++) {
        struct span s;
        char from[16], last[16];
        assert_int_equal(span_parse(SPANS[i].name, &s, NULL), 0);
        assert_string_equal(day_format(s.from_day, from), SPANS[i].from);
        assert_string_equal(day_format(s.to_day - 1, last), SPANS[i].last);
        assert_string_equal(s.name, SPANS[i].name);
        assert_int_equal(s.is_week, strchr(s.name, 'W') != NULL);
    }
    for (size_t i = 0; i < COUNT_OF(WRONG); i++) {
        struct span s;
        struct error err = {0};
        if (span_parse(WRONG[i], &s, &err) != ERROR_INVALID)
            fail_msg("taken: '%s'", WRONG[i]);
        assert_non_null(strstr(err.text, "2026-Q4"));
    }
}

static int64_t number(struct plant *p, const char *sql, int64_t from_ms, int64_t to_ms)
{
    int64_t n = -1;
    assert_int_equal(db_number(p->store, sql, DB(DB_INT(from_ms), DB_INT(to_ms)), &n, NULL), 0);
    return n;
}

static json_t *report(struct plant *p, const char *span, const char *against, const char *now)
{
    struct span_query query = {.now_ms = plant_time(now)};
    struct error err = {0};
    json_t *out = NULL;
    assert_int_equal(span_parse(span, &query.span, NULL), 0);
    if (against)
        assert_int_equal(span_parse(against, &query.against, NULL), 0);
    query.by = cuts_set(CUT_USUAL) | cuts_set(CUT_SENT);
    if (span_report(p->store, p->tz, NULL, &query, &out, &err))
        fail_msg("%s", err.text);
    return out;
}

static double at(const json_t *object, const char *name)
{
    return json_number_value(json_object_get(object, name));
}

static double total(const json_t *report, const char *cut, const char *what)
{
    double sum = 0;
    size_t i;
    const json_t *row;
    json_array_foreach(json_object_get(json_object_get(report, "by"), cut), i, row) sum +=
        at(row, what);
    return sum;
}

/* A complaint about no lot on record has no line: the rows come to less, and it is said by how
 * many.
 */
static void what_is_in_no_row_is_counted(void **state)
{
    struct plant *p = *state;
    int64_t packed = plant_time("2026-11-10T06:00:00Z");
    int64_t lot = plant_lot(p, "1", 1, "A", packed, 1000);
    plant_complaint(p, lot, "mold", packed + WHEN_DAY_MS, "R1");
    plant_complaint(p, 0, "mold", packed + WHEN_DAY_MS, NULL);
    plant_complaint(p, 0, "staling", packed + WHEN_DAY_MS, NULL);
    json_t *out = report(p, "2026-W46", NULL, "2026-11-20T00:00:00Z");
    json_t *wanted = json_pack("{s:i, s:i}", "mold", 1, "staling", 1);
    char *all = json_dumps(json_object_get(out, "unplaced"), JSON_SORT_KEYS);
    print_message("%s\n", all);
    assert_true(json_equal(json_object_get(json_object_get(out, "unplaced"), "line"), wanted));
    assert_float_equal(total(out, "line", "complaints"), 1, 0);
    json_decref(wanted);
    json_decref(out);
    free(all);
}

/* Harm is told of whatever span is asked for; what was withdrawn is none. */
static void harm_is_counted_in_every_span(void **state)
{
    struct plant *p = *state;
    int64_t received = plant_time("2026-11-10T06:00:00Z");
    plant_complaint(p, 0, "mold", received, NULL);
    plant_complaint(p, 0, "mold", received, NULL);
    plant_complaint(p, 0, "other", received, NULL);
    assert_int_equal(db_exec(p->store,
                             "UPDATE complaint SET harm = 1 WHERE id <> 1;"
                             "UPDATE complaint SET withdrawn_ms = 1 WHERE id = 2",
                             NULL),
                     0);
    static const char *const SPANS[] = {"2026-11", "2026-Q4", "2026", "2026-10"};
    for (size_t i = 0; i < sizeof SPANS / sizeof SPANS[0]; i++) {
        json_t *out = report(p, SPANS[i], NULL, "2026-12-20T00:00:00Z");
        assert_float_equal(at(out, "harm_reports"), i < 3, 0);
        json_decref(out);
    }
}

/* The week's open cases are those that `cases` and `status` count, of other things too. */
static void open_cases_are_all_that_are_open(void **state)
{
    struct plant *p = *state;
    const struct week_query query = {.week = {2026, 46},
                                     .now_ms = plant_time("2026-11-20T00:00:00Z")};
    int64_t received = plant_time("2026-11-11T06:00:00Z"), open = 0;
    struct error err = {0};
    json_t *out = NULL, *row;
    size_t i;
    static const char *const SYMPTOM[] = {"mold", "staling", "other", "other"};
    for (i = 0; i < COUNT_OF(SYMPTOM); i++)
        plant_complaint(p, 0, SYMPTOM[i], received, NULL);
    if (week_report(p->store, p->tz, NULL, &query, &out, &err))
        fail_msg("%s", err.text);
    json_array_foreach(json_object_get(out, "open_cases"), i, row) open +=
        json_integer_value(json_object_get(row, "cases"));
    assert_int_equal(open, number(p, "SELECT count(*) FROM complaint_case WHERE ?1 <= ?2", 0, 1));
    json_decref(out);
}

/* Whatever is kept by weeks and read day by day comes to what the records hold. */
static void spans_count_what_their_days_hold(void **state)
{
    struct plant *p = *state;
    static const char *const SPANS[] = {"2026-W44", "2026-10", "2026-11", "2026-Q4",
                                        "2026",     "2025",    "2026-12", "2026-02"};
    static const char *const NOWS[] = {"2027-02-01T00:00:00Z", "2026-11-11T15:20:00Z",
                                       "2026-11-01T04:00:00Z"};
    struct dice dice = {47};
    int64_t start = plant_time("2025-12-20T00:00:00Z");
    for (int i = 0; i < 400; i++) {
        int64_t packed = start + (int64_t)(dice_unit(&dice) * 380 * (double)WHEN_DAY_MS);
        int64_t lot = plant_lot(p, i % 3 ? "1" : "2", 1 + i % 2, "A", packed, 1000 + i);
        char route[8], store[8];
        snprintf(route, sizeof route, "R%d", i % 4);
        snprintf(store, sizeof store, "S%d", i % 7);
        plant_sent(p, lot, route, store, packed, 900 + i);
        plant_complaint(p, lot, i % 5 ? "mold" : "staling",
                        packed + (int64_t)(dice_unit(&dice) * 20 * (double)WHEN_DAY_MS), "R1");
    }
    for (size_t i = 0; i < COUNT_OF(SPANS) * COUNT_OF(NOWS); i++) {
        struct span s;
        const char *now = NOWS[i % COUNT_OF(NOWS)];
        int64_t now_ms = plant_time(now);
        assert_int_equal(span_parse(SPANS[i / COUNT_OF(NOWS)], &s, NULL), 0);
        int64_t from = tz_day_start_ms(p->tz, s.from_day), to = tz_day_start_ms(p->tz, s.to_day);
        to = to < now_ms ? to : now_ms;
        json_t *r = report(p, s.name, NULL, now);
        const json_t *counts = json_object_get(r, "complaints");
        assert_int_equal(at(counts, "mold"),
                         number(p,
                                "SELECT count(*) FROM complaint WHERE symptom = 'mold' AND"
                                " received_ms >= ?1 AND received_ms < ?2",
                                from, to));
        int64_t packed = number(p,
                                "SELECT coalesce(sum(units), 0) FROM lot WHERE packed_from_ms >="
                                " ?1 AND packed_from_ms < ?2",
                                from, to);
        assert_int_equal(at(r, "units"), packed);
        assert_int_equal(total(r, "line", "complaints"),
                         at(counts, "mold") + at(counts, "staling"));
        int64_t sent = number(p,
                              "SELECT coalesce(sum(d.units), 0) FROM dispatch d JOIN lot l ON"
                              " l.id = d.lot_id WHERE packed_from_ms >= ?1 AND"
                              " packed_from_ms < ?2",
                              from, to);
        /* a row a symptom */
        assert_int_equal(total(r, "store", "units"), 3 * sent);
        assert_int_equal(json_is_true(json_object_get(r, "over")),
                         tz_day_start_ms(p->tz, s.to_day) <= now_ms);
        json_decref(r);
    }
}

/* Ratios of rates, as a two-sample comparison has them: 20 of 1000 against 5 of 500. */
static void spans_compare(void **state)
{
    struct plant *p = *state;
    int64_t october = plant_lot(p, "1", 1, "A", plant_time("2026-10-06T12:00:00Z"), 500);
    int64_t november = plant_lot(p, "1", 1, "A", plant_time("2026-11-06T12:00:00Z"), 1000);
    for (int i = 0; i < 20; i++)
        plant_complaint(p, november, "mold", plant_time("2026-11-10T12:00:00Z") + i, NULL);
    for (int i = 0; i < 5; i++)
        plant_complaint(p, october, "mold", plant_time("2026-10-10T12:00:00Z") + i, NULL);
    json_t *r = report(p, "2026-11", "2026-10", "2026-12-24T00:00:00Z");
    const json_t *against = json_object_get(r, "against");
    const json_t *mold = json_object_get(against, "mold");
    assert_string_equal(json_string_value(json_object_get(against, "span")), "2026-10");
    assert_int_equal(at(mold, "complaints"), 5);
    assert_true(fabs(at(mold, "ratio") - 2) < 1e-9);
    /* Clopper-Pearson on 20 of 25: .5930 and .9317, as odds over 2 */
    assert_true(fabs(at(mold, "low") - 0.5930 / (1 - 0.5930) / 2) < 0.002);
    assert_true(fabs(at(mold, "high") - 0.9317 / (1 - 0.9317) / 2) < 0.02);
    assert_true(json_is_null(json_object_get(json_object_get(against, "staling"), "ratio")));
    const json_t *row = json_array_get(json_object_get(json_object_get(r, "by"), "line"), 0);
    assert_int_equal(at(json_object_get(row, "against"), "complaints"), 5);
    json_decref(r);
}

static int take_hit(void *arg, const struct pattern_hit *row)
{
    *(struct pattern_hit *)arg = *row;
    return 0;
}

/* What was received first may have been written down last, in a case of its own. */
static void the_newest_complaint_of_a_lot_tells_the_case(void **state)
{
    struct plant *p = *state;
    struct error err = {0};
    struct pattern_hit hit = {0};
    int64_t day = plant_time("2026-10-10T12:00:00Z");
    int64_t lot = plant_lot(p, "1", 1, "A", day - 3 * WHEN_DAY_MS, 9000);
    struct complaint_placed newest = plant_complaint(p, lot, "mold", day, NULL);
    struct complaint_placed later = plant_complaint(p, 0, "mold", day - 1, NULL);
    plant_exec(p, "UPDATE complaint SET lot_id = %d WHERE id = %d", (int)lot,
               (int)later.complaint_id);
    assert_true(later.case_id > newest.case_id);
    const struct pattern_scope scope = {.symptom = "mold",
                                        .span = {day - WHEN_DAY_MS, day + WHEN_DAY_MS}};
    const struct pattern_series line = {.factor = "line", .level = "1"};
    assert_int_equal(pattern_span_hit(p->store, &scope, &line, take_hit, &hit, &err), 0);
    assert_int_equal(hit.newest_ms, day);
    assert_int_equal(hit.case_id, newest.case_id);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(names_of_spans),
        cmocka_unit_test_setup_teardown(spans_count_what_their_days_hold, setup, teardown),
        cmocka_unit_test_setup_teardown(what_is_in_no_row_is_counted, setup, teardown),
        cmocka_unit_test_setup_teardown(harm_is_counted_in_every_span, setup, teardown),
        cmocka_unit_test_setup_teardown(open_cases_are_all_that_are_open, setup, teardown),
        cmocka_unit_test_setup_teardown(spans_compare, setup, teardown),
        cmocka_unit_test_setup_teardown(the_newest_complaint_of_a_lot_tells_the_case, setup,
                                        teardown),
    };
    gsl_set_error_handler_off();
    return cmocka_run_group_tests(tests, NULL, NULL);
}

/* Returns over dispatches, and where returned goods may stand. */
#include "../failing.h"
#include "../told.h"
#include "base/cuts.h"
#include "plant.h"

#include "patterns/effect.h"
#include "patterns/returns.h"
#include "patterns/trace.h"
#include "patterns/week.h"
#include "rules/catalogue.h"
#include "rules/load_catalogue.h"
#include "store/action.h"

static void check_near(const char *what, double got, double want, double tolerance)
{
    if (!(fabs(got - want) <= tolerance))
        fail_msg("%s: got %.10g, want %.10g", what, got, want);
}

static void sent(struct plant *p, int64_t lot, const char *route, const char *store,
                 const char *when, int units)
{
    plant_sent(p, lot, route, store, plant_time(when), units);
}

struct report {
    const char *channel, *when;
    int units;
    const char *route, *store, *body;
};

static void came_back(struct plant *p, int64_t lot, struct report r)
{
    char uuid[UUID_TEXT];
    struct error err = {0};
    struct complaint_placed placed;
    int64_t at = plant_time(r.when);
    struct complaint_new c = {.uuid = uuid,
                              .received_ms = at,
                              .logged_ms = at,
                              .channel = r.channel,
                              .symptom = "mold",
                              .store = r.store,
                              .route = r.route,
                              .code_day = WHEN_UNKNOWN_DAY,
                              .bought_day = WHEN_UNKNOWN_DAY,
                              .found_day = WHEN_UNKNOWN_DAY,
                              .packs = 1,
                              .units = r.units,
                              .body = r.body,
                              .lots = {.state = lot > 0 ? LOT_EXACT : LOT_UNKNOWN,
                                       .count = lot > 0,
                                       .lot = {{lot, 0.95}}}};
    uuid_v7(at, uuid);
    assert_int_equal(complaint_log(p->store, &c, &placed, &err), 0);
}

static struct catalogue *places(void)
{
    struct catalogue *catalogue = NULL;
    struct error err = {0};
    assert_int_equal(load_catalogue(ODDLOAF_SOURCE_DIR "/rules", NULL, NULL, &catalogue, &err), 0);
    return catalogue;
}

static json_t *report_of(struct plant *p, const char *from, const char *to)
{
    json_t *report = NULL;
    struct error err = {0};
    struct catalogue *catalogue = places();
    struct returns_query query = {.catalogue = catalogue};
    assert_int_equal(day_parse(from, &query.from_day, &err), 0);
    assert_int_equal(day_parse(to, &query.to_day, &err), 0);
    assert_int_equal(returns_report(p->store, p->tz, &query, &report, &err), 0);
    catalogue_free(catalogue);
    return report;
}

static const json_t *level(const json_t *report, const char *factor, const char *name)
{
    size_t i;
    const json_t *row;
    json_array_foreach(json_object_get(json_object_get(report, "by"), factor), i, row)
    {
        if (strcmp(json_string_value(json_object_get(row, "level")), name) == 0)
            return row;
    }
    fail_msg("no %s %s", factor, name);
    return NULL;
}

static double number(const json_t *row, const char *name)
{
    return json_number_value(json_object_get(row, name));
}

/* Two lots, three stores; what came back in one week of November. */
static struct plant *two_lots(void)
{
    struct plant *p = plant_new("America/New_York");
    int64_t a = plant_lot(p, "1", 1, "A", plant_time("2026-11-09T08:00:00-05:00"), 5000);
    int64_t b = plant_lot(p, "2", 2, "A", plant_time("2026-11-09T08:00:00-05:00"), 5000);
    sent(p, a, "R1", "S1", "2026-11-10T04:00:00-05:00", 600);
    sent(p, a, "R2", "S2", "2026-11-10T04:00:00-05:00", 400);
    sent(p, b, "R2", "S3", "2026-11-15T23:30:00-05:00", 1000); /* Sunday night: still the week */
    sent(p, b, "R2", "S3", "2026-11-16T00:30:00-05:00", 9000); /* Monday: not */
    came_back(p, a,
              (struct report){"return", "2026-11-12T09:00:00-05:00", 24, NULL, "S1",
                              "{\"reason\":\"Moldy\",\"put_at\":\"Returns dock\"}"});
    came_back(p, a,
              (struct report){"return", "2026-11-13T09:00:00-05:00", 6, "R2", "S2",
                              "{\"reason\":\"moldy\",\"put_at\":\"by the slicer\"}"});
    came_back(p, 0, (struct report){"return", "2026-11-14T09:00:00-05:00", 0, NULL, NULL, "{}"});
    came_back(p, a,
              (struct report){"phone", "2026-11-13T10:00:00-05:00", 50, "R2", "S2",
                              "{}"}); /* no return */
    came_back(p, b,
              (struct report){"return", "2026-11-16T09:00:00-05:00", 70, "R2", "S3",
                              "{}"}); /* week after */
    return p;
}

static void test_rates(void **state)
{
    struct plant *p = two_lots();
    json_t *report = report_of(p, "2026-11-09", "2026-11-15");
    (void)state;
    assert_int_equal(number(report, "returns"), 3);
    assert_int_equal(number(report, "units"), 24 + 6 + 1);
    assert_int_equal(number(report, "dispatched"), 2000);
    check_near("share", number(report, "share"), 31 / 2000.0, 1e-8);
    /* one event: 0.0253 to 5.572 (F. Garwood, Fiducial limits for the Poisson distribution, 1936)
     */
    const json_t *route = level(report, "route", "R1");
    assert_int_equal(number(route, "returns"), 1); /* as the lot went to that store by R1 */
    assert_int_equal(number(route, "dispatched"), 600);
    check_near("share", number(route, "share"), 24 / 600.0, 1e-8);
    check_near("per_million", number(route, "per_million"), 1e6 / 600, 1e-3);
    check_near("per_million_low", number(route, "per_million_low") * 600e-6, 0.0253178, 1e-6);
    check_near("per_million_high", number(route, "per_million_high") * 600e-6, 5.571643, 1e-5);
    assert_true(number(route, "low") < 0.04 && number(route, "high") > 0.04);
    assert_int_equal(number(level(report, "route", "R2"), "dispatched"), 1400);
    assert_int_equal(number(level(report, "store", "S3"), "units"), 0);
    assert_int_equal(number(level(report, "store", "not given"), "units"), 1);
    assert_int_equal(number(level(report, "product", "W24"), "units"), 30);
    assert_int_equal(number(level(report, "product", "R12"), "dispatched"), 1000);
    assert_null(json_object_get(level(report, "product", "not given"), "share"));
    json_decref(report);
    plant_free(p);
}

static void test_reasons(void **state)
{
    struct plant *p = two_lots();
    json_t *report = report_of(p, "2026-11-09", "2026-11-15");
    (void)state;
    const json_t *moldy = level(report, "reason", "Moldy"); /* however it is spelt */
    assert_int_equal(number(moldy, "returns"), 2);
    assert_int_equal(number(moldy, "units"), 30);
    check_near("share", number(moldy, "share"), 30 / 31.0, 1e-8);
    assert_int_equal(number(level(report, "symptom", "mold"), "units"), 31);
    json_t *stand = json_object_get(report, "stand");
    assert_int_equal(json_array_size(stand), 2); /* the dock is a place for them */
    assert_string_equal(json_string_value(json_object_get(json_array_get(stand, 1), "put_at")),
                        "by the slicer");
    json_decref(report);
    report = report_of(p, "2020-01-01", "2020-01-31");
    assert_int_equal(number(report, "returns"), 0);
    assert_null(json_object_get(report, "share"));
    json_decref(report);
    report = report_of(p, "2026-11-16", "2026-11-16"); /* after all that were sent and came back */
    assert_true(json_is_true(json_object_get(report, "on_record")));
    json_decref(report);
    plant_free(p);
}

/* Where none was ever received nobody knows that none came back: no zero, no rate. */
static void none_on_record_is_no_zero(void **state)
{
    struct plant *p = plant_new("America/New_York");
    int64_t a = plant_lot(p, "1", 1, "A", plant_time("2026-11-09T08:00:00-05:00"), 5000);
    (void)state;
    sent(p, a, "R1", "S1", "2026-11-10T04:00:00-05:00", 600);
    json_t *report = report_of(p, "2026-11-09", "2026-11-15");
    assert_true(json_is_false(json_object_get(report, "on_record")));
    assert_int_equal(number(report, "dispatched"), 600);
    assert_null(json_object_get(report, "per_million_high"));
    assert_null(json_object_get(level(report, "route", "R1"), "share"));
    json_decref(report);
    came_back(p, a, (struct report){"return", "2026-11-02T09:00:00-05:00", 1, "R1", "S1", "{}"});
    report = report_of(p, "2026-11-09", "2026-11-15"); /* a zero, of a plant that has returns */
    assert_true(json_is_true(json_object_get(report, "on_record")));
    assert_true(number(report, "per_million_high") > 0);
    json_decref(report);
    plant_free(p);
}

/* ---- a disk that fails ---- */

static int week(struct plant *p, json_t **ret, struct error *err)
{
    struct week_query query = {.now_ms = plant_time("2026-11-16T08:00:00-05:00"),
                               .by = cuts_set(CUT_JUDGED) & ~cuts_set(CUT_MANY)};
    assert_int_equal(iso_week_parse("2026-W46", &query.week, NULL), 0);
    assert_int_equal(span_parse("2026-W45", &query.against, NULL), 0);
    return week_report(p->store, p->tz, NULL, &query, ret, err);
}

static int month(struct plant *p, json_t **ret, struct error *err)
{
    struct span_query query = {.now_ms = plant_time("2026-11-16T08:00:00-05:00")};
    assert_int_equal(span_parse("2026-11", &query.span, NULL), 0);
    assert_int_equal(span_parse("2026-10", &query.against, NULL), 0);
    return span_report(p->store, p->tz, NULL, &query, ret, err);
}

static int back(struct plant *p, json_t **ret, struct error *err)
{
    struct returns_query query = {0};
    assert_int_equal(day_parse("2026-11-09", &query.from_day, NULL), 0);
    assert_int_equal(day_parse("2026-11-15", &query.to_day, NULL), 0);
    return returns_report(p->store, p->tz, &query, ret, err);
}

static int traced(struct plant *p, json_t **ret, struct error *err)
{
    struct trace_query query = {.symptom = "mold"};
    assert_int_equal(day_parse("2026-11-08", &query.from_day, NULL), 0);
    assert_int_equal(day_parse("2026-11-15", &query.to_day, NULL), 0);
    return trace_run(p->store, p->tz, &query, ret, err);
}

static int traced_cases(struct plant *p, json_t **ret, struct error *err)
{
    static const int64_t CASES[] = {1, 2};
    const struct trace_query query = {.from_day = WHEN_UNKNOWN_DAY,
                                      .to_day = WHEN_UNKNOWN_DAY,
                                      .cases = CASES,
                                      .case_count = COUNT_OF(CASES)};
    return trace_run(p->store, p->tz, &query, ret, err);
}

static int worked(struct plant *p, json_t **ret, struct error *err)
{
    const struct effect_query query = {
        .action_id = 1, .days = 14, .now_ms = plant_time("2026-11-16T08:00:00-05:00")};
    return effect_report(p->store, p->tz, &query, ret, err);
}

struct asked {
    struct plant *p;
    int (*report)(struct plant *p, json_t **ret, struct error *err);
};

static int ask(void *arg, struct error *err)
{
    struct asked *a = arg;
    json_t *told = NULL;
    int rc = a->report(a->p, &told, err);
    json_decref(told);
    return rc;
}

/* They are as they were, whole, and none where the disk fails. */
static void what_cannot_be_read_is_no_report(void **state)
{
#define ROW(report)                                                                                \
    {                                                                                              \
#report, report                                                                            \
    }
    static const struct {
        const char *name;
        int (*report)(struct plant *, json_t **, struct error *);
    } REPORTS[] = {ROW(week), ROW(month), ROW(back), ROW(traced), ROW(traced_cases), ROW(worked)};
    struct plant *p = plant_new("America/New_York");
    (void)state;
    for (int i = 0; i < 6; i++) {
        int64_t at = plant_time("2026-11-08T08:00:00-05:00") + i * WHEN_DAY_MS;
        int64_t lot = plant_lot(p, i % 2 ? "1" : "2", 1, "A", at, 5000);
        plant_sent(p, lot, "R1", "S1", at + WHEN_HOUR_MS, 600);
        plant_exec(
            p, "INSERT INTO material_use(lot_id, material, material_lot) VALUES(%d, 'film', 'F%d')",
            (int)lot, i % 2);
        for (int k = 0; k < 3 * (i % 2); k++)
            plant_rank(p, plant_complaint(p, lot, "mold", at + WHEN_DAY_MS, "R1").case_id,
                       "packed-hot", 0.7, "warm-storage", 0.2);
    }
    came_back(p, 1, (struct report){"return", "2026-11-10T09:00:00-05:00", 1, "R1", "S1", "{}"});
    const struct action_row action = {.at_ms = plant_time("2026-11-10T08:00:00-05:00"),
                                      .line = "1",
                                      .symptom = "mold",
                                      .by_name = "qa"};
    int64_t id = 0;
    assert_int_equal(action_add(p->store, &action, &id, NULL), 0);
    for (size_t i = 0; i < COUNT_OF(REPORTS); i++) {
        struct asked a = {p, REPORTS[i].report};
        json_t *told = NULL;
        assert_int_equal(a.report(p, &told, NULL), 0);
        json_object_del(told, "stand"); /* complaints by random ids */
        told_check("patterns", REPORTS[i].name, told);
        failing_check(p->store, ask, &a, REPORTS[i].name, 0);
    }
    plant_free(p);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_rates),
        cmocka_unit_test(test_reasons),
        cmocka_unit_test(none_on_record_is_no_zero),
        cmocka_unit_test(what_cannot_be_read_is_no_report),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

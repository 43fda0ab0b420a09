/* A quarter of a plant of two lines, told whole (told.h): weeks, months, what lots share, whether
 * an action worked. */
#include "../told.h"
#include "base/cuts.h"
#include "patterns/effect.h"
#include "patterns/span.h"
#include "patterns/span_rows.h"
#include "patterns/trace.h"
#include "patterns/week.h"
#include "plant.h"
#include "store/action.h"
#include "store/hold.h"
#include "store/verdict.h"
#include <gsl/gsl_errno.h>

enum { DAYS = 98, RISES_AT = 84 };

static const char *const ROUTES[] = {"R0", "R1", "R2"};
static const char *const STORES[] = {"S0", "S1", "S2", "S3", "S4"};

static void lot_of_day(struct plant *p, struct dice *dice, int64_t start, int day, int k)
{
    int64_t packed = start + day * WHEN_DAY_MS + k * 3 * WHEN_HOUR_MS;
    int64_t lot = plant_lot(p, k % 2 ? "2" : "1", 1 + k / 2, k / 2 ? "B" : "A", packed,
                            12000 + 500 * (day % 3));
    plant_send(p, lot,
               (struct plant_trip){ROUTES[(day + k) % 3], STORES[(day + k) % 5],
                                   day % 2 ? "Tern" : "Kite", packed + WHEN_DAY_MS, 9000 - 10 * k});
    plant_exec(p,
               "INSERT INTO material_use(lot_id, material, material_lot, supplier) VALUES(%d, "
               "'film', 'F%d', 'Film Co'), (%d, 'flour', 'W%d', 'Mill'); INSERT INTO mix VALUES("
               "'M%d', %d, %lld, 100)",
               (int)lot, day / 7, (int)lot, (day + k) / 5, (int)lot, (int)lot, (long long)packed);
    double mean = k % 2 && day >= RISES_AT ? 3 : 0.6;
    for (long n = dice_poisson(dice, mean); n > 0; n--) {
        static const char *const SYMPTOMS_OF[] = {"mold",    "mold",     "mold",
                                                  "staling", "off-odor", "other"};
        int64_t received = packed + (int64_t)((2 + 9 * dice_unit(dice)) * (double)WHEN_DAY_MS);
        const char *symptom = SYMPTOMS_OF[(int)(6 * dice_unit(dice))];
        struct complaint_placed c =
            plant_complaint(p, lot, symptom, received, ROUTES[(day + k) % 3]);
        if (strcmp(symptom, "other") != 0 && n < 3)
            plant_rank(p, c.case_id, k % 2 ? "contamination-slicer" : "old-stock", 0.7,
                       "packed-hot", 0.2);
    }
}

static int64_t decide(struct plant *p)
{
    struct action_row action = {.at_ms = plant_time("2026-10-20T08:00:00-04:00"),
                                .line = "2",
                                .symptom = "mold",
                                .note = "seal bars changed",
                                .by_name = "qa"};
    const struct hold_of of = {.lot_id = 380};
    const struct hold_entry entry = {.reason = "wet bags",
                                     .by_name = "mira",
                                     .user = "m",
                                     .at_ms = plant_time("2026-11-11T08:00:00-05:00")};
    const struct verdict_new verdict = {.case_id = 3,
                                        .at_ms = plant_time("2026-11-12T08:00:00-05:00"),
                                        .cause = "packed-hot",
                                        .confirmed_by = "assay",
                                        .by_name = "qa"};
    int64_t id = 0;
    bool stood;
    struct error err = {0};
    if (action_add(p->store, &action, &id, &err) || hold_add(p->store, &of, &entry, &stood, &err) ||
        verdict_add(p->store, &verdict, &err))
        fail_msg("%s", err.text);
    plant_exec(p, "UPDATE complaint SET harm = 1 WHERE id IN (SELECT max(id) FROM complaint); "
                  "UPDATE complaint SET store = 'S1' WHERE id %% 7 = 1");
    plant_complaint(p, 0, "mold", plant_time("2026-11-10T08:00:00-05:00"), "R1");
    plant_complaint(p, 0, "staling", plant_time("2026-11-11T08:00:00-05:00"), NULL);
    return id;
}

/* Ids of complaints are random. */
static void without_ids(json_t *value)
{
    size_t i;
    const char *name;
    json_t *one;
    if (json_is_string(json_object_get(value, "complaint")))
        json_object_del(value, "complaint");
    json_object_foreach(value, name, one) without_ids(one);
    json_array_foreach(value, i, one) without_ids(one);
}

static void check(const char *name, int rc, const struct error *err, json_t *told)
{
    if (rc)
        fail_msg("%s: %s", name, err->text);
    json_object_del(told, "stand");
    without_ids(told);
    told_check("patterns", name, told);
}

static void weeks(struct plant *p)
{
    static const struct {
        const char *name, *week, *against, *now;
        unsigned by;
    } ROWS[] = {{"quarter_week", "2026-W46", "2026-W45", "2026-11-16T08:00:00-05:00", 0},
                {"quarter_running", "2026-W47", NULL, "2026-11-18T12:00:00-05:00", 0},
                {"quarter_early", "2026-W36", NULL, "2026-09-07T12:00:00-04:00", 0}};
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        struct error err = {0};
        json_t *told = NULL;
        struct week_query query = {.now_ms = plant_time(ROWS[i].now),
                                   .by = i ? 0 : cuts_set(CUT_JUDGED)};
        assert_int_equal(iso_week_parse(ROWS[i].week, &query.week, NULL), 0);
        if (ROWS[i].against)
            assert_int_equal(span_parse(ROWS[i].against, &query.against, NULL), 0);
        int rc = week_report(p->store, p->tz, NULL, &query, &told, &err);
        check(ROWS[i].name, rc, &err, told);
    }
}

static void others(struct plant *p, int64_t action)
{
    struct error err = {0};
    json_t *told = NULL;
    const int64_t now_ms = plant_time("2026-11-16T08:00:00-05:00");
    struct span_query span = {.now_ms = now_ms, .by = cuts_set(CUT_USUAL) | cuts_set(CUT_SENT)};
    assert_int_equal(span_parse("2026-11", &span.span, NULL), 0);
    assert_int_equal(span_parse("2026-10", &span.against, NULL), 0);
    int rc = span_report(p->store, p->tz, NULL, &span, &told, &err);
    check("quarter_month", rc, &err, told);
    struct trace_query trace = {.symptom = "mold", .now_ms = now_ms};
    assert_int_equal(day_parse("2026-10-20", &trace.from_day, NULL), 0);
    assert_int_equal(day_parse("2026-11-15", &trace.to_day, NULL), 0);
    rc = trace_run(p->store, p->tz, &trace, &told, &err);
    check("quarter_traced", rc, &err, told);
    for (int days = 14; days <= 28; days += 14) {
        const struct effect_query effect = {action, days, now_ms};
        rc = effect_report(p->store, p->tz, &effect, &told, &err);
        check(days == 14 ? "quarter_effect" : "quarter_effect_long", rc, &err, told);
    }
}

/* One by one. */
static void rows(struct plant *p)
{
    struct span span;
    struct error err = {0};
    const int64_t now_ms = plant_time("2026-11-16T08:00:00-05:00");
    int (*const KINDS[])(struct store *, const struct span_rows *, json_t **,
                         struct error *) = {span_rows_complaints, span_rows_cases};
    assert_int_equal(span_parse("2026-W46", &span, NULL), 0);
    const struct span_rows of = {p->tz, &span, now_ms, NULL};
    for (size_t i = 0; i < 4; i++) {
        static const char *const NAMES[] = {"quarter_complaints", "quarter_cases", "quarter_harm",
                                            "quarter_may_harm"};
        json_t *told = NULL;
        const struct span_harm harm = {
            p->tz, {tz_day_start_ms(p->tz, span.from_day), now_ms}, NULL, i == 3, NULL};
        int rc = i < 2 ? KINDS[i](p->store, &of, &told, &err)
                       : span_rows_harm(p->store, &harm, &told, &err);
        check(NAMES[i], rc, &err, told);
    }
}

static void report_harm(struct plant *p)
{
    static const struct {
        int64_t lot;
        bool harm;
        const char *body;
    } ROWS[] = {{1, true, "{\"harm\":[\"illness\"]}"},
                {380, true, "{\"harm\":[\"injury\"]}"},
                {0, true, "{}"},
                {1, false, "{\"harm_possible\":true}"},
                {2, false, "{}"}};
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        int64_t at = plant_time("2026-11-12T09:00:00-05:00") + (int64_t)i * WHEN_HOUR_MS;
        struct complaint_new c = {.received_ms = at,
                                  .logged_ms = at,
                                  .channel = i % 2 ? "store" : "phone",
                                  .symptom = "mold",
                                  .lot_text = i == 2 ? "L9 ????" : NULL,
                                  .code_day = WHEN_UNKNOWN_DAY,
                                  .bought_day = WHEN_UNKNOWN_DAY,
                                  .found_day = WHEN_UNKNOWN_DAY,
                                  .packs = (int)i + 1,
                                  .harm = ROWS[i].harm,
                                  .body = ROWS[i].body,
                                  .lots = {.state = LOT_UNKNOWN}};
        if (ROWS[i].lot)
            c.lots = (struct complaint_lots){
                .state = LOT_EXACT, .count = 1, .lot = {{ROWS[i].lot, 0.95}}};
        plant_log(p, &c);
    }
    plant_exec(p, "UPDATE case_follow SET owner = 'jo' WHERE case_id IN (SELECT case_id FROM "
                  "complaint WHERE lot_id = 1)");
}

static void a_quarter_is_told_as_it_was(void **state)
{
    struct plant *p = plant_new("America/New_York");
    struct dice dice = {46};
    int64_t start = plant_time("2026-08-10T05:00:00-04:00");
    (void)state;
    for (int day = 0; day < DAYS; day++)
        for (int k = 0; k < 4; k++)
            lot_of_day(p, &dice, start, day, k);
    int64_t action = decide(p);
    report_harm(p);
    weeks(p);
    rows(p);
    others(p, action);
    told_sentences("patterns");
    plant_free(p);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(a_quarter_is_told_as_it_was)};
    gsl_set_error_handler_off();
    return cmocka_run_group_tests(tests, NULL, NULL);
}

/* What a report of retained samples tells of a few: each with what the rules foretold of its lot,
 * how far off that is, by the rules and as now in force, and what is left out. Too few to fit. */
#include "base/text.h"
#include "check.h"
#include "facts/model_lot.h"
#include "fixture.h"
#include "rank/calibration.h"
#include "stats/robust.h"

enum { DAYS = 9, NOTED = 6, FOUND = 3 };

static const struct {
    int day, turn, days;
    const char *note;
} SAMPLES[] = {{6, 0, 9, NULL}, {6, 1, 12, NULL}, {7, 0, 16, NULL}, {7, 1, 20, "'None yet'"}};

static struct triage *plant(struct fixture *f)
{
    static const char *const FILES[] = {"causes/packed-hot.json", "causes/not-known.json",
                                        "asks.json"};
    fixture_open(f);
    for (size_t i = 0; i < COUNT_OF(FILES); i++)
        fixture_copy(f, "tests/rank/rules", FILES[i]);
    fixture_copy(f, "rules", "models.json");
    fixture_plant(f, DAYS);
    fixture_sql(f, "INSERT INTO quantity VALUES(%d, 'mold_free_days')", NOTED);
    fixture_sql(f, "UPDATE reading SET value = 0.1 * (lot_id %% 4) WHERE quantity_id = 5");
    for (size_t i = 0; i < COUNT_OF(SAMPLES); i++)
        fixture_sql(f, "INSERT INTO reading VALUES(%lld, %d, %lld, '', 'retained', %d, %s)",
                    (long long)fixture_lot(SAMPLES[i].day, 1, SAMPLES[i].turn), NOTED,
                    (long long)AT(SAMPLES[i].day + SAMPLES[i].days, 12), SAMPLES[i].days,
                    SAMPLES[i].note ? SAMPLES[i].note : "NULL");
    /* one that was moldy when it was put by says nothing of how long it keeps */
    fixture_sql(f, "INSERT INTO reading VALUES(%lld, %d, %lld, '', 'retained', 0, NULL)",
                (long long)fixture_lot(8, 1, 0), NOTED, (long long)AT(8, 12));
    return fixture_triage(f);
}

/* The lot as the day after it was packed knew its like; a sample does not travel. */
static double foretold(struct triage *triage, struct store *store, int64_t lot_id)
{
    struct error err = {0};
    const struct lot_record *record;
    const struct fact_baseline *baseline;
    struct mold_course course;
    struct model_lot lot;
    struct lot_records records;
    assert_int_equal(lot_record_all(store, triage->rules, triage->tz, &records, &err), 0);
    assert_int_equal(lot_record_get(triage->source.lots, &records, lot_id, &record, &err), 0);
    assert_int_equal(facts_baseline(&triage->source, &records, record,
                                    record->lot.packed_to_ms + WHEN_DAY_MS, &baseline, &err),
                     0);
    model_lot_of(triage->rules, record, baseline, INT64_MAX, &lot);
    lot.made.segment_count = lot.specified.segment_count = 0;
    predict_mold_course(&lot.made, &lot.specified, &triage->models, &course);
    cache_object_unref((void *)baseline);
    lot_record_unref(record);
    return mold_free_days(&course, NAN);
}

/* Of the samples found moldy, at a look a day: half a day before it on the mean. */
static double error_by(struct triage *triage, struct store *store)
{
    double off[FOUND];
    for (size_t i = 0; i < FOUND; i++)
        off[i] = fabs(SAMPLES[i].days - 0.5 -
                      foretold(triage, store, fixture_lot(SAMPLES[i].day, 1, SAMPLES[i].turn)));
    return round(100 * robust_median(off, FOUND)) / 100;
}

static json_t *report_of(struct triage *triage, struct store *store)
{
    struct error err = {0};
    json_t *report = NULL;
    if (calibration_report(triage, store, &report, &err))
        fail_msg("%s", err.text);
    return report;
}

static double number(const json_t *object, const char *one, const char *other)
{
    const json_t *inner = json_object_get(object, one);
    return json_number_value(other ? json_object_get(inner, other) : inner);
}

static const json_t *residual_of(const json_t *report, const char *lot)
{
    size_t i;
    const json_t *one;
    json_array_foreach(json_object_get(report, "residuals"), i, one)
    {
        if (strcmp(json_string_value(json_object_get(one, "lot")), lot) == 0)
            return one;
    }
    fail_msg("no %s", lot);
    return NULL;
}

static void assert_each_is_told(struct triage *plain, struct store *store, const json_t *report)
{
    for (size_t i = 0; i < COUNT_OF(SAMPLES); i++) {
        char name[24];
        int64_t lot = fixture_lot(SAMPLES[i].day, 1, SAMPLES[i].turn);
        snprintf(name, sizeof name, "L%lld", (long long)lot);
        const json_t *told = residual_of(report, name);
        assert_near(number(told, "before", NULL), foretold(plain, store, lot), 0.0051);
        assert_near(number(told, "observed", NULL), SAMPLES[i].days, 0);
        assert_int_equal(json_is_true(json_object_get(told, "none_yet")), SAMPLES[i].note != NULL);
        assert_string_equal(json_string_value(json_object_get(told, "product")), "W");
        assert_true(json_is_null(json_object_get(told, "predicted")));
    }
}

static void few_are_told_as_they_are(void **state)
{
    struct fixture f;
    struct error err = {0};
    (void)state;
    struct triage *plain = plant(&f), *scaled = fixture_triage(&f);
    json_t *adopted = json_pack("{s:{s:{s:f,s:f,s:f},s:{s:f,s:f,s:f}}}", "fit", "time_scale", "low",
                                1.2, "typical", 1.4, "high", 1.5, "spores_scale", "low", 1.0,
                                "typical", 2.0, "high", 3.0);
    assert_int_equal(calibration_apply(scaled, adopted, &err), 0);
    json_t *report = report_of(scaled, f.store);
    assert_near(number(report, "samples", NULL), COUNT_OF(SAMPLES), 0);
    assert_near(number(report, "found", NULL), FOUND, 0);
    assert_near(number(report, "left_out", "outside"), 1, 0);
    assert_near(number(report, "left_out", "blamed"), 0, 0);
    assert_int_equal(json_array_size(json_object_get(report, "residuals")), COUNT_OF(SAMPLES));
    assert_true(json_is_null(json_object_get(report, "fit")));
    assert_true(json_equal(json_object_get(report, "adopted"), adopted));
    assert_each_is_told(plain, f.store, report);
    double before = error_by(plain, f.store), now = error_by(scaled, f.store);
    assert_true(fabs(before - now) > 0.05); /* or nothing is asked */
    assert_near(number(report, "before_after", "before"), before, 1e-9);
    assert_near(number(report, "before_after", "now"), now, 1e-9);
    json_decref(report);
    json_decref(adopted);
    triage_free(plain);
    triage_free(scaled);
    fixture_close(&f);
}

/* What the plant has kept is read whole or not at all: three numbers above 0 that rise. */
static void only_a_factor_is_adopted(void **state)
{
    static const struct {
        const char *low, *typical, *high;
        bool good;
    } ROWS[] = {
        {"1", "1", "1", true},      {"0.5", "1", "2", true},    {"0", "1", "2", false},
        {"-1", "1", "2", false},    {"1.1", "1", "2", false},   {"1", "2", "1.9", false},
        {"\"1\"", "1", "2", false}, {"1", "2", "1e999", false},
    };
    struct fixture f;
    (void)state;
    struct triage *triage = plant(&f);
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        char text[256];
        struct error err = {0};
        snprintf(text, sizeof text,
                 "{\"fit\":{\"time_scale\":{\"low\":1,\"typical\":1,\"high\":1},\"spores_scale\":"
                 "{\"low\":%s,\"typical\":%s,\"high\":%s}}}",
                 ROWS[i].low, ROWS[i].typical, ROWS[i].high);
        json_t *kept = json_loads(text, 0, NULL);
        struct triage *of = ROWS[i].good ? fixture_triage(&f) : triage;
        if (calibration_apply(of, kept, &err) != (ROWS[i].good ? 0 : ERROR_INVALID))
            fail_msg("%s: %s", text, err.text);
        if (ROWS[i].good)
            triage_free(of);
        json_decref(kept);
    }
    triage_free(triage);
    fixture_close(&f);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(few_are_told_as_they_are),
        cmocka_unit_test(only_a_factor_is_adopted),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

/* Calibration on a small plant whose true scales are known: samples drawn from the models' own
 * course with those scales come back as them; what is adopted changes predictions and the hash. */
#include "facts/model_lot.h"
#include "fixture.h"
#include "rank/calibration.h"

#define TRUE_TIME 1.4
#define TRUE_SPORES 2.0
enum { DAYS = 40, WATCH = 25, NOTED = 6 };

static uint64_t seed = 20601;

/* splitmix64: the same plant everywhere. */
static double uniform(void)
{
    uint64_t z = (seed += 0x9e3779b97f4a7c15u);
    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
    return ((double)((z ^ (z >> 31)) >> 11) + 0.5) / 9007199254740992.0;
}

static double normal(void)
{
    double u = uniform();
    return sqrt(-2 * log(u)) * cos(2 * M_PI * uniform());
}

static void course_of(struct triage *triage, struct store *store, int64_t lot_id,
                      struct mold_course *ret)
{
    struct error err = {0};
    const struct lot_record *record;
    const struct fact_baseline *baseline;
    struct model_lot lot;
    struct lot_records records;
    assert_int_equal(lot_record_all(store, triage->rules, triage->tz, &records, &err), 0);
    assert_int_equal(lot_record_get(triage->source.lots, &records, lot_id, &record, &err), 0);
    assert_int_equal(facts_baseline(&triage->source, &records, record,
                                    record->lot.packed_to_ms + WHEN_DAY_MS, &baseline, &err),
                     0);
    model_lot_of(triage->rules, record, baseline, INT64_MAX, &lot);
    lot.made.segment_count = 0; /* samples do not travel */
    predict_mold_course(&lot.made, &lot.specified, &triage->models, ret);
    assert_true(ret->valid);
    cache_object_unref((void *)baseline);
    lot_record_unref(record);
}

/* Days at the daily look that first sees mold; WATCH + 1: none by the end of the watch. */
static int day_seen(const struct mold_course *course)
{
    double time = TRUE_TIME * exp(0.1 * normal()), u = uniform();
    for (int day = 1; day <= WATCH; day++) {
        double share = mold_spores_visible_scaled(course, day, time);
        if (u < -expm1(-course->spores * TRUE_SPORES * share))
            return day;
    }
    return WATCH + 1;
}

static void keep_samples(struct fixture *f, struct triage *triage)
{
    for (int day = 5; day < DAYS; day++)
        for (int line = 1; line <= 2; line++)
            for (int turn = 0; turn < 4; turn++) {
                struct mold_course course;
                int64_t id = fixture_lot(day, line, turn);
                course_of(triage, f->store, id, &course);
                int seen = day_seen(&course), days = seen > WATCH ? WATCH : seen;
                fixture_sql(f, "INSERT INTO reading VALUES(%lld, %d, %lld, '', 'retained', %d, %s)",
                            (long long)id, NOTED, (long long)AT(day + days, 12), days,
                            seen > WATCH ? "'None yet'" : "NULL");
            }
}

/* Doses from none to 0.3 %, so that lots differ; samples by the rules as they are, truth scaled. */
static struct triage *plant(struct fixture *f)
{
    static const char *const FILES[] = {"causes/packed-hot.json",
                                        "causes/inhibitor-underdosed.json",
                                        "causes/contamination-slicer.json",
                                        "causes/old-stock.json",
                                        "causes/not-known.json",
                                        "asks.json"};
    fixture_open(f);
    for (size_t i = 0; i < sizeof FILES / sizeof FILES[0]; i++)
        fixture_copy(f, "tests/rank/rules", FILES[i]);
    fixture_copy(f, "rules", "models.json");
    fixture_plant(f, DAYS);
    fixture_sql(f, "INSERT INTO quantity VALUES(%d, 'mold_free_days')", NOTED);
    fixture_sql(f, "UPDATE reading SET value = 0.1 * (lot_id %% 4) WHERE quantity_id = 5");
    struct triage *triage = fixture_triage(f);
    fixture_sql(f, "BEGIN");
    keep_samples(f, triage);
    fixture_sql(f, "COMMIT");
    return triage;
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

static bool holds(const json_t *fit, const char *factor, double truth)
{
    const json_t *range = json_object_get(fit, factor);
    assert_near(number(range, "typical", NULL), truth, 0.25 * truth);
    return number(range, "low", NULL) <= truth && truth <= number(range, "high", NULL);
}

static int look_at_fit(const json_t *report)
{
    const json_t *fit = json_object_get(report, "fit");
    assert_true(json_is_true(json_object_get(report, "valid")));
    assert_int_equal(number(report, "samples", NULL), (DAYS - 5) * 8);
    assert_true(number(report, "found", NULL) > 200);
    assert_true(number(report, "found", NULL) < number(report, "samples", NULL));
    assert_near(number(fit, "time_scale", "typical"), TRUE_TIME, 0.15);
    assert_true(number(fit, "new_lot", "high") > number(fit, "time_scale", "high"));
    assert_true(number(report, "before_after", "after") < number(report, "before_after", "before"));
    assert_near(number(report, "before_after", "now"), number(report, "before_after", "before"), 0);
    assert_int_equal(json_array_size(json_object_get(report, "residuals")), (DAYS - 5) * 8);
    assert_true(json_is_null(json_object_get(report, "adopted")));
    return holds(fit, "time_scale", TRUE_TIME) + holds(fit, "spores_scale", TRUE_SPORES);
}

/* Intervals hold nine times of ten: of eight, at least six. */
static void test_the_truth_comes_back(void **state)
{
    int inside = 0;
    (void)state;
    for (seed = 1; seed <= 4;) {
        uint64_t plant_seed = seed;
        struct fixture f;
        struct triage *triage = plant(&f);
        json_t *report = report_of(triage, f.store);
        inside += look_at_fit(report);
        json_decref(report);
        triage_free(triage);
        fixture_close(&f);
        seed = plant_seed + 1;
    }
    assert_true(inside >= 6);
}

/* A plant with models of its own: what is expected of its samples is by those, of others' as
 * before. */
static void test_a_sample_is_by_its_plants_models(void **state)
{
    struct fixture f;
    char path[128];
    size_t i;
    const json_t *one;
    (void)state;
    struct triage *plain = plant(&f);
    fixture_sql(&f, "UPDATE lot SET plant = 'north' WHERE line = '1'");
    fixture_records_changed(&f);
    snprintf(path, sizeof path, "%s/plants", f.rules);
    assert_int_equal(mkdir(path, 0755), 0);
    snprintf(path, sizeof path, "%s/plants/north", f.rules);
    assert_int_equal(mkdir(path, 0755), 0);
    fixture_file(
        &f, "plants/north/models.json",
        "{\"parameters\":[{\"name\":\"mold.time_scale\",\"low\":3,\"typical\":4,\"high\":5,"
        "\"source\":\"s\"}]}");
    struct triage *of_plants = fixture_triage(&f);
    assert_int_equal(triage_add_plant(of_plants, f.rules, "north", fixture_print_fault, NULL, NULL),
                     0);
    json_t *before = report_of(plain, f.store), *after = report_of(of_plants, f.store);
    const json_t *were = json_object_get(before, "residuals");
    assert_int_equal(json_array_size(were), (DAYS - 5) * 8);
    json_array_foreach(json_object_get(after, "residuals"), i, one)
    {
        const json_t *was = json_array_get(were, i);
        int lot = atoi(json_string_value(json_object_get(one, "lot")) + 1);
        double ratio = number(one, "before", NULL) / number(was, "before", NULL);
        assert_true(json_equal(json_object_get(one, "lot"), json_object_get(was, "lot")));
        if ((lot - 1) % 8 < 4 ? !(ratio > 1.5) : ratio != 1)
            fail_msg("lot %d: %g", lot, ratio);
    }
    assert_true(i == (DAYS - 5) * 8);
    json_decref(before);
    json_decref(after);
    triage_free(plain);
    triage_free(of_plants);
    fixture_close(&f);
}

static void test_adopting(void **state)
{
    struct fixture f;
    struct error err = {0};
    struct triage *plain = plant(&f), *adopted = fixture_triage(&f), *again = fixture_triage(&f);
    (void)state;
    json_t *before = report_of(plain, f.store);
    json_t *one = calibration_adoption(before, "mira", "2026-11-25T08:00:00Z");
    json_t *same = calibration_adoption(before, "jon", "2026-11-26T08:00:00Z");
    assert_string_equal(triage_hash(plain), triage_hash(adopted));
    assert_int_equal(calibration_apply(adopted, one, &err), 0);
    assert_int_equal(calibration_apply(again, same, &err), 0);
    assert_string_not_equal(triage_hash(plain), triage_hash(adopted));
    assert_int_equal(strlen(triage_hash(adopted)), 7 + 64);
    assert_string_equal(triage_hash(again), triage_hash(adopted)); /* who and when is no rule */
    double low, typical, high, was_low, was, was_high;
    parameters_get(&adopted->models, "mold.time_scale", &low, &typical, &high);
    parameters_get(&plain->models, "mold.time_scale", &was_low, &was, &was_high);
    const json_t *fit = json_object_get(before, "fit");
    assert_near(typical, was * number(fit, "new_lot", "typical"), 1e-9);
    assert_near(low, was * number(fit, "new_lot", "low"), 1e-9);
    assert_true(high / low < was_high / was_low); /* the plant is known better now */
    /* the same fit, not one on top of it; and what is in force now is as good */
    json_t *after = report_of(adopted, f.store);
    assert_true(json_equal(fit, json_object_get(after, "fit")));
    assert_string_equal(json_string_value(json_object_get(json_object_get(after, "adopted"), "by")),
                        "mira");
    assert_true(number(after, "before_after", "now") < number(after, "before_after", "before"));
    json_t *torn = json_deep_copy(one);
    json_object_set_new(json_object_get(json_object_get(torn, "fit"), "spores_scale"), "typical",
                        json_real(0));
    assert_int_equal(calibration_apply(again, torn, &err), ERROR_INVALID);
    assert_string_equal(err.field, "spores_scale");
    assert_string_equal(err.value, "typical");
    json_decref(torn);
    json_decref(before);
    json_decref(after);
    json_decref(one);
    json_decref(same);
    triage_free(plain);
    triage_free(adopted);
    triage_free(again);
    fixture_close(&f);
}

static void test_what_is_left_out(void **state)
{
    struct fixture f;
    struct triage *triage = plant(&f);
    (void)state;
    json_t *all = report_of(triage, f.store);
    fixture_complain(&f, "mold", fixture_lot(10, 1, 0), AT(12, 0), "{\"symptom\":\"mold\"}");
    fixture_complain(&f, "staling", fixture_lot(11, 1, 0), AT(13, 0), "{\"symptom\":\"staling\"}");
    json_t *fewer = report_of(triage, f.store);
    assert_int_equal(number(fewer, "samples", NULL), number(all, "samples", NULL) - 2);
    assert_int_equal(number(fewer, "left_out", "blamed"), 2);
    /* a look that found nothing is no sample once a later one has found mold */
    fixture_sql(&f, "INSERT INTO reading VALUES(%lld, %d, %lld, '', 'retained', 1, 'none yet')",
                (long long)fixture_lot(20, 1, 1), NOTED, (long long)AT(20, 13));
    json_t *looked = report_of(triage, f.store);
    assert_int_equal(number(looked, "samples", NULL), number(fewer, "samples", NULL));
    json_decref(all);
    json_decref(fewer);
    json_decref(looked);
    triage_free(triage);
    fixture_close(&f);
}

static void test_too_few(void **state)
{
    struct fixture f;
    struct error err = {0};
    struct triage *triage = plant(&f);
    (void)state;
    fixture_sql(&f, "DELETE FROM reading WHERE quantity_id = %d AND lot_id > %lld", NOTED,
                (long long)fixture_lot(5, 1, 2));
    json_t *report = report_of(triage, f.store);
    assert_true(json_is_false(json_object_get(report, "valid")));
    assert_true(json_is_null(json_object_get(report, "fit")));
    assert_non_null(strstr(json_string_value(json_object_get(report, "reason")), "too few"));
    json_decref(report);
    /* what the store has must be whole */
    json_t *broken = json_pack("{s:{s:{s:f, s:f, s:f}}}", "fit", "time_scale", "low", 1.2,
                               "typical", 1.1, "high", 1.3);
    char hash[80];
    snprintf(hash, sizeof hash, "%s", triage_hash(triage));
    assert_int_equal(calibration_apply(triage, broken, &err), ERROR_INVALID);
    assert_string_equal(triage_hash(triage), hash);
    json_decref(broken);
    triage_free(triage);
    fixture_close(&f);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_the_truth_comes_back),
        cmocka_unit_test(test_a_sample_is_by_its_plants_models),
        cmocka_unit_test(test_adopting),
        cmocka_unit_test(test_what_is_left_out),
        cmocka_unit_test(test_too_few),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

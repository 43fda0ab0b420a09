/* What a laboratory found of a lot beside what the plant read of it. */
#include "check.h"
#include "facts/lot_record.h"
#include "fixture.h"
#include "store/measured.h"
#include <math.h>

static struct lot_summary known(struct fixture *f, const char *quantity, const double *found,
                                int count)
{
    struct error err = {0};
    struct lot_records records;
    const struct lot_record *record;
    struct cache *cache = cache_new(16);
    struct rules *rules = NULL;
    assert_int_equal(rules_load(ODDLOAF_SOURCE_DIR "/rules", NULL, NULL, &rules, &err), 0);
    assert_int_equal(lot_record_all(f->store, rules, fixture_utc(), &records, &err), 0);
    assert_int_equal(lot_record_get(cache, &records, fixture_lot(3, 1, 0), &record, &err), 0);
    struct lot_summary summary = lot_record_with(record, quantity, found, count, AT(20, 0));
    lot_record_unref(record);
    cache_free(cache);
    rules_free(rules);
    return summary;
}

static void enter(struct fixture *f, const char *sample, double value)
{
    struct error err = {0};
    enum measured_outcome outcome;
    const struct measured_row row = {.lot_id = fixture_lot(3, 1, 0),
                                     .quantity = "core_at_pack_c",
                                     .lab = "Northgate",
                                     .sample = sample,
                                     .said = "",
                                     .value = value,
                                     .unit = "degC",
                                     .word = "",
                                     .at_ms = AT(6, 0),
                                     .by_name = "qa",
                                     .user = "",
                                     .logged_ms = AT(6, 1)};
    assert_int_equal(store_begin(f->store, &err), 0);
    assert_int_equal(measured_put(f->store, &row, &outcome, &err), 0);
    assert_int_equal(company_count_records_changed(f->store, &err), 0);
    assert_int_equal(store_commit(f->store, &err), 0);
}

/* The plant's probe says 38: the mean of both would be what nobody measured. */
static void a_laboratory_stands_for_the_plants_reading(void **state)
{
    (void)state;
    struct fixture f;
    static const double PACK[] = {44};
    fixture_open(&f);
    fixture_plant(&f, 10);
    double read = known(&f, "core_at_pack_c", NULL, 0).median;
    assert_true(read > 36 && read < 40);
    assert_true(fabs(known(&f, "core_at_pack_c", PACK, 1).median - (44 + read) / 2) < 1e-9);
    enter(&f, "1", 42);
    struct lot_summary one = known(&f, "core_at_pack_c", NULL, 0);
    assert_true(fabs(one.median - 42) < 1e-9);
    assert_true(fabs(one.min - 42) < 1e-9);
    assert_int_equal(one.count, 1);
    enter(&f, "2", 40);
    assert_true(fabs(known(&f, "core_at_pack_c", NULL, 0).median - 41) < 1e-9);
    /* a pack in hand tells beside it, as beside a reading */
    assert_true(fabs(known(&f, "core_at_pack_c", PACK, 1).median - 42.5) < 1e-9);
    fixture_close(&f);
}

/* More results of one quantity than anybody takes of a lot: the first 64 are counted. */
static void so_many_results_are_counted(void **state)
{
    (void)state;
    struct fixture f;
    static const double PACK[] = {44};
    fixture_open(&f);
    fixture_plant(&f, 10);
    for (int i = 0; i < 66; i++) {
        char sample[16];
        snprintf(sample, sizeof sample, "%02d", i);
        enter(&f, sample, 40);
        if (i >= 62)
            assert_int_equal(known(&f, "core_at_pack_c", NULL, 0).count, i < 64 ? i + 1 : 64);
    }
    struct lot_summary all = known(&f, "core_at_pack_c", PACK, 1);
    assert_int_equal(all.count, 65);
    assert_true(fabs(all.median - 42) < 1e-9 && fabs(all.max - 44) < 1e-9);
    fixture_close(&f);
}

/* Of the lot of day 3: its record, the caller's with the cache and the rules that it is made by. */
struct kept {
    struct cache *cache;
    struct rules *rules;
    const struct lot_record *record;
};

static struct kept record_of(struct fixture *f)
{
    struct kept kept = {.cache = cache_new(16)};
    struct error err = {0};
    struct lot_records records;
    assert_int_equal(rules_load(ODDLOAF_SOURCE_DIR "/rules", NULL, NULL, &kept.rules, &err), 0);
    assert_int_equal(lot_record_all(f->store, kept.rules, fixture_utc(), &records, &err), 0);
    assert_int_equal(lot_record_get(kept.cache, &records, fixture_lot(3, 1, 0), &kept.record, &err),
                     0);
    return kept;
}

static void kept_end(struct kept *kept)
{
    lot_record_unref(kept->record);
    cache_free(kept->cache);
    rules_free(kept->rules);
}

static void use(struct fixture *f, const char *row)
{
    fixture_sql(f,
                "INSERT INTO material_use(lot_id, material, material_lot, mix, amount, unit, "
                "active_pct, kind, applied) VALUES(%lld, %s)",
                (long long)fixture_lot(3, 1, 0), row);
}

/* What was weighed into a lot of two mixes, in kg or in g, told by mix or of the whole lot. */
static void doses_are_weighed_out_by_mix(void **state)
{
    static const struct {
        const char *quantity;
        int count;
        double median, max;
    } DOSES[] = {{"inhibitor_pct_flour", 2, 0.35, 0.4},
                 {"inhibitor_active_pct", 1, (0.3 * 80 + 0.8 * 60) / 1.1, 0},
                 {"inhibitor_active_pct_flour", 2, 0.24, 0.24},
                 {"yeast_pct_flour", 1, 100 * 6.0 / 300, 0},
                 {"fat_pct_flour", 1, 2, 0},
                 {"softener_unrecorded_share", 1, 0.5, 0},
                 {"potassium_sorbate_pct_flour", 2, 0.15, 0.2},
                 {"potassium_sorbate_active_pct", 1, 99, 0},
                 {"potassium_sorbate_surface_pct_flour", 1, 0.1, 0},
                 {"inhibitor_unrecorded_share", 0, 0, 0}};
    static const char *const USES[] = {
        "'inhibitor', 'I-1', 'M1', 0.3, 'kg', 80, NULL, NULL",
        "'inhibitor', 'I-1', 'M2', 800, 'g', 60, NULL, NULL",
        "'yeast', 'Y', '', 6, 'kg', NULL, NULL, NULL",
        "'fat', 'F', 'M1', 2, 'kg', NULL, NULL, NULL",
        "'softener', 'S', 'M2', 1, 'kg', NULL, NULL, NULL",
        "'other', 'P', 'M1', 0.1, 'kg', 99, 'potassium-sorbate', NULL",
        "'other', 'P', 'M2', 400, 'g', 99, 'potassium-sorbate', 'dough'",
        "'spray', 'P', '', 0.3, 'kg', NULL, 'potassium-sorbate', 'surface'"};
    struct fixture f;
    (void)state;
    fixture_open(&f);
    fixture_plant(&f, 4);
    fixture_sql(
        &f,
        "DELETE FROM reading WHERE quantity_id = 5; INSERT INTO mix VALUES('M2', %lld, %lld, 200)",
        (long long)fixture_lot(3, 1, 0), (long long)AT(3, 0));
    for (size_t i = 0; i < COUNT_OF(USES); i++)
        use(&f, USES[i]);
    struct kept kept = record_of(&f);
    for (size_t i = 0; i < COUNT_OF(DOSES); i++) {
        const struct lot_summary told =
            lot_record_with(kept.record, DOSES[i].quantity, NULL, 0, AT(20, 0));
        const double max = DOSES[i].max > 0 ? DOSES[i].max : DOSES[i].median;
        if (told.count != DOSES[i].count ||
            (told.count &&
             (fabs(told.median - DOSES[i].median) > 1e-9 || fabs(told.max - max) > 1e-9)))
            fail_msg("%s: %d, %g to %g", DOSES[i].quantity, told.count, told.median, told.max);
    }
    assert_true(fabs(kept.record->flour_kg - 300) < 1e-9);
    kept_end(&kept);
    fixture_close(&f);
}

/* Of one material lot used twice what was weighed is added up; pieces and metres weigh nothing. */
static void uses_of_one_lot_are_one(void **state)
{
    static const char *const USES[] = {"'closure', 'A', 'M1', 12, '1', NULL, NULL, NULL",
                                       "'closure', 'A', 'M2', 2, 'kg', NULL, NULL, NULL",
                                       "'closure', 'B', 'M1', 2, 'kg', NULL, NULL, NULL",
                                       "'closure', 'B', 'M2', 12, '1', NULL, NULL, NULL",
                                       "'closure', 'C', 'M1', 2, 'kg', NULL, NULL, NULL",
                                       "'closure', 'C', 'M2', 500, 'g', NULL, NULL, NULL",
                                       "'closure', 'D', 'M1', 9, 'm', NULL, NULL, NULL",
                                       "'glaze', 'C', '', 7, NULL, NULL, NULL, NULL"};
    static const struct {
        const char *material, *lot;
        double kg;
    } TOLD[] = {{"closure", "A", 2},   {"closure", "B", 2},   {"closure", "C", 2.5},
                {"closure", "D", NAN}, {"film", "F1-0", NAN}, {"glaze", "C", 7}};
    struct fixture f;
    (void)state;
    fixture_open(&f);
    fixture_plant(&f, 4);
    for (size_t i = 0; i < COUNT_OF(USES); i++)
        use(&f, USES[i]);
    struct kept kept = record_of(&f);
    assert_int_equal(kept.record->use_count, COUNT_OF(TOLD));
    for (size_t i = 0; i < COUNT_OF(TOLD); i++) {
        const struct lot_use *told = &kept.record->uses[i];
        assert_string_equal(told->material, TOLD[i].material);
        assert_string_equal(told->material_lot, TOLD[i].lot);
        assert_true(isnan(TOLD[i].kg) ? isnan(told->kg) : fabs(told->kg - TOLD[i].kg) < 1e-9);
    }
    kept_end(&kept);
    fixture_close(&f);
}

static double target_of(struct fixture *f, const char *zone, int64_t lot_id)
{
    struct error err = {0};
    struct lot_records records;
    const struct lot_record *record;
    struct tz *tz = NULL;
    struct cache *cache = cache_new(16);
    struct rules *rules = NULL;
    assert_int_equal(tz_open(zone, &tz, NULL), 0);
    assert_int_equal(rules_load(ODDLOAF_SOURCE_DIR "/rules", NULL, NULL, &rules, &err), 0);
    assert_int_equal(lot_record_all(f->store, rules, tz, &records, &err), 0);
    assert_int_equal(lot_record_get(cache, &records, lot_id, &record, &err), 0);
    double target = lot_record_series(record, "core_at_pack_c")->target;
    lot_record_unref(record);
    cache_free(cache);
    rules_free(rules);
    tz_close(tz);
    return target;
}

/* A recipe that changes on a day tells nothing of the lots before it. */
static void a_target_holds_from_its_day_on(void **state)
{
    (void)state;
    struct fixture f;
    fixture_open(&f);
    fixture_plant(&f, 10);
    fixture_sql(&f,
                "INSERT INTO target VALUES(1, 1, %d, 35, NULL, NULL), (1, 1, %d, 33, NULL, NULL)",
                DAY0 + 4, DAY0 + 6);
    static const struct {
        int day, turn;
        double west, utc, east; /* of Greenwich: the day is the plant's */
    } ROWS[] = {{2, 0, 38, 38, 38}, {3, 3, 38, 38, 35}, {4, 0, 38, 35, 35},
                {4, 3, 35, 35, 35}, {6, 3, 33, 33, 33}, {9, 0, 33, 33, 33}};
    for (size_t i = 0; i < sizeof ROWS / sizeof ROWS[0]; i++) {
        const int64_t lot = fixture_lot(ROWS[i].day, 1, ROWS[i].turn);
        assert_true(target_of(&f, "America/New_York", lot) == ROWS[i].west);
        assert_true(target_of(&f, "UTC", lot) == ROWS[i].utc);
        assert_true(target_of(&f, "Asia/Tokyo", lot) == ROWS[i].east);
    }
    fixture_close(&f);
}

/* Of one quantity the plant writes two names, and another between them: each has its own values,
 * by time. */
static void two_names_of_one_quantity_are_one_series(void **state)
{
    (void)state;
    struct fixture f;
    int64_t lot = fixture_lot(3, 1, 0);
    fixture_open(&f);
    fixture_plant(&f, 10);
    fixture_sql(&f,
                "INSERT INTO quantity VALUES(6, 'oven_c'), (7, 'calcium_propionate_pct_flour'),"
                " (8, 'proof_rh'); INSERT INTO reading VALUES"
                "(%lld, 6, %lld, '', '', 210, NULL), (%lld, 6, %lld, '', '', 212, NULL),"
                "(%lld, 7, %lld, '', '', 0.2, NULL), (%lld, 7, %lld, '', '', 0.4, NULL),"
                "(%lld, 8, %lld, '', '', 80, NULL)",
                (long long)lot, (long long)AT(3, 1), (long long)lot, (long long)AT(3, 2),
                (long long)lot, (long long)AT(2, 20), (long long)lot, (long long)AT(3, 4),
                (long long)lot, (long long)AT(3, 1));
    fixture_records_changed(&f);
    struct kept kept = record_of(&f);
    static const struct {
        const char *quantity;
        int count;
        double value[3];
    } WANTED[] = {{"core_at_pack_c", 1, {38.1}},
                  {"inhibitor_pct_flour", 3, {0.2, 0.3, 0.4}},
                  {"oven_c", 2, {210, 212}},
                  {"proof_rh", 1, {80}}};
    for (size_t i = 0; i < COUNT_OF(WANTED); i++) {
        const struct lot_series *series = lot_record_series(kept.record, WANTED[i].quantity);
        assert_non_null(series);
        assert_int_equal(series->count, WANTED[i].count);
        for (int k = 0; k < series->count; k++)
            if (fabs(kept.record->values[series->first + k].value - WANTED[i].value[k]) > 1e-9)
                fail_msg("%s %d: %g", WANTED[i].quantity, k,
                         kept.record->values[series->first + k].value);
    }
    kept_end(&kept);
    fixture_close(&f);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_target_holds_from_its_day_on),
        cmocka_unit_test(doses_are_weighed_out_by_mix),
        cmocka_unit_test(uses_of_one_lot_are_one),
        cmocka_unit_test(a_laboratory_stands_for_the_plants_reading),
        cmocka_unit_test(so_many_results_are_counted),
        cmocka_unit_test(two_names_of_one_quantity_are_one_series),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

/* What a laboratory found of a lot beside what the plant read of it. */
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

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_target_holds_from_its_day_on),
        cmocka_unit_test(a_laboratory_stands_for_the_plants_reading),
        cmocka_unit_test(so_many_results_are_counted),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

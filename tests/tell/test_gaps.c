/* What a record tells is what ranking without it loses: all its rows are out of sight, of this lot
 * and of the others, and nothing is said from a few cases. */
#include "../rank/fixture.h"
#include "store/record_gaps.h"
#include "tell/gaps.h"
#include "tell/gaps_late.h"

enum { DAYS = 42, WITHIN_MS = 60000, STEP = 2 };

static void sample_rules(struct fixture *f)
{
    static const char *const FILES[] = {"causes/packed-hot.json",
                                        "causes/inhibitor-underdosed.json", "causes/old-stock.json",
                                        "causes/not-known.json", "asks.json"};
    for (size_t i = 0; i < sizeof FILES / sizeof FILES[0]; i++)
        fixture_copy(f, "tests/rank/rules", FILES[i]);
}

/* A lot of every day is packed hot and complained of; its temperature is recorded on every other
 * day. */
static void hot_plant(struct fixture *f, int64_t *cases, int days)
{
    fixture_open(f);
    sample_rules(f);
    fixture_plant(f, days);
    for (int day = 0; day < days; day++) {
        int64_t lot = fixture_lot(day, 1, 0);
        fixture_sql(f, "UPDATE reading SET value = 47 WHERE lot_id = %lld AND quantity_id = 1",
                    (long long)lot);
        if (day % STEP)
            fixture_sql(f, "DELETE FROM reading WHERE lot_id = %lld AND quantity_id = 1",
                        (long long)lot);
        cases[day] = fixture_complain(f, "mold", lot, AT(day + 5, 15), "{}");
    }
    fixture_records_changed(f);
}

static json_t *tell_gaps(struct fixture *f, int64_t within_ms, const struct without *only)
{
    struct triage *triage = fixture_triage(f);
    struct error err = {0};
    const struct gaps_query query = {
        .weeks = 2, .cases_ms = 60 * WHEN_DAY_MS, .within_ms = within_ms, .only = only};
    json_t *told = NULL;
    int rc = gaps_tell(triage, f->store, &query, &told, &err); /* refused, it gives nothing */
    if (rc && !only)
        fail_msg("%s", err.text);
    assert_true(!rc || (rc == ERROR_INVALID && strcmp(err.field, "record") == 0 && !told));
    triage_free(triage);
    return told;
}

static const json_t *of_core(const json_t *told)
{
    size_t i;
    const json_t *one;
    json_array_foreach(json_object_get(told, "tells"), i, one)
    {
        if (strcmp(json_string_value(json_object_get(one, "what")), "core_at_pack_c") == 0)
            return one;
    }
    fail_msg("core_at_pack_c is not told of");
    return NULL;
}

static double number(const json_t *object, const char *name)
{
    const json_t *value = json_object_get(object, name);
    assert_true(json_is_number(value));
    return json_number_value(value);
}

static const char *says(const json_t *one)
{
    return json_string_value(json_object_get(one, "says"));
}

enum { CAUSES = 8 };
#define SETTLED 0.8

/* Chances of each case's causes, by index in the rules. */
static void chances_of(struct fixture *f, const int64_t *cases, int count, double (*ret)[CAUSES])
{
    struct triage *triage = fixture_triage(f);
    struct error err = {0};
    for (int i = 0; i < count; i++) {
        struct case_rank ranked;
        assert_int_equal(case_rank_read(triage, f->store, cases[i], &ranked, &err), 0);
        for (int c = 0; c < ranked.rank->count; c++)
            ret[i][ranked.rank->causes[c].cause] = ranked.rank->causes[c].probability;
        case_rank_clear(&ranked);
    }
    triage_free(triage);
}

static void hiding_loses_what_giving_back_brings(void **state)
{
    struct fixture f;
    int64_t cases[DAYS];
    (void)state;
    hot_plant(&f, cases, DAYS);
    json_t *told = tell_gaps(&f, WITHIN_MS, NULL);
    const json_t *core = of_core(told), *gain = json_object_get(core, "gain");
    assert_int_equal(number(core, "with"), DAYS / STEP);
    assert_int_equal(number(core, "without"), DAYS - DAYS / STEP);
    assert_true(number(gain, "bits") > 0);
    assert_true(number(gain, "low") < number(gain, "bits"));
    assert_non_null(strstr(says(core), "recorded for the lots of 21 of 42 cases"));
    double before[DAYS][CAUSES] = {{0}}, after[DAYS][CAUSES] = {{0}}, came = 0;
    chances_of(&f, cases, DAYS, before);
    for (int day = 1; day < DAYS; day += STEP)
        fixture_sql(&f, "INSERT INTO reading VALUES(%lld, 1, %lld, '', '', 47, NULL)",
                    (long long)fixture_lot(day, 1, 0), (long long)AT(day, 0));
    fixture_records_changed(&f);
    chances_of(&f, cases, DAYS, after);
    double more = 0;
    for (int i = 0; i < DAYS; i++)
        for (int c = 0; c < CAUSES; c++) {
            came += after[i][c] > 0 ? after[i][c] * log2(after[i][c] / before[i][c]) / DAYS : 0;
            more += (after[i][c] >= SETTLED) - (before[i][c] >= SETTLED);
        }
    const json_t *month = json_object_get(core, "more_a_month");
    more /= number(told, "months");
    assert_true(more >= number(month, "low") && more <= number(month, "high"));
    assert_true(came > 0.05);
    assert_true(number(gain, "bits") > came / 2 && number(gain, "bits") < came * 2);
    assert_true(came >= number(gain, "low") && came <= number(gain, "high"));
    json_decref(told);
    fixture_close(&f);
}

/* Where no case that has the record settled by it, that none will is not known: the range says so.
 */
static void none_settled_promises_nothing(void **state)
{
    struct fixture f;
    int64_t cases[DAYS];
    (void)state;
    hot_plant(&f, cases, DAYS);
    for (int day = 0; day < DAYS; day += STEP) /* cooler: it speaks for no cause as strongly */
        fixture_sql(&f, "UPDATE reading SET value = 36 WHERE lot_id = %lld AND quantity_id = 1",
                    (long long)fixture_lot(day, 1, 0));
    fixture_records_changed(&f);
    json_t *told = tell_gaps(&f, WITHIN_MS, NULL);
    const json_t *core = of_core(told), *month = json_object_get(core, "more_a_month");
    assert_float_equal(number(month, "cases"), 0, 0);
    assert_true(number(month, "low") <= -1 / number(told, "months"));
    assert_true(number(month, "high") >= 1 / number(told, "months"));
    assert_non_null(strstr(says(core), "cannot be told"));
    assert_null(strstr(says(core), "more cases a month"));
    json_decref(told);
    fixture_close(&f);
}

static void of_few_cases_nothing_is_said(void **state)
{
    struct fixture f;
    int64_t cases[DAYS];
    (void)state;
    hot_plant(&f, cases, 10);
    fixture_complain(&f, "mold", 0, AT(9, 15), "{}"); /* of no lot that is known */
    json_t *told = tell_gaps(&f, WITHIN_MS, NULL);
    const json_t *core = of_core(told);
    assert_true(json_is_null(json_object_get(core, "gain")));
    assert_non_null(strstr(says(core), "too few cases to tell"));
    json_decref(told);
    assert_null(tell_gaps(&f, WITHIN_MS, &(struct without){RECORD_READINGS, "no_such"}));
    fixture_close(&f);
}

static void time_that_is_over_is_said(void **state)
{
    struct fixture f;
    int64_t cases[DAYS];
    (void)state;
    hot_plant(&f, cases, DAYS);
    json_t *told = tell_gaps(&f, 0, NULL);
    assert_int_equal(number(told, "cases"), 0);
    json_decref(told);
    fixture_close(&f);
}

/* Readings come eight hours after packing: those of one lot twelve hours and more later than that,
 * of one not so much, of another after a complaint; of what was there before that was kept nothing
 * is said. */
static void late_records_are_told(void **state)
{
    struct fixture f;
    int64_t cases[DAYS];
    json_t *late = NULL;
    struct error err = {0};
    enum { LATE = 3, NEARLY = 9, AFTER = 20, UNKNOWN = 30, USUAL_H = 8 };
    (void)state;
    hot_plant(&f, cases, DAYS);
    for (int day = 0; day < DAYS; day++) {
        long long hours = USUAL_H + (day == LATE ? 13 : 0) + (day == NEARLY ? 11 : 0);
        fixture_sql(&f,
                    "INSERT OR REPLACE INTO record_came SELECT id, 'readings', CASE WHEN %d = %d"
                    " THEN NULL ELSE packed_to_ms + %lld END FROM lot WHERE id = %lld",
                    day, UNKNOWN, hours * WHEN_HOUR_MS, (long long)fixture_lot(day, 1, 0));
    }
    fixture_sql(&f, "UPDATE complaint SET logged_ms = %lld", (long long)AT(DAYS + 99, 0));
    fixture_sql(&f, "UPDATE complaint SET logged_ms = 1 WHERE lot_id = %lld",
                (long long)fixture_lot(AFTER, 1, 0));
    struct when_span all = {AT(-1, 0), AT(DAYS + 1, 0)};
    struct triage *triage = fixture_triage(&f);
    assert_int_equal(
        gaps_late_list(f.store, triage->tz, &(struct record_gaps_of){all, NULL}, &late, &err), 0);
    assert_int_equal(json_array_size(late), 1);
    const json_t *row = json_array_get(late, 0), *week;
    assert_float_equal(number(row, "usual_h"), USUAL_H, 0);
    double sums[3] = {0};
    size_t i;
    json_array_foreach(json_object_get(row, "weeks"), i, week)
    {
        sums[0] += number(week, "lots");
        sums[1] += number(week, "late");
        sums[2] += number(week, "after_complaint");
    }
    assert_float_equal(sums[0], DAYS - 1, 0);
    assert_float_equal(sums[1], 1, 0);
    assert_float_equal(sums[2], 1, 0);
    json_decref(late);
    triage_free(triage);
    fixture_close(&f);
}

/* All the time is for the one that is asked for; what no rule reads is refused, not measured. */
static void one_record_alone(void **state)
{
    struct fixture f;
    int64_t cases[DAYS];
    (void)state;
    hot_plant(&f, cases, DAYS);
    json_t *told = tell_gaps(&f, WITHIN_MS, &(struct without){RECORD_READINGS, "core_at_pack_c"});
    assert_int_equal(json_array_size(json_object_get(told, "tells")), 1);
    assert_true(number(json_object_get(of_core(told), "gain"), "bits") > 0);
    assert_null(tell_gaps(&f, WITHIN_MS, &(struct without){RECORD_READINGS, "core_at_pack"}));
    json_decref(told);
    fixture_close(&f);
}

/* Bread without almonds in it lacks no record of them; nobody's record is everybody's lack. */
static void no_material_is_asked_of_other_bread(void **state)
{
    struct fixture f;
    bool none = false;
    (void)state;
    fixture_open(&f);
    fixture_plant(&f, 2);
    int64_t lot = fixture_lot(0, 1, 0), other = fixture_lot(0, 2, 0);
    assert_int_equal(record_gaps_has_no_place(f.store, lot, "almond", &none, NULL), 0);
    assert_false(none);
    fixture_sql(&f, "INSERT INTO product(id, product, name, family, shelf_life_days, unit_g, gtin)"
                    " VALUES(9, 'ALM', 'Almond', 'pan-bread', 10, 500, NULL)");
    fixture_sql(&f, "UPDATE lot SET product_id = 9 WHERE id = %lld", (long long)other);
    fixture_sql(&f,
                "INSERT INTO material_use(lot_id, material, material_lot) VALUES(%lld, "
                "'almond', 'A1')",
                (long long)other);
    assert_int_equal(record_gaps_has_no_place(f.store, lot, "almond", &none, NULL), 0);
    assert_true(none);
    assert_int_equal(record_gaps_has_no_place(f.store, other, "almond", &none, NULL), 0);
    assert_false(none);
    fixture_close(&f);
}

/* Only that quantity, only on that connection. */
static void rows_are_out_of_sight(void **state)
{
    struct fixture f;
    int64_t cases[DAYS];
    struct error err = {0};
    struct store *apart;
    bool has = true;
    (void)state;
    hot_plant(&f, cases, 2);
    static const struct without HIDDEN[] = {{RECORD_READINGS, "core_at_pack_c"},
                                            {RECORD_USES, "film"},
                                            {RECORD_MIXES, ""},
                                            {RECORD_DISPATCH, ""}};
    const int64_t lot = fixture_lot(0, 1, 0);
    for (size_t i = 0; i < sizeof HIDDEN / sizeof *HIDDEN; i++) {
        if (without_open(f.store, &HIDDEN[i], &apart, &err))
            fail_msg("%s", err.text);
        for (size_t j = 0; j < sizeof HIDDEN / sizeof *HIDDEN; j++) {
            assert_int_equal(record_gaps_has(apart, lot, &HIDDEN[j], &has, &err), 0);
            assert_int_equal(has, i != j);
            assert_int_equal(record_gaps_has(f.store, lot, &HIDDEN[j], &has, &err), 0);
            assert_true(has);
        }
        assert_int_not_equal(db_exec(apart, "DELETE FROM main.reading", &err), 0);
        store_close(apart);
    }
    fixture_close(&f);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(hiding_loses_what_giving_back_brings),
        cmocka_unit_test(none_settled_promises_nothing),
        cmocka_unit_test(of_few_cases_nothing_is_said),
        cmocka_unit_test(time_that_is_over_is_said),
        cmocka_unit_test(late_records_are_told),
        cmocka_unit_test(one_record_alone),
        cmocka_unit_test(no_material_is_asked_of_other_bread),
        cmocka_unit_test(rows_are_out_of_sight),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

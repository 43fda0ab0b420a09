/* Counts by week stay what counting from scratch gives, whatever changes. */
#include "base/cuts.h"
#include "plant.h"
#include "store/complaint_place.h"
#include "store/verdict.h"

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

struct want {
    struct plant *plant;
    const char *factor, *level, *symptom;
    int64_t id, n;
};

static int pick_series(void *arg, const struct pattern_series *row)
{
    struct want *w = arg;
    if (strcmp(row->factor, w->factor) == 0 && strcmp(row->level, w->level) == 0 &&
        strcmp(row->symptom, w->symptom) == 0)
        w->id = row->id;
    return 0;
}

static int add_count(void *arg, const struct pattern_count *row)
{
    struct want *w = arg;
    if (row->series_id == w->id)
        w->n += row->n;
    return 0;
}

static int week_of(const char *name)
{
    struct iso_week week;
    assert_int_equal(iso_week_parse(name, &week, NULL), 0);
    return pattern_week_of_day(iso_week_monday(week));
}

static int64_t received(struct plant *p, const char *week, const char *factor, const char *level,
                        const char *symptom)
{
    struct want w = {.plant = p, .factor = factor, .level = level, .symptom = symptom};
    int number = week_of(week);
    assert_int_equal(pattern_series(p->store, pick_series, &w, NULL), 0);
    assert_int_equal(
        pattern_received(p->store, (struct pattern_weeks){number, number}, add_count, &w, NULL), 0);
    return w.n;
}

static int64_t units(struct plant *p, const char *week, const char *factor, const char *level)
{
    struct want w = {.plant = p, .factor = factor, .level = level, .symptom = ""};
    int number = week_of(week);
    assert_int_equal(pattern_series(p->store, pick_series, &w, NULL), 0);
    assert_int_equal(
        pattern_units(p->store, (struct pattern_weeks){number, number}, add_count, &w, NULL), 0);
    return w.n;
}

static void weeks_are_those_of_the_plants_zone(void **state)
{
    struct plant *p = *state;
    int64_t lot = plant_lot(p, "1", 1, "A", plant_time("2026-11-10T05:00:00-05:00"), 1000);
    /* Sunday 23:59 in the plant is Monday 04:59 in UTC */
    plant_complaint(p, lot, "mold", plant_time("2026-11-16T04:59:00Z"), NULL);
    plant_complaint(p, lot, "mold", plant_time("2026-11-16T05:00:00Z"), NULL);
    /* the week in which the clocks went back has 169 hours */
    plant_complaint(p, lot, "mold", plant_time("2026-11-02T04:59:59.999Z"), NULL);
    assert_int_equal(received(p, "2026-W46", "line", "1", "mold"), 1);
    assert_int_equal(received(p, "2026-W47", "line", "1", "mold"), 1);
    assert_int_equal(received(p, "2026-W44", "", "", "mold"), 1);
    assert_int_equal(units(p, "2026-W46", "product", "W24"), 1000);
    assert_int_equal(units(p, "2026-W46", "shift", "A"), 1000);
    plant_check(p);

    struct tz *utc;
    struct error err = {0};
    assert_int_equal(tz_open("UTC", &utc, NULL), 0);
    assert_int_equal(pattern_check_zone(p->store, utc, &err), ERROR_BUSY);
    assert_int_equal(pattern_set_up(p->store, utc, NULL), 0);
    assert_int_equal(pattern_check_zone(p->store, utc, NULL), 0);
    assert_int_equal(received(p, "2026-W47", "line", "1", "mold"), 2);
    plant_check(p);
    tz_close(utc);
}

static void a_week_number_knows_its_monday(void **state)
{
    (void)state;
    int32_t day = day_from_civil(2026, 11, 16);
    for (int32_t d = day; d < day + 7; d++)
        assert_int_equal(pattern_monday(pattern_week_of_day(d)), day);
    assert_int_equal(pattern_week_of_day(-3), 0);
    assert_int_equal(pattern_week_of_day(-4), -1);
    assert_int_equal(pattern_week_of_day(-10), -1);
    assert_int_equal(pattern_week_of_day(-11), -2);
}

static void a_corrected_lot_takes_its_complaints_along(void **state)
{
    struct plant *p = *state;
    int64_t lot = plant_lot(p, "1", 1, "A", plant_time("2026-11-10T05:00:00-05:00"), 1000);
    int64_t at = plant_time("2026-11-18T09:00:00-05:00");
    plant_sent(p, lot, "R1", "0417", 1, 600);
    plant_sent(p, lot, "R2", "", 1, 300);
    struct complaint_placed a = plant_complaint(p, lot, "mold", at, "R1");
    plant_rank(p, a.case_id, "packed-hot", 0.7, "contamination-slicer", 0.2);
    plant_put_lot(p, lot,
                  (struct plant_lot){"2", "", 2, plant_time("2026-11-03T05:00:00-05:00"), 1200});
    assert_int_equal(received(p, "2026-W47", "line", "1", "mold"), 0);
    assert_int_equal(received(p, "2026-W47", "line", "2", "mold"), 1);
    assert_int_equal(received(p, "2026-W47", "product", "R12", "mold"), 1);
    assert_int_equal(received(p, "2026-W47", "shift", "A", "mold"), 0);
    assert_int_equal(received(p, "2026-W47", "route", "R1", "mold"), 1);
    assert_int_equal(units(p, "2026-W46", "", ""), 0);
    assert_int_equal(units(p, "2026-W45", "", ""), 1200);
    assert_int_equal(units(p, "2026-W45", "route", "R2"), 300);
    plant_sent(p, lot, "R2", "", 1, 350);
    plant_sent(p, lot, "R1", "0417", 1, 0);
    assert_int_equal(units(p, "2026-W45", "route", "R2"), 350);
    assert_int_equal(units(p, "2026-W45", "route", "R1"), 0);
    plant_check(p);
}

/* Who names a store need not know its route: where the lot went does, loaded before or after. */
static void a_named_stores_route_is_that_of_the_dispatch(void **state)
{
    struct plant *p = *state;
    int64_t lot = plant_lot(p, "1", 1, "A", plant_time("2026-11-10T05:00:00-05:00"), 1000);
    int64_t at = plant_time("2026-11-18T09:00:00-05:00");
    struct complaint_placed c = plant_complaint(p, lot, "mold", at, NULL);
    assert_int_equal(pattern_count_complaint(p->store, c.complaint_id, PATTERN_OUT, NULL), 0);
    plant_exec(p, "UPDATE complaint SET store = '0417' WHERE id = %lld", (long long)c.complaint_id);
    assert_int_equal(pattern_count_complaint(p->store, c.complaint_id, PATTERN_IN, NULL), 0);
    assert_int_equal(received(p, "2026-W47", "store", "0417", "mold"), 1);
    assert_int_equal(received(p, "2026-W47", "route", "R1", "mold"), 0);
    plant_sent(p, lot, "R3", "0510", 1, 100);
    plant_sent(p, lot, "R1", "0417", 1, 600);
    assert_int_equal(received(p, "2026-W47", "route", "R1", "mold"), 1);
    assert_int_equal(received(p, "2026-W47", "", "", "mold"), 1);
    plant_sent(p, lot, "R1", "0417", 1, 500);
    plant_sent(p, lot, "R1", "0417", 2, 90);
    assert_int_equal(received(p, "2026-W47", "route", "R1", "mold"), 1);
    plant_check(p);
    plant_sent(p, lot, "R2", "0417", 3, 40); /* either */
    assert_int_equal(received(p, "2026-W47", "route", "R1", "mold"), 0);
    plant_check(p);
}

/* The retailer likewise, told or not which route it came by, and changed by a later load. */
static void a_named_stores_retailer_is_that_of_the_dispatch(void **state)
{
    struct plant *p = *state;
    int64_t lot = plant_lot(p, "1", 1, "A", plant_time("2026-11-10T05:00:00-05:00"), 1000);
    int64_t at = plant_time("2026-11-18T09:00:00-05:00");
    struct complaint_placed c = plant_complaint(p, lot, "mold", at, "R1");
    assert_int_equal(pattern_count_complaint(p->store, c.complaint_id, PATTERN_OUT, NULL), 0);
    plant_exec(p, "UPDATE complaint SET store = '0417' WHERE id = %lld", (long long)c.complaint_id);
    assert_int_equal(pattern_count_complaint(p->store, c.complaint_id, PATTERN_IN, NULL), 0);
    plant_send(p, lot, (struct plant_trip){"R1", "0417", NULL, 1, 600});
    assert_int_equal(received(p, "2026-W47", "retailer", "Lark", "mold"), 0);
    plant_send(p, lot, (struct plant_trip){"R1", "0417", "Lark", 1, 600});
    assert_int_equal(received(p, "2026-W47", "retailer", "Lark", "mold"), 1);
    assert_int_equal(units(p, "2026-W46", "retailer", "Lark"), 600);
    plant_check(p);
    plant_send(p, lot, (struct plant_trip){"R1", "0417", "Lamp", 1, 600});
    assert_int_equal(received(p, "2026-W47", "retailer", "Lark", "mold"), 0);
    assert_int_equal(received(p, "2026-W47", "retailer", "Lamp", "mold"), 1);
    plant_check(p);
}

static void causes_share_out_a_cases_complaints(void **state)
{
    struct plant *p = *state;
    int64_t lot = plant_lot(p, "1", 1, "A", plant_time("2026-11-10T05:00:00-05:00"), 1000);
    int64_t at = plant_time("2026-11-18T09:00:00-05:00");
    struct complaint_placed a = plant_complaint(p, lot, "mold", at, NULL);
    plant_rank(p, a.case_id, "packed-hot", 0.7, "old-stock", 0.25);
    plant_complaint(p, lot, "mold", at + WHEN_HOUR_MS, NULL);
    assert_int_equal(received(p, "2026-W47", "cause", "packed-hot", "mold"), 1400000);
    assert_int_equal(received(p, "2026-W47", "cause", "not-known", "mold"), 100000);
    plant_rank(p, a.case_id, "old-stock", 0.6, "underbaked", 0.4);
    assert_int_equal(received(p, "2026-W47", "cause", "packed-hot", "mold"), 0);
    assert_int_equal(received(p, "2026-W47", "cause", "old-stock", "mold"), 1200000);
    plant_check(p);

    assert_int_equal(
        verdict_add(p->store, &(struct verdict_new){a.case_id, at, "underbaked", "assay", "", "qa"},
                    NULL),
        0);
    assert_int_equal(received(p, "2026-W47", "cause", "underbaked", "mold"), 2000000);
    assert_int_equal(received(p, "2026-W47", "cause", "old-stock", "mold"), 0);
    plant_rank(p, a.case_id, "packed-hot", 0.9, "old-stock", 0.1); /* a verdict outweighs it */
    assert_int_equal(received(p, "2026-W47", "cause", "underbaked", "mold"), 2000000);
    plant_check(p);
    assert_int_equal(verdict_reopen(p->store, a.case_id, "", "qa", at, NULL), 0);
    assert_int_equal(received(p, "2026-W47", "cause", "packed-hot", "mold"), 1800000);
    plant_check(p);
}

struct verdict_seen {
    int count, place;
    double probability, brier;
};

static int see_verdict(void *arg, const struct pattern_verdict *row)
{
    struct verdict_seen *seen = arg;
    seen->count++;
    seen->place = row->place;
    seen->probability = row->probability;
    seen->brier = row->brier;
    return 0;
}

static void a_verdict_keeps_how_good_the_ranking_was(void **state)
{
    struct plant *p = *state;
    int64_t lot = plant_lot(p, "1", 1, "A", plant_time("2026-11-10T05:00:00-05:00"), 1000);
    int64_t at = plant_time("2026-11-18T09:00:00-05:00");
    struct complaint_placed a = plant_complaint(p, lot, "mold", at, NULL);
    struct verdict_seen seen = {0};
    plant_rank(p, a.case_id, "packed-hot", 0.5, "old-stock", 0.3);
    assert_int_equal(
        verdict_add(p->store,
                    &(struct verdict_new){a.case_id, at + 5, "old-stock", "assay", "", "qa"}, NULL),
        0);
    assert_int_equal(
        pattern_verdicts(p->store, (struct when_span){at, at + 6}, NULL, see_verdict, &seen, NULL),
        0);
    assert_int_equal(seen.count, 1);
    assert_int_equal(seen.place, 2);
    assert_true(fabs(seen.probability - 0.3) < 1e-12);
    assert_true(fabs(seen.brier - (0.25 + 0.49 + 0.04)) < 1e-12);
    assert_int_equal(
        pattern_verdicts(p->store, (struct when_span){at, at + 5}, NULL, see_verdict, &seen, NULL),
        0);
    assert_int_equal(seen.count, 1);
}

/* Counted by another table of cuts: by an older program, or before a cut was added. */
static void a_file_of_other_cuts_is_counted_again(void **state)
{
    struct plant *p = *state;
    struct error err = {0};
    int64_t lot = plant_lot(p, "1", 1, "A", plant_time("2026-11-10T05:00:00-05:00"), 1000);
    int64_t at = plant_time("2026-11-18T09:00:00-05:00");
    plant_complaint(p, lot, "mold", at, "R1");
    plant_exec(p,
               "UPDATE setting SET value = 'another' WHERE key = 'pattern/views';"
               "DROP VIEW pattern_part; CREATE VIEW pattern_part AS SELECT * FROM pattern_place;"
               "DELETE FROM pattern_factor; DELETE FROM pattern_series; DELETE FROM pattern_units");
    assert_int_equal(store_commit(p->store, &err), 0);
    store_close(p->store);
    assert_int_equal(store_open(p->dir, STORE_WRITE, &p->store, &err), 0);
    assert_int_equal(store_begin(p->store, &err), 0);
    assert_int_equal(pattern_set_up(p->store, p->tz, &err), 0);
    assert_int_equal(received(p, "2026-W47", "line", "1", "mold"), 1);
    assert_int_equal(received(p, "2026-W47", "channel", "phone", "mold"), 1);
    assert_int_equal(units(p, "2026-W46", "line", "1"), 1000);
    plant_check(p);
    plant_complaint(p, lot, "mold", at, "R1");
    assert_int_equal(received(p, "2026-W47", "line", "1", "mold"), 2);
    plant_check(p);
}

/* A change as whatever writes it makes it. */
static void around(struct plant *p,
                   int (*count)(struct store *, int64_t, enum pattern_way, struct error *),
                   int64_t id, const char *table, const char *column)
{
    char sql[120];
    snprintf(sql, sizeof sql, "UPDATE %s SET %s = 'S2' WHERE id = 1", table, column);
    assert_int_equal(count(p->store, id, PATTERN_OUT, NULL), 0);
    plant_exec(p, "%s", sql);
    assert_int_equal(count(p->store, id, PATTERN_IN, NULL), 0);
}

/* Of every row of the table the store counts what the records say. */
static void every_cut_is_counted(void **state)
{
    struct plant *p = *state;
    int64_t at = plant_time("2026-11-18T09:00:00-05:00");
    int64_t lot = plant_lot(p, "S1", 1, "S1", plant_time("2026-11-10T05:00:00-05:00"), 1000);
    struct complaint_placed c = plant_complaint(p, lot, "mold", at, "S1");
    plant_send(p, lot, (struct plant_trip){"S1", "S1", "S1", 1, 600});
    plant_rank(p, c.case_id, "packed-hot", 0.7, "contamination-slicer", 0.3);
    for (const struct cut *cut = cuts_all(); cut->name; cut++) {
        if (cut->source == CUT_LOT)
            around(p, pattern_count_lot, lot, "lot", cut->column);
        else if (cut->source == CUT_PRODUCT)
            around(p, pattern_count_product, 1, "product", cut->column);
        else if (cut->source == CUT_COMPLAINT && cut->column)
            around(p, pattern_count_complaint, c.complaint_id, "complaint", cut->column);
        else if (cut->flags & CUT_BY_STORE) /* that the complaint names by now */
            plant_send(p, lot, (struct plant_trip){"S3", "S2", "S2", 1, 200});
        else
            continue;
        plant_check(p);
        if (received(p, "2026-W47", cut->name, "S2", "mold") != 1)
            fail_msg("nothing is counted by %s", cut->name);
        bool sent = cut->flags & CUT_SENT;
        int64_t packed =
            sent ? units(p, "2026-W46", cut->name, "S1") : units(p, "2026-W46", cut->name, "S2");
        if (packed != (cuts_lent_units(cut) ? 0 : sent ? 600 : 1000))
            fail_msg("%lld units are counted by %s", (long long)packed, cut->name);
    }
}

/* What a plant's cases are shared out among is a series of that plant: a lot that becomes another
 * plant's takes its own along, whether or not anything else was ever counted there. */
static void causes_go_with_a_lot_to_its_plant(void **state)
{
    struct plant *p = *state;
    const int64_t packed = plant_time("2026-11-10T05:00:00-05:00"),
                  at = plant_time("2026-11-18T09:00:00-05:00");
    const struct plant_lot lot = {"1", "A", 1, packed, 1000}, other = {"1", "B", 1, packed, 1000};
    plant_put_lot_at(p, ++p->serial, "Larkfen", lot);
    struct complaint_placed c = plant_complaint(p, p->serial, "mold", at, "R1");
    plant_rank(p, c.case_id, "packed-hot", 0.7, "contamination-slicer", 0.3);
    plant_put_lot_at(p, p->serial, "Quarrhill", lot);
    plant_check(p);
    assert_int_equal(received(p, "2026-W47", "cause", "packed-hot", "mold"), 700000);
    plant_put_lot_at(p, ++p->serial, "Quarrhill", other);
    c = plant_complaint(p, p->serial, "mold", at, "R1");
    plant_rank(p, c.case_id, "packed-hot", 0.6, "contamination-slicer", 0.4);
    plant_check(p);
    assert_int_equal(received(p, "2026-W47", "cause", "packed-hot", "mold"), 1300000);
}

/* Anything that can happen, in an order a seed decides; then counted again from scratch. */
static void random_histories_count_right(void **state)
{
    struct plant *p = *state;
    static const char *const SYMPTOMS[] = {"mold", "off-odor", "staling"};
    static const char *const CAUSES[] = {"packed-hot", "old-stock", "rope", "contamination-film"};
    struct dice dice = {20261116};
    int64_t complaints[400], cases[400], start = plant_time("2026-10-26T00:00:00Z");
    int count = 0;
    for (int i = 0; i < 20; i++) {
        int64_t lot = plant_lot(p, i % 2 ? "1" : "2", 1 + i % 2, i % 3 ? "A" : "",
                                start + i * 20 * WHEN_HOUR_MS, 500 + i);
        char route[8];
        snprintf(route, sizeof route, "R%d", i % 4);
        plant_sent(p, lot, route, "", 1, i * 9);
    }
    for (int step = 0; step < 600; step++) {
        double what = dice_unit(&dice);
        int pick = count ? (int)(dice_unit(&dice) * count) : 0;
        int64_t lot = (int64_t)(dice_unit(&dice) * 21); /* 0: open */
        int64_t at = start + (int64_t)(dice_unit(&dice) * 30 * (double)WHEN_DAY_MS);
        if ((what < 0.5 || !count) && count < 400) {
            struct complaint_placed placed =
                plant_complaint(p, lot, SYMPTOMS[step % 3], at, step % 4 ? "R1" : NULL);
            complaints[count] = placed.complaint_id;
            cases[count++] = placed.case_id;
        } else if (what < 0.65) {
            const struct complaint_lots to = {
                .state = lot ? LOT_LIKELY : LOT_SEVERAL, .count = 1, .lot = {{lot ? lot : 1, 0.9}}};
            const struct complaint_why why = {"oddloaf", "matched again", at};
            struct complaint_placed placed;
            assert_int_equal(complaint_place(p->store, complaints[pick], &to, &why, &placed, NULL),
                             0);
            cases[pick] = placed.case_id;
        } else if (what < 0.8) {
            double share = 0.5 * dice_unit(&dice);
            plant_rank(p, cases[pick], CAUSES[step % 4], share, CAUSES[(step + 1) % 4], 0.4);
        } else if (what < 0.87) {
            verdict_add(p->store,
                        &(struct verdict_new){cases[pick], at, CAUSES[step % 4], "assay", "", "qa"},
                        NULL);
        } else if (what < 0.92) {
            verdict_reopen(p->store, cases[pick], "", "qa", at, NULL);
        } else if (lot) {
            const char *const lines[] = {"0", "1", "2"};
            const char *const plants[] = {"", "Larkfen", "Quarrhill"};
            plant_put_lot_at(
                p, lot, plants[step % 7 % 3],
                (struct plant_lot){lines[step % 3], "A", 1, at - 3 * WHEN_DAY_MS, 400});
        }
        if (step % 100 == 99)
            plant_check(p);
    }
    assert_int_equal(pattern_recount(p->store, NULL), 0);
    plant_check(p);
}

/* A checker that never finds anything would pass all of the above. */
static void the_checker_finds_a_wrong_count(void **state)
{
    struct plant *p = *state;
    int64_t lot = plant_lot(p, "1", 1, "A", plant_time("2026-11-10T05:00:00-05:00"), 1000);
    struct complaint_placed a =
        plant_complaint(p, lot, "mold", plant_time("2026-11-18T09:00:00-05:00"), NULL);
    plant_rank(p, a.case_id, "packed-hot", 0.7, "old-stock", 0.25);
    static const char *const SPOIL[] = {
        ("UPDATE pattern_received SET n=n+1 WHERE series_id=(SELECT min(series_id) FROM"
         " pattern_received)"),
        "UPDATE pattern_made SET n=n-1", "UPDATE pattern_units SET n=n+7",
        "DELETE FROM pattern_open"};
    for (size_t i = 0; i < COUNT_OF(SPOIL); i++) {
        int64_t differences = 0;
        plant_exec(p, "%s", SPOIL[i]);
        assert_int_equal(pattern_differences(p->store, &differences, NULL), 0);
        assert_true(differences > 0);
        assert_int_equal(pattern_recount(p->store, NULL), 0);
        plant_check(p);
    }
    struct recount found = {0};
    plant_exec(p, "%s", "UPDATE complaint_case SET packs=packs+1");
    assert_int_equal(recount(p->store, &found, NULL), 0);
    assert_int_equal(found.cases, 1);
    plant_exec(p, "%s", "UPDATE company_count SET n=n+1");
    assert_int_equal(recount(p->store, &found, NULL), 0);
    assert_int_equal(found.company, 1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_week_number_knows_its_monday),
        cmocka_unit_test_setup_teardown(weeks_are_those_of_the_plants_zone, setup, teardown),
        cmocka_unit_test_setup_teardown(a_corrected_lot_takes_its_complaints_along, setup,
                                        teardown),
        cmocka_unit_test_setup_teardown(a_named_stores_route_is_that_of_the_dispatch, setup,
                                        teardown),
        cmocka_unit_test_setup_teardown(a_named_stores_retailer_is_that_of_the_dispatch, setup,
                                        teardown),
        cmocka_unit_test_setup_teardown(causes_share_out_a_cases_complaints, setup, teardown),
        cmocka_unit_test_setup_teardown(a_verdict_keeps_how_good_the_ranking_was, setup, teardown),
        cmocka_unit_test_setup_teardown(a_file_of_other_cuts_is_counted_again, setup, teardown),
        cmocka_unit_test_setup_teardown(every_cut_is_counted, setup, teardown),
        cmocka_unit_test_setup_teardown(causes_go_with_a_lot_to_its_plant, setup, teardown),
        cmocka_unit_test_setup_teardown(random_histories_count_right, setup, teardown),
        cmocka_unit_test_setup_teardown(the_checker_finds_a_wrong_count, setup, teardown),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

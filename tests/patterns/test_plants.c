/* Two invented plants of one company, each with a line 1: what is counted, rises and is traced of
 * one is not the other's; what both have is their sum. */
#include "base/cuts.h"
#include "patterns/returns.h"
#include "patterns/trace.h"
#include "patterns/week.h"
#include "plant.h"
#include "store/move.h"
#include <gsl/gsl_errno.h>

enum { WEEKS = 20, LOTS = 7 };

/* The line 1 of north is in trouble for the last two of the weeks. */
static void fill(struct plant *p)
{
    int64_t monday = plant_time("2026-07-06T06:00:00-04:00");
    for (int week = 0; week < WEEKS; week++)
        for (int lot = 0; lot < LOTS; lot++)
            for (int k = 0; k < 2; k++) {
                int64_t at = monday + (7 * week + lot) * WHEN_DAY_MS + k * WHEN_HOUR_MS;
                plant_put_lot_at(p, ++p->serial, k ? "harbor" : "north",
                                 (struct plant_lot){"1", "A", 1, at, 5000});
                plant_sent(p, p->serial, "R1", "", at + WHEN_DAY_MS, 5000);
                int complaints = (lot == 0) + (k == 0 && week >= WEEKS - 2) * 3;
                for (int c = 0; c < complaints; c++)
                    plant_complaint(p, p->serial, "mold", at + (3 + c % 2) * WHEN_DAY_MS, NULL);
            }
}

static const char WEEK[] = "2026-W47", NOW[] = "2026-11-23T08:00:00-05:00";

static json_t *week_of(struct plant *p, const char *plant)
{
    struct error err = {0};
    json_t *report = NULL;
    struct week_query query = {.now_ms = plant_time(NOW), .plant = plant};
    assert_int_equal(cuts_parse("line,route,product,plant", &query.by, &err), 0);
    assert_int_equal(iso_week_parse(WEEK, &query.week, &err), 0);
    if (week_report(p->store, p->tz, NULL, &query, &report, &err))
        fail_msg("%s", err.text);
    return report;
}

static const char *text_of(const json_t *row, const char *name)
{
    const char *text = json_string_value(json_object_get(row, name));
    return text ? text : "";
}

/* A row of a level, or NULL. `plant` "": of none. */
static const json_t *row_of(const json_t *rows, const char *level, const char *plant)
{
    size_t i;
    const json_t *row;
    json_array_foreach(rows, i, row)
    {
        if (strcmp(text_of(row, "level"), level) == 0 &&
            strcmp(text_of(row, "plant"), plant) == 0 &&
            (!json_object_get(row, "symptom") || strcmp(text_of(row, "symptom"), "mold") == 0))
            return row;
    }
    return NULL;
}

static const json_t *by(const json_t *report, const char *cut)
{
    return json_object_get(json_object_get(report, "by"), cut);
}

static double number(const json_t *row, const char *name)
{
    assert_non_null(row);
    return json_number_value(json_object_get(row, name));
}

static bool is_near(double x, double wanted)
{
    return fabs(x - wanted) < 1e-9;
}

static void line_1_of_two_plants_is_two_rows_and_one_signal(void **state)
{
    struct plant *p = *state;
    fill(p);
    plant_check(p);
    json_t *all = week_of(p, NULL);
    const json_t *north = row_of(by(all, "line"), "1", "north");
    const json_t *harbor = row_of(by(all, "line"), "1", "harbor");
    assert_true(number(north, "complaints") > 5 * number(harbor, "complaints"));
    assert_true(is_near(number(north, "units"), LOTS * 5000));
    assert_true(is_near(number(harbor, "units"), LOTS * 5000));
    assert_null(row_of(by(all, "line"), "1", ""));
    assert_non_null(row_of(by(all, "route"), "R1", "north"));
    assert_null(row_of(by(all, "route"), "R1", ""));
    /* what both have stands once */
    assert_true(is_near(number(row_of(by(all, "product"), "W24", ""), "units"), 2 * LOTS * 5000));
    size_t i, lines = 0;
    const json_t *signal;
    json_array_foreach(json_object_get(all, "signals"), i, signal)
    {
        assert_string_not_equal(text_of(signal, "plant"), "harbor");
        lines += strcmp(text_of(signal, "factor"), "line") == 0 &&
                 strcmp(text_of(signal, "plant"), "north") == 0;
    }
    assert_int_equal(lines, 1);
    const char *headline = json_string_value(json_array_get(json_object_get(all, "headline"), 0));
    assert_non_null(strstr(headline, "(north)"));
    json_decref(all);
}

static void the_weeks_of_the_plants_add_up_to_the_companys(void **state)
{
    struct plant *p = *state;
    static const char *const PLANTS[] = {"north", "harbor"};
    double complaints = 0, units = 0, w24 = 0;
    fill(p);
    json_t *all = week_of(p, NULL);
    for (int i = 0; i < 2; i++) {
        json_t *one = week_of(p, PLANTS[i]);
        assert_string_equal(text_of(one, "plant"), PLANTS[i]);
        complaints += number(json_object_get(one, "complaints"), "mold");
        units += number(one, "units");
        w24 += number(row_of(by(one, "product"), "W24", ""), "complaints");
        assert_null(row_of(by(one, "line"), "1", PLANTS[1 - i]));
        assert_true(is_near(number(row_of(by(one, "plant"), PLANTS[i], ""), "units"), LOTS * 5000));
        /* the trouble is north's alone */
        assert_int_equal(json_array_size(json_object_get(one, "signals")) > 0, i == 0);
        json_decref(one);
    }
    assert_true(is_near(complaints, number(json_object_get(all, "complaints"), "mold")));
    assert_true(is_near(units, number(all, "units")));
    assert_true(is_near(w24, number(row_of(by(all, "product"), "W24", ""), "complaints")));
    json_decref(all);
}

static json_t *traced(struct plant *p, const char *plant)
{
    struct error err = {0};
    json_t *answer = NULL;
    const struct trace_query query = {.symptom = "mold",
                                      .from_day = day_from_civil(2026, 10, 5),
                                      .to_day = day_from_civil(2026, 11, 22),
                                      .plant = plant};
    if (trace_run(p->store, p->tz, &query, &answer, &err))
        fail_msg("%s", err.text);
    return answer;
}

static void tracing_finds_the_line_of_the_one_plant(void **state)
{
    struct plant *p = *state;
    fill(p);
    json_t *all = traced(p, NULL), *harbor = traced(p, "harbor");
    const json_t *first = json_array_get(json_object_get(all, "factors"), 0);
    const json_t *run = json_array_get(json_object_get(all, "runs"), 0);
    size_t i;
    const json_t *row;
    assert_string_equal(text_of(first, "factor"), "line");
    assert_string_equal(text_of(first, "plant"), "north");
    assert_string_equal(text_of(run, "plant"), "north");
    json_array_foreach(json_object_get(harbor, "factors"), i, row)
    {
        assert_string_not_equal(text_of(row, "plant"), "north");
    }
    json_decref(all);
    json_decref(harbor);
}

static const char *plant_of(struct plant *p, int64_t complaint_id)
{
    static char plant[32];
    struct db_query q = db_query(p->store,
                                 "SELECT c.plant || ' ' || k.plant FROM complaint c JOIN"
                                 " complaint_case k ON k.id = c.case_id WHERE c.id = ?1",
                                 DB(DB_INT(complaint_id)), NULL);
    assert_true(db_next(&q));
    db_copy(&q, 0, plant, sizeof plant);
    assert_int_equal(db_end(&q, 0), 0);
    return plant;
}

/* Its lot's; without one what it names, else what all its candidates share. */
static void a_complaint_and_its_case_have_a_plant(void **state)
{
    struct plant *p = *state;
    int64_t at = plant_time("2026-11-17T05:00:00-05:00");
    const struct plant_lot lot = {"1", "A", 1, at, 1000};
    for (int i = 1; i <= 3; i++)
        plant_put_lot_at(p, i, i < 3 ? "north" : "harbor", lot);
    p->serial = 3;
    struct complaint_placed known = plant_complaint(p, 1, "mold", at + WHEN_DAY_MS, NULL);
    assert_string_equal(plant_of(p, known.complaint_id), "north north");
    struct complaint_placed open = plant_complaint_of(p, "harbor", (struct complaint_lots){0});
    assert_string_equal(plant_of(p, open.complaint_id), "harbor harbor");
    struct complaint_placed nobody = plant_complaint_of(p, NULL, (struct complaint_lots){0});
    assert_string_equal(plant_of(p, nobody.complaint_id), " ");
    const struct complaint_lots one = {LOT_SEVERAL, 2, {{1, 0.4}, {2, 0.4}}};
    const struct complaint_lots two = {LOT_SEVERAL, 2, {{1, 0.4}, {3, 0.4}}};
    struct complaint_placed shared = plant_complaint_of(p, NULL, one);
    struct complaint_placed either = plant_complaint_of(p, NULL, two);
    assert_string_equal(plant_of(p, shared.complaint_id), "north north");
    assert_string_equal(plant_of(p, either.complaint_id), " ");
    plant_check(p);
    /* a lot turns out to be another plant's: so are they, and all counts */
    plant_put_lot_at(p, 1, "harbor", lot);
    assert_string_equal(plant_of(p, known.complaint_id), "harbor harbor");
    assert_string_equal(plant_of(p, shared.complaint_id), " ");
    assert_string_equal(plant_of(p, either.complaint_id), "harbor harbor");
    plant_check(p);
}

#define TEST(name) cmocka_unit_test_setup_teardown(name, new_york, away)

static int new_york(void **state)
{
    *state = plant_new("America/New_York");
    return 0;
}

static int away(void **state)
{
    plant_free(*state);
    return 0;
}

int main(void)
{
    gsl_set_error_handler_off();
    const struct CMUnitTest tests[] = {TEST(line_1_of_two_plants_is_two_rows_and_one_signal),
                                       TEST(the_weeks_of_the_plants_add_up_to_the_companys),
                                       TEST(tracing_finds_the_line_of_the_one_plant),
                                       TEST(a_complaint_and_its_case_have_a_plant)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}

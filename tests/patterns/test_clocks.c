/* Plants of one company in time zones of their own: weeks are by each plant's clock. The company is
 * in New York; `west` in Los Angeles has Monday three hours later, `east` in Berlin five or six
 * earlier, `here` with the company. */
#include "base/tz_of.h"
#include "patterns/span.h"
#include "patterns/week.h"
#include "plant.h"

static const char *const PLANTS[] = {"here", "west", "east"};

static void set_up(struct plant *p)
{
    struct error err = {0};
    if (pattern_set_up(p->store, p->tz, &err))
        fail_msg("%s", err.text);
}

static void know_zones(struct plant *p)
{
    assert_int_equal(tz_of_add(p->tz, "west", "America/Los_Angeles", NULL), 0);
    assert_int_equal(tz_of_add(p->tz, "east", "Europe/Berlin", NULL), 0);
    set_up(p);
}

static int setup(void **state)
{
    *state = plant_new("America/New_York");
    know_zones(*state);
    return 0;
}

static int teardown(void **state)
{
    plant_free(*state);
    return 0;
}

/* Packed at a plant then, and complained of as soon. */
static void pack(struct plant *p, const char *plant, int64_t at_ms)
{
    plant_put_lot_at(p, ++p->serial, plant, (struct plant_lot){"1", "A", 1, at_ms, 1000});
    plant_complaint(p, p->serial, "mold", at_ms, NULL);
}

struct seen {
    json_int_t complaints, units;
};

static struct seen seen_in(json_t *report)
{
    const struct seen seen = {
        json_integer_value(json_object_get(json_object_get(report, "complaints"), "mold")),
        json_integer_value(json_object_get(report, "units")) / 1000};
    json_decref(report);
    return seen;
}

static struct seen week_of(struct plant *p, const char *name, const char *plant, int64_t now_ms)
{
    struct error err = {0};
    struct week_query query = {.now_ms = now_ms, .plant = plant};
    json_t *report = NULL;
    assert_int_equal(iso_week_parse(name, &query.week, NULL), 0);
    if (week_report(p->store, p->tz, NULL, &query, &report, &err))
        fail_msg("%s", err.text);
    return seen_in(report);
}

static struct seen span_of(struct plant *p, const char *name, const char *plant, int64_t now_ms)
{
    struct error err = {0};
    struct span_query query = {.now_ms = now_ms, .plant = plant};
    json_t *report = NULL;
    assert_int_equal(span_parse(name, &query.span, NULL), 0);
    if (span_report(p->store, p->tz, NULL, &query, &report, &err))
        fail_msg("%s", err.text);
    return seen_in(report);
}

static void is(struct seen seen, int complaints, int units)
{
    assert_int_equal(seen.complaints, complaints);
    assert_int_equal(seen.units, units);
}

/* Sunday by the clock of the plant, Monday by the company's; and the other way. */
static void a_week_is_by_the_clock_of_the_plant(void **state)
{
    struct plant *p = *state;
    int64_t now_ms = plant_time("2026-12-07T12:00:00Z");
    pack(p, "west", plant_time("2026-11-22T23:59:00-08:00"));
    pack(p, "west", plant_time("2026-11-23T00:00:00-08:00"));
    pack(p, "east", plant_time("2026-11-23T00:00:00+01:00"));
    pack(p, "here", plant_time("2026-11-22T23:59:00-05:00"));
    is(week_of(p, "2026-W47", "west", now_ms), 1, 1);
    is(week_of(p, "2026-W48", "west", now_ms), 1, 1);
    is(week_of(p, "2026-W47", "east", now_ms), 0, 0);
    is(week_of(p, "2026-W48", "east", now_ms), 1, 1);
    is(week_of(p, "2026-W47", "here", now_ms), 1, 1);
    is(week_of(p, "2026-W47", NULL, now_ms), 2, 2);
    is(week_of(p, "2026-W48", NULL, now_ms), 2, 2);
    plant_check(p);
}

/* Whoever learns of a zone counts again, and tells nothing until then. */
static void another_zone_is_counted_again(void **state)
{
    struct plant *p = *state;
    int64_t now_ms = plant_time("2026-12-07T12:00:00Z");
    struct tz *company = p->tz;
    struct error err = {0};
    pack(p, "west", plant_time("2026-11-22T23:59:00-08:00"));
    assert_int_equal(tz_open("America/New_York", &p->tz, NULL), 0);
    assert_int_equal(pattern_check_zone(p->store, p->tz, &err), ERROR_BUSY);
    assert_int_equal(pattern_check_zone(p->store, tz_of(company, "west"), &err), 0);
    set_up(p);
    is(week_of(p, "2026-W48", "west", now_ms), 1, 1);
    assert_int_equal(pattern_check_zone(p->store, company, &err), ERROR_BUSY);
    tz_close(p->tz);
    p->tz = company;
    set_up(p);
    is(week_of(p, "2026-W47", "west", now_ms), 1, 1);
    plant_check(p);
}

/* What came after `now` is left out, also in the hours when the week is over here and not there. */
static void an_earlier_now_knows_no_more(void **state)
{
    struct plant *p = *state;
    pack(p, "west", plant_time("2026-11-22T22:00:00-08:00"));
    pack(p, "west", plant_time("2026-11-22T23:30:00-08:00"));
    int64_t between_ms =
        plant_time("2026-11-22T23:00:00-08:00"); /* 02:00 on Monday for the company */
    assert_int_equal(week_of(p, "2026-W47", "west", between_ms).complaints, 1);
    assert_int_equal(week_of(p, "2026-W47", "west", between_ms + WHEN_HOUR_MS).complaints, 2);
    between_ms = plant_time("2026-11-22T20:30:00-05:00"); /* its Sunday is the last of all three */
    pack(p, "west", between_ms + 5 * WHEN_HOUR_MS);
    assert_int_equal(week_of(p, "2026-W47", NULL, between_ms).complaints, 0);
}

/* Every quarter of an hour around the ends of a span a pack: whole weeks and months of a plant are
 * those of its own clock, of all the sum of them where the span is of weeks. */
static void spans_are_cut_by_the_same_clocks(void **state)
{
    static const char *const SPANS[] = {"2026-W47", "2026-W48", "2026-11", "2026-Q4"};
    struct plant *p = *state;
    int64_t now_ms = plant_time("2027-01-20T12:00:00Z");
    for (size_t i = 0; i < COUNT_OF(PLANTS); i++)
        for (int k = -30; k <= 30; k++) {
            int64_t step = k * WHEN_HOUR_MS;
            pack(p, PLANTS[i], plant_time("2026-11-23T00:30:00-05:00") + step);
            pack(p, PLANTS[i], plant_time("2026-11-01T00:30:00-05:00") + step);
        }
    for (size_t s = 0; s < COUNT_OF(SPANS); s++) {
        json_int_t of_all = 0;
        for (size_t i = 0; i < COUNT_OF(PLANTS); i++) {
            const struct tz *tz = tz_of(p->tz, PLANTS[i]);
            struct span span;
            int64_t n = -1;
            assert_int_equal(span_parse(SPANS[s], &span, NULL), 0);
            assert_int_equal(
                db_number(p->store,
                          "SELECT count(*) FROM lot WHERE packed_from_ms >= ?1 AND"
                          " packed_from_ms < ?2 AND plant = ?3",
                          DB(DB_INT(tz_day_start_ms(tz, span.from_day)),
                             DB_INT(tz_day_start_ms(tz, span.to_day)), DB_TEXT(PLANTS[i])),
                          &n, NULL),
                0);
            is(span_of(p, SPANS[s], PLANTS[i], now_ms), (int)n, (int)n);
            if (span.is_week)
                is(week_of(p, SPANS[s], PLANTS[i], now_ms), (int)n, (int)n);
            of_all += n;
        }
        struct seen all = span_of(p, SPANS[s], NULL, now_ms);
        assert_int_equal(all.complaints, all.units);
        /* the first day of a month is the company's for all */
        assert_true(strchr(SPANS[s], 'W') ? all.units == of_all : llabs(all.units - of_all) <= 9);
    }
    plant_check(p);
}

int main(void)
{
    static const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(a_week_is_by_the_clock_of_the_plant, setup, teardown),
        cmocka_unit_test_setup_teardown(another_zone_is_counted_again, setup, teardown),
        cmocka_unit_test_setup_teardown(an_earlier_now_knows_no_more, setup, teardown),
        cmocka_unit_test_setup_teardown(spans_are_cut_by_the_same_clocks, setup, teardown),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

/* What rose, told by what its lots share. */
#include "patterns/trace.h"
#include "patterns/week.h"
#include "patterns/week_stories.h"
#include "plant.h"
#include <gsl/gsl_errno.h>

enum { DAYS = 35, TURNS = 6, LINES = 3 }; /* five weeks: no level has a past to be judged by */

/* Two lots of film a week, on any line; complaints at random, and about every third lot with the
 * bad film. */
static struct plant *bake(uint64_t seed, const char *bad_film, double usual, int delay_days)
{
    static const char *const NAMES[LINES] = {"1", "2", "3"};
    struct plant *p = plant_new("America/New_York");
    int64_t from_ms = plant_time("2026-10-19T00:00:00-04:00");
    struct dice dice = {seed};
    for (int k = 0; k < DAYS * TURNS * LINES; k++) {
        char film[16];
        int day = k / (TURNS * LINES), turn = k / LINES % TURNS;
        int64_t at = from_ms + day * WHEN_DAY_MS + turn * 3 * WHEN_HOUR_MS;
        int64_t lot =
            plant_lot(p, NAMES[k % LINES], 1 + (k + day) % 2, turn < 3 ? "A" : "B", at, 3000);
        snprintf(film, sizeof film, "F%d", day / 7 * 2 + (dice_unit(&dice) < 0.5));
        plant_exec(p,
                   "INSERT INTO material_use(lot_id, material, material_lot) VALUES"
                   "(%d, 'film', '%s'), (%d, 'flour', 'FL%d')",
                   (int)lot, film, (int)lot, day / 3);
        double share = strcmp(film, bad_film) == 0 ? 0.4 : usual;
        for (; dice_unit(&dice) < share; share *= 0.5)
            plant_complaint(p, lot, "mold", at + delay_days * WHEN_DAY_MS, NULL);
    }
    return p;
}

static json_t *report(struct plant *p, const char *week, const char *now)
{
    struct week_query query = {.now_ms = plant_time(now)};
    struct error err = {0};
    json_t *out = NULL;
    assert_int_equal(iso_week_parse(week, &query.week, NULL), 0);
    if (week_report(p->store, p->tz, NULL, &query, &out, &err))
        fail_msg("%s", err.text);
    return out;
}

static const char *word(const json_t *object, const char *name)
{
    const char *text = json_string_value(json_object_get(object, name));
    return text ? text : "";
}

static void a_lot_of_film_leads_though_no_level_has_a_past(void **state)
{
    (void)state;
    int led = 0;
    for (uint64_t seed = 1; seed <= 2; seed++) {
        struct plant *p = bake(seed, "F4", 0.03, 5);
        json_t *r = report(p, "2026-W46", "2026-11-16T08:00:00-05:00");
        const json_t *story = json_array_get(json_object_get(r, "stories"), 0);
        const json_t *by = json_object_get(story, "led_by"), *lots = json_object_get(story, "lots");
        const char *first = json_string_value(json_array_get(json_object_get(r, "headline"), 0));
        bool film = strcmp(word(by, "factor"), "film") == 0 && strcmp(word(by, "level"), "F4") == 0;
        led += film;
        if (film) {
            double complained = json_number_value(json_object_get(lots, "complained_of"));
            assert_int_equal(strncmp(first, "Mold with film F4: ", 19), 0);
            assert_true(complained > 0);
            assert_true(complained <= json_number_value(json_object_get(story, "observed")));
        }
        json_decref(r);
        plant_free(p);
    }
    assert_int_equal(led, 2);
}

enum { ROUTES = 5, STORES = 4, BAD_ROUTE = 2, SENT = 12 };

static void complain_at(struct plant *p, int64_t lot, int64_t at_ms, int route, int store)
{
    plant_complaint(p, lot, "mold", at_ms, NULL);
    plant_exec(p, "UPDATE complaint SET store = 'S%d%d' WHERE id = (SELECT max(id) FROM complaint)",
               route, store);
}

/* A plant that writes by which routes a lot went, two of five, and no store; callers name stores
 * and no route. From the third week on one route's stores get warm bread. */
static struct plant *deliver(uint64_t seed)
{
    struct plant *p = plant_new("America/New_York");
    int64_t from_ms = plant_time("2026-10-19T00:00:00-04:00");
    struct dice dice = {seed};
    for (int k = 0; k < DAYS * SENT; k++) {
        int64_t at = from_ms + k / SENT * WHEN_DAY_MS + k % SENT * WHEN_HOUR_MS;
        int64_t lot = plant_lot(p, "1", 1, "A", at, 3000);
        int first = (int)(ROUTES * dice_unit(&dice));
        int route[2] = {first, (first + 1 + (int)((ROUTES - 1) * dice_unit(&dice))) % ROUTES};
        for (int i = 0; i < 2; i++) {
            bool bad = route[i] == BAD_ROUTE && k / SENT >= 14;
            plant_exec(p,
                       "INSERT INTO dispatch(lot_id, route, store, at_ms, units) VALUES"
                       "(%d, 'R%d', '', %lld, 1500)",
                       (int)lot, route[i], (long long)at);
            if (dice_unit(&dice) < (bad ? 0.45 : 0.05))
                complain_at(p, lot, at + 5 * WHEN_DAY_MS, route[i],
                            (int)(STORES * dice_unit(&dice)));
        }
    }
    return p;
}

static void a_route_leads_though_callers_name_its_stores_and_dispatch_does_not(void **state)
{
    (void)state;
    int led = 0;
    for (uint64_t seed = 1; seed <= 3; seed++) {
        struct plant *p = deliver(seed);
        json_t *r = report(p, "2026-W46", "2026-11-16T08:00:00-05:00");
        const json_t *story = json_array_get(json_object_get(r, "stories"), 0);
        const json_t *by = json_object_get(story, "led_by");
        led += strcmp(word(by, "factor"), "route") == 0 && strcmp(word(by, "level"), "R2") == 0;
        json_decref(r);
        plant_free(p);
    }
    assert_true(led == 3);
}

static struct week_shared *shared_of(const int64_t *lots, size_t count)
{
    struct week_shared *shared = xcalloc(1, sizeof *shared);
    shared->lots = xcalloc(count, sizeof *shared->lots);
    memcpy(shared->lots, lots, count * sizeof *lots);
    shared->lot_count = count;
    return shared;
}

static struct week_signal rise(size_t level, int symptom, double evidence)
{
    return (struct week_signal){.level = level,
                                .symptom = symptom,
                                .since = WEEK_SPAN - 1,
                                .observed = 6,
                                .expected = 1,
                                .newest = 6,
                                .newest_usual = 1,
                                .evidence = evidence,
                                .leads = evidence > 0};
}

/* A complaint about a lot of the film is one, whatever its case is held to be of: what both share,
 * one, is little of either. */
static void another_trouble_is_another_story_though_cases_are_ranked(void **state)
{
    (void)state;
    enum { LOTS = 6 };
    int64_t with_film[LOTS], lots[2 * LOTS];
    struct error err = {0};
    struct plant *p = plant_new("America/New_York");
    int64_t at = plant_time("2026-11-09T09:00:00-05:00");
    for (int i = 0; i < 2 * LOTS; i++) {
        lots[i] = plant_lot(p, i + 1 < LOTS ? "1" : "3", 1, "A", at - 3 * WHEN_DAY_MS, 3000);
        plant_rank(p, plant_complaint(p, lots[i], "mold", at, NULL).case_id, "pack-leak", 0.7,
                   "warm-storage", 0.2);
    }
    memcpy(with_film, lots, sizeof with_film);
    struct week_data_query query = {.now_ms = at + 7 * WHEN_DAY_MS, .cuts = cuts_set(CUT_JUDGED)};
    struct week_data *data;
    assert_int_equal(iso_week_parse("2026-W46", &query.week, NULL), 0);
    assert_int_equal(week_data_read(p->store, p->tz, &query, &data, &err), 0);
    const size_t film =
        week_data_level(data, &(struct week_named){"film", "F4", ""}, shared_of(with_film, LOTS));
    const size_t line = week_data_level(data, &(struct week_named){"line", "3", ""}, NULL);
    const int mold = symptom_of("mold");
    const struct week_signal signals[] = {rise(film, mold, 9), rise(line, mold, 0)};
    const struct week_risen risen = {p->store, data, signals, 2};
    struct week_story *stories;
    size_t count;
    assert_int_equal(week_stories(&risen, &stories, &count, &err), 0);
    assert_int_equal(count, 2);
    assert_int_equal(stories[0].count + stories[1].count, 0);
    free(stories);
    week_data_free(data);
    plant_free(p);
}

static void without_a_trouble_nothing_is_told(void **state)
{
    (void)state;
    int told = 0;
    for (uint64_t seed = 20; seed < 24; seed++) {
        struct plant *p = bake(seed, "none", 0.25, 5);
        json_t *r = report(p, "2026-W46", "2026-11-16T08:00:00-05:00");
        told += json_array_size(json_object_get(r, "stories")) > 0;
        json_decref(r);
        plant_free(p);
    }
    assert_true(told <= 1);
}

/* Reports come two weeks after packing: of the newest lots, and so of the newest film, hardly any
 * can be in, and what was packed before is not to blame for that. */
static void what_is_not_in_yet_speaks_against_no_older_lot(void **state)
{
    (void)state;
    int told = 0;
    for (uint64_t seed = 20; seed < 23; seed++) {
        struct plant *p = bake(seed, "none", 0.4, 17);
        json_t *r = report(p, "2026-W47", "2026-11-23T08:00:00-05:00");
        told += json_array_size(json_object_get(r, "stories")) > 0;
        json_decref(r);
        plant_free(p);
    }
    assert_int_equal(told, 0);
}

/* What rises by one lot is that lot's, whatever it shares with others. */
static void one_lot_is_named(void **state)
{
    (void)state;
    struct plant *p = bake(30, "none", 0.03, 5);
    const int lot = DAYS * TURNS * LINES - 6 * TURNS * LINES;
    for (int i = 0; i < 9; i++)
        plant_complaint(p, lot, "mold", plant_time("2026-11-21T08:00:00-05:00"), NULL);
    json_t *r = report(p, "2026-W47", "2026-11-23T08:00:00-05:00");
    const json_t *story = json_array_get(json_object_get(r, "stories"), 0);
    const json_t *one = json_object_get(story, "one_lot");
    const char *first = json_string_value(json_array_get(json_object_get(r, "headline"), 0));
    assert_true(json_integer_value(json_object_get(one, "complaints")) >= 9);
    assert_non_null(strstr(first, word(one, "lot")));
    assert_non_null(strstr(first, " (C"));
    json_decref(r);
    plant_free(p);
}

/* Of a week long over, too, what is still in code is so on the day that asks. */
static void in_code_is_of_the_day_that_asks(void **state)
{
    (void)state;
    static const struct {
        const char *now;
        bool in_code;
    } DAYS_ASKED[] = {{"2026-11-16T08:00:00-05:00", true}, {"2026-11-19T08:00:00-05:00", false}};
    struct plant *p = bake(1, "F4", 0.03, 5);
    int32_t day = 0;
    assert_int_equal(day_parse("2026-11-18", &day, NULL), 0);
    plant_exec(p, "UPDATE lot SET code_day = %d", (int)day);
    for (size_t i = 0; i < COUNT_OF(DAYS_ASKED); i++) {
        json_t *r = report(p, "2026-W46", DAYS_ASKED[i].now);
        const json_t *story = json_array_get(json_object_get(r, "stories"), 0);
        const json_t *lots = json_object_get(story, "lots");
        double units = json_number_value(json_object_get(lots, "units_in_code"));
        assert_true(json_integer_value(json_object_get(lots, "complained_of")) > 0);
        assert_int_equal(units > 0, DAYS_ASKED[i].in_code);
        json_decref(r);
    }
    plant_free(p);
}

enum { CHANGED = 42, WEEKS_DAYS = 56 };

/* Eight weeks; in the last two a film is on lines 1 and 2 that smells, line 3 has another one. */
static struct plant *change_film(void)
{
    struct plant *p = plant_new("America/New_York");
    int64_t from_ms = plant_time("2026-10-05T00:00:00-04:00");
    struct dice dice = {7};
    for (int k = 0; k < WEEKS_DAYS * TURNS; k++) {
        static const char *const NAMES[LINES] = {"1", "2", "3"};
        int day = k / TURNS, line = k % LINES;
        int64_t at = from_ms + day * WHEN_DAY_MS + k % TURNS * 3 * WHEN_HOUR_MS;
        int64_t lot = plant_lot(p, NAMES[line], line < 2 ? 1 : 2, "A", at, 3000);
        plant_exec(
            p, "INSERT INTO material_use(lot_id, material, material_lot) VALUES(%d, 'film', '%s')",
            (int)lot,
            line == 2        ? "G1"
            : day >= CHANGED ? "F2"
                             : "F1");
        bool bad = line < 2 && day >= CHANGED;
        if (dice_unit(&dice) < (bad ? 0.5 : 0.01))
            plant_complaint(p, lot, "off-odor", at + 3 * WHEN_DAY_MS, NULL);
    }
    return p;
}

static json_t *trace_of(struct plant *p, const char *from, const char *to)
{
    struct trace_query query = {.symptom = "off-odor",
                                .now_ms = plant_time("2026-11-30T08:00:00-05:00")};
    struct error err = {0};
    json_t *out = NULL;
    assert_int_equal(day_parse(from, &query.from_day, NULL), 0);
    assert_int_equal(day_parse(to, &query.to_day, NULL), 0);
    if (trace_run(p->store, p->tz, &query, &out, &err))
        fail_msg("%s", err.text);
    return out;
}

static bool is_film(const json_t *level)
{
    return strcmp(word(level, "factor"), "film") == 0 && strcmp(word(level, "level"), "F2") == 0;
}

static const json_t *first_of(const json_t *answer)
{
    const json_t *story = json_array_get(json_object_get(answer, "stories"), 0);
    return json_is_true(json_object_get(story, "told"))
               ? json_array_get(json_object_get(story, "factors"), 0)
               : NULL;
}

/* What a week tells tracing tells, too, of the days that the week names; of fewer, in which it was
 * there nearly throughout, it says what the week's days tell. */
static void tracing_tells_what_the_week_tells(void **state)
{
    (void)state;
    struct plant *p = change_film();
    json_t *r = report(p, "2026-W48", "2026-11-30T08:00:00-05:00");
    const json_t *story = json_array_get(json_object_get(r, "stories"), 0);
    assert_true(is_film(json_object_get(story, "led_by")));
    json_t *weeks = trace_of(p, "2026-10-05", "2026-11-29");
    assert_true(is_film(first_of(weeks)));
    assert_null(json_object_get(weeks, "eight_weeks"));
    json_t *days = trace_of(p, "2026-11-16", "2026-11-29");
    assert_null(first_of(days));
    const json_t *longer = json_object_get(days, "eight_weeks");
    assert_string_equal(word(longer, "from"), "2026-10-05");
    assert_string_equal(word(longer, "to"), "2026-11-29");
    assert_true(is_film(first_of(longer)));
    json_decref(days);
    json_decref(weeks);
    json_decref(r);
    plant_free(p);
}

/* Every lot with the film may smell, complained of or not. */
static void all_lots_of_a_film_are_at_risk(void **state)
{
    (void)state;
    enum { WITH_FILM = (WEEKS_DAYS - CHANGED) * TURNS * 2 / LINES };
    struct plant *p = change_film();
    plant_exec(p, "UPDATE lot SET code_day = %d", day_from_civil(2026, 12, 20));
    json_t *r = report(p, "2026-W48", "2026-11-30T08:00:00-05:00");
    const json_t *story = json_array_get(json_object_get(r, "stories"), 0);
    const json_t *lots = json_object_get(story, "lots");
    const char *first = json_string_value(json_array_get(json_object_get(r, "headline"), 0));
    assert_true(is_film(json_object_get(story, "led_by")));
    assert_true(json_integer_value(json_object_get(lots, "complained_of")) < WITH_FILM);
    assert_int_equal(json_integer_value(json_object_get(lots, "in_code")), WITH_FILM);
    assert_true(json_number_value(json_object_get(lots, "units_in_code")) == WITH_FILM * 3000.0);
    assert_non_null(strstr(first, " packs still in code, "));
    json_decref(r);
    plant_free(p);
}

enum { BAD_DAY = 20, RUNS = 2 };

/* Each film is on one line for a day, on both lots of it. */
static struct plant *film_of_a_line(void)
{
    struct plant *p = plant_new("America/New_York");
    int64_t from_ms = plant_time("2026-10-19T00:00:00-04:00");
    struct dice dice = {3};
    for (int k = 0; k < DAYS * RUNS * LINES; k++) {
        static const char *const NAMES[LINES] = {"1", "2", "3"};
        int day = k / (RUNS * LINES), line = k % LINES;
        int64_t at = from_ms + day * WHEN_DAY_MS + k / LINES % RUNS * 6 * WHEN_HOUR_MS;
        int64_t lot = plant_lot(p, NAMES[line], 1 + k / LINES % RUNS, "A", at, 3000);
        plant_exec(p,
                   "INSERT INTO material_use(lot_id, material, material_lot) VALUES"
                   "(%d, 'film', 'F%d-%d')",
                   (int)lot, line + 1, day);
        int complaints = line == 1 && day == BAD_DAY ? 4 : dice_unit(&dice) < 0.05;
        for (int i = 0; i < complaints; i++)
            plant_complaint(p, lot, "mold", at + 5 * WHEN_DAY_MS, NULL);
    }
    return p;
}

/* Where a film's lots are its line's for a while nothing tells the two apart: both are named. */
static void what_cannot_be_told_apart_is_named_with_what_leads(void **state)
{
    (void)state;
    struct plant *p = film_of_a_line();
    json_t *r = report(p, "2026-W46", "2026-11-20T08:00:00-05:00");
    const json_t *story = json_array_get(json_object_get(r, "stories"), 0);
    const char *first = json_string_value(json_array_get(json_object_get(r, "headline"), 0));
    const json_t *other = json_array_get(json_object_get(story, "or"), 0);
    const char *led = word(json_object_get(story, "led_by"), "factor");
    assert_non_null(other);
    assert_true(strcmp(led, "film") == 0 || strcmp(word(other, "factor"), "film") == 0);
    assert_true(strcmp(led, "line") == 0 || strcmp(word(other, "factor"), "line") == 0);
    assert_non_null(strstr(first, "film F2-20"));
    assert_non_null(strstr(first, "line 2"));
    assert_non_null(strstr(first, ": the records do not tell these apart"));
    json_decref(r);
    plant_free(p);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(tracing_tells_what_the_week_tells),
        cmocka_unit_test(all_lots_of_a_film_are_at_risk),
        cmocka_unit_test(what_cannot_be_told_apart_is_named_with_what_leads),
        cmocka_unit_test(in_code_is_of_the_day_that_asks),
        cmocka_unit_test(a_lot_of_film_leads_though_no_level_has_a_past),
        cmocka_unit_test(a_route_leads_though_callers_name_its_stores_and_dispatch_does_not),
        cmocka_unit_test(another_trouble_is_another_story_though_cases_are_ranked),
        cmocka_unit_test(without_a_trouble_nothing_is_told),
        cmocka_unit_test(what_is_not_in_yet_speaks_against_no_older_lot),
        cmocka_unit_test(one_lot_is_named),
    };
    gsl_set_error_handler_off();
    return cmocka_run_group_tests(tests, NULL, NULL);
}

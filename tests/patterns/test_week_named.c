/* What a story names: its cause, a new one within it, none of one complaint and none of harm. */
#include "patterns/week.h"
#include "plant.h"
#include "sim.h"
#include <gsl/gsl_errno.h>

#define NOW "2026-11-23T08:00:00-05:00"
#define SHOWN "2026-11-18T08:00:00-05:00"

/* Half a year of two lines; in its last two weeks line 2 has four times the mold, from the slicer.
 */
static int setup(void **state)
{
    struct plant *p = plant_new("America/New_York");
    struct dice dice = {8};
    int64_t start = plant_time("2026-05-25T05:00:00-04:00");
    for (int day = 0; day < 182; day++) {
        for (int k = 0; k < 2; k++) {
            int64_t packed = start + day * WHEN_DAY_MS + k * WHEN_HOUR_MS;
            int64_t lot = plant_lot(p, k ? "2" : "1", 1 + k, "A", packed, 20000);
            for (long n = dice_poisson(&dice, k && day >= 164 ? 3 : 0.5); n > 0; n--) {
                int64_t received =
                    packed + (int64_t)((2 + 7 * dice_unit(&dice)) * (double)WHEN_DAY_MS);
                struct complaint_placed c = plant_complaint(p, lot, "mold", received, NULL);
                plant_rank(p, c.case_id, k ? "contamination-slicer" : "old-stock", 0.8,
                           "packed-hot", 0.1);
            }
        }
        int64_t noon = start + day * WHEN_DAY_MS + 7 * WHEN_HOUR_MS;
        if (day % 7)
            continue;
        struct complaint_placed dry = /* a few of these */
            plant_complaint(p, 2 * day + 1, "staling", noon + 3 * WHEN_DAY_MS, NULL);
        plant_rank(p, dry.case_id, "old-stock-stale", 0.8, "warm-storage", 0.1);
    }
    *state = p;
    return 0;
}

static int teardown(void **state)
{
    plant_free(*state);
    return 0;
}

static json_t *report_of(struct plant *p, const char *week, const char *now)
{
    struct week_query query = {.now_ms = plant_time(now)};
    struct error err = {0};
    json_t *out = NULL;
    assert_int_equal(iso_week_parse(week, &query.week, NULL), 0);
    if (week_report(p->store, p->tz, NULL, &query, &out, &err))
        fail_msg("%s", err.text);
    return out;
}

static json_t *report(struct plant *p)
{
    return report_of(p, "2026-W47", NOW);
}

static const char *line_with(const json_t *report, const char *words)
{
    const json_t *headline = json_object_get(report, "headline"), *line;
    size_t i;
    json_array_foreach(headline, i, line)
    {
        if (strstr(json_string_value(line), words))
            return json_string_value(line);
    }
    return "";
}

/* `count` lots of their own on a line, one complaint of the week shown about each. */
static void new_trouble(struct plant *p, const char *line, const char *symptom, const char *cause,
                        int count, bool harm)
{
    int64_t shown = plant_time(SHOWN);
    for (int i = 0; i < count; i++) {
        int64_t lot = plant_lot(p, line, 2, "A", shown - 4 * WHEN_DAY_MS + i * WHEN_HOUR_MS, 100);
        struct complaint_placed c = plant_complaint(p, lot, symptom, shown + i, NULL);
        plant_rank(p, c.case_id, cause, 0.9, "not-known", 0.1);
        if (harm)
            plant_exec(p, "UPDATE complaint_case SET harm = 1 WHERE id = %lld",
                       (long long)c.case_id);
    }
}

static bool has_signal(const json_t *report, const char *level)
{
    const json_t *signals = json_object_get(report, "signals"), *one;
    size_t i;
    json_array_foreach(signals, i, one)
    {
        if (strcmp(json_string_value(json_object_get(one, "level")), level) == 0)
            return true;
    }
    return false;
}

static void a_new_cause_within_an_older_story_is_named(void **state)
{
    struct plant *p = *state;
    new_trouble(p, "2", "mold", "pack-leak", 4, false);
    new_trouble(p, "2", "mold", "warm-storage", 1, false); /* one alone is not told */
    json_t *r = report(p);
    const char *story = line_with(r, "Mold on line 2: ");
    assert_non_null(strstr(story, "; most likely contamination-slicer"));
    assert_non_null(strstr(story, "; beside it this week pack-leak (4)"));
    assert_null(strstr(story, "warm-storage"));
    json_t *beside = json_object_get(json_array_get(json_object_get(r, "stories"), 0), "beside");
    assert_int_equal(json_array_size(beside), 1);
    assert_int_equal(json_integer_value(json_object_get(json_array_get(beside, 0), "complaints")),
                     4);
    json_decref(r);
}

static void what_is_usual_stands_beside_no_story(void **state)
{
    json_t *r = report(*state);
    assert_non_null(strstr(line_with(r, "Mold on line 2: "), "; most likely contamination-slicer"));
    assert_string_equal(line_with(r, "beside it"), "");
    json_decref(r);
}

static void of_harm_no_cause_stands_beside_a_story(void **state)
{
    struct plant *p = *state;
    new_trouble(p, "2", "mold", "pack-leak", 4, true);
    json_t *r = report(p);
    assert_string_not_equal(line_with(r, "Mold on line 2: "), "");
    assert_string_equal(line_with(r, "pack-leak"), "");
    assert_false(has_signal(r, "pack-leak"));
    json_decref(r);
}

static void one_complaint_is_no_rise(void **state)
{
    struct plant *p = *state;
    new_trouble(p, "9", "staling", "warm-storage", 1, false);
    json_t *r = report(p);
    assert_string_equal(line_with(r, "1 complaint this week"), "");
    assert_false(has_signal(r, "9"));
    assert_false(has_signal(r, "warm-storage"));
    json_decref(r);
}

/* Six are; what they are of is not told, since somebody was hurt. */
/* Five are named: what befell somebody, and lots that are not on hold, before the newest. */
static void of_harm_the_gravest_is_named(void **state)
{
    struct plant *p = *state;
    int64_t shown = plant_time(SHOWN), first = 0;
    for (int i = 0; i < 7; i++) {
        int64_t lot = plant_lot(p, "2", 2, "A", shown - 4 * WHEN_DAY_MS + i * WHEN_HOUR_MS, 100);
        struct complaint_placed c = plant_complaint(p, lot, "mold", shown + i, NULL);
        first = i ? first : c.case_id;
        plant_exec(p,
                   "UPDATE complaint SET harm = 1, body = '{\"harm\":[\"%s\"]}' WHERE case_id ="
                   " %lld",
                   i ? "foreign-matter" : "illness", (long long)c.case_id);
    }
    json_t *r = report(p);
    char named[40];
    const char *line = line_with(r, "7 reports of harm");
    snprintf(named, sizeof named, "(C%lld illness", (long long)first);
    if (!strstr(line, named))
        fail_msg("%s: %s", named, line);
    assert_non_null(strstr(line, "2 further cases"));
    json_decref(r);
}

/* Of seven injuries the one with a hospital is first, however old, and its word stands there,
 * whether its note says so or a repeat that is on record. */
static void names_the_hospital_first(struct plant *p, const char *note, const char *reason)
{
    int64_t shown = plant_time(SHOWN), first = 0;
    struct error err = {0};
    json_t *harm = json_pack("{s:[s, s]}", "grave", "hospital*", "died"), *r = NULL;
    struct week_query query = {.now_ms = plant_time(NOW), .harm = harm};
    for (int i = 0; i < 7; i++) {
        int64_t lot = plant_lot(p, "2", 2, "A", shown - 4 * WHEN_DAY_MS + i * WHEN_HOUR_MS, 100);
        struct complaint_placed c = plant_complaint(p, lot, "mold", shown + i, NULL);
        first = i ? first : c.case_id;
        plant_exec(p,
                   "UPDATE complaint SET harm = 1, body = '{\"harm\":[\"%s\"],\"note\":\"%s\"}' "
                   "WHERE case_id = %lld",
                   i ? "injury" : "foreign-matter", i ? "" : note, (long long)c.case_id);
        if (reason && i < 2) /* what took harm back says nothing of it */
            plant_exec(
                p,
                "INSERT INTO complaint_change(complaint, at_ms, by_name, reason, field, was, "
                "now) SELECT uuid, 1, 'jo', '%s', 'harm', '', '%s' FROM complaint WHERE "
                "case_id = %lld",
                reason, i ? "[]" : "[\"foreign-matter\"]", (long long)c.case_id);
    }
    assert_int_equal(iso_week_parse("2026-W47", &query.week, NULL), 0);
    if (week_report(p->store, p->tz, NULL, &query, &r, &err))
        fail_msg("%s", err.text);
    char named[64];
    const char *line = line_with(r, "7 reports of harm");
    snprintf(named, sizeof named, "(C%lld foreign matter (hospital), lot", (long long)first);
    if (!strstr(line, named) || strstr(line, "injury (hospital)"))
        fail_msg("%s: %s", named, line);
    assert_non_null(strstr(line, "; 2 further cases: oddloaf cases --order urgent lists"));
    json_decref(r);
    json_decref(harm);
}

static void of_harm_what_words_of_gravity_stand_beside_is_first(void **state)
{
    names_the_hospital_first(*state, "taken to hospital", NULL);
}

static void gravity_that_was_told_later_is_first(void **state)
{
    names_the_hospital_first(*state, "", "a repeat of it says injury: in hospital");
}

static void a_rise_of_harm_is_told_without_a_cause(void **state)
{
    struct plant *p = *state;
    new_trouble(p, "9", "staling", "warm-storage", 6, true);
    json_t *r = report(p);
    assert_string_not_equal(line_with(r, "Staling on line 9: 6 complaints this week"), "");
    assert_string_equal(line_with(r, "warm-storage"), "");
    assert_false(has_signal(r, "warm-storage"));
    json_decref(r);
}

/* The last lot was packed on Sunday, 22 November. */
static void records_that_are_behind_are_named(void **state)
{
    static const struct {
        const char *week, *now;
        bool behind;
    } WEEKS[] = {{"2026-W47", NOW, false},
                 {"2026-W48", "2026-11-24T08:00:00-05:00", false}, /* this week's may come yet */
                 {"2026-W48", "2026-11-27T08:00:00-05:00", true},
                 {"2026-W48", "2026-12-03T08:00:00-05:00", true},
                 {"2026-W49", "2026-11-30T08:00:00-05:00", true}};
    for (size_t i = 0; i < COUNT_OF(WEEKS); i++) {
        json_t *r = report_of(*state, WEEKS[i].week, WEEKS[i].now);
        const char *line = line_with(r, "No lots packed after 22 November are on record");
        assert_int_equal(*line != 0, WEEKS[i].behind);
        json_decref(r);
    }
}

int main(void)
{
    static const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(a_new_cause_within_an_older_story_is_named, setup,
                                        teardown),
        cmocka_unit_test_setup_teardown(what_is_usual_stands_beside_no_story, setup, teardown),
        cmocka_unit_test_setup_teardown(of_harm_no_cause_stands_beside_a_story, setup, teardown),
        cmocka_unit_test_setup_teardown(one_complaint_is_no_rise, setup, teardown),
        cmocka_unit_test_setup_teardown(of_harm_the_gravest_is_named, setup, teardown),
        cmocka_unit_test_setup_teardown(of_harm_what_words_of_gravity_stand_beside_is_first, setup,
                                        teardown),
        cmocka_unit_test_setup_teardown(gravity_that_was_told_later_is_first, setup, teardown),
        cmocka_unit_test_setup_teardown(a_rise_of_harm_is_told_without_a_cause, setup, teardown),
        cmocka_unit_test_setup_teardown(records_that_are_behind_are_named, setup, teardown),
    };
    gsl_set_error_handler_off();
    return cmocka_run_group_tests(tests, NULL, NULL);
}

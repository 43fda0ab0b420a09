/* Did the action work: rates before and after, reports to come allowed for. */
#include "patterns/effect.h"
#include "plant.h"
#include "store/action.h"
#include <gsl/gsl_errno.h>

enum { LOTS_A_DAY = 6, UNITS = 10000 };

struct change {
    double before, after; /* complaints a lot on line 1 */
    double elsewhere;     /* on line 2, all along */
    int days_after;       /* now is that many days after the action */
    bool follow_up;       /* … and then a season later, when all is in */
};

/* History of 20 weeks, the action on line 1 at its day 112. */
static json_t *effect(uint64_t seed, struct change c, int days)
{
    struct plant *p = plant_new("America/New_York");
    struct dice dice = {seed};
    struct error err = {0};
    int64_t start = plant_time("2026-05-04T05:00:00-04:00"), id = 0;
    int64_t action_ms = tz_day_start_ms(p->tz, tz_day(p->tz, start) + 112);
    int64_t now_ms = action_ms + c.days_after * WHEN_DAY_MS;
    struct action_row action = {.at_ms = action_ms, .line = "1", .symptom = "mold"};
    json_t *answer = NULL;
    strcpy(action.note, "seal bars changed");
    strcpy(action.by_name, "qa");
    assert_int_equal(action_add(p->store, &action, &id, &err), 0);
    for (int day = 0; day < 112 + days; day++) {
        for (int k = 0; k < 2 * LOTS_A_DAY; k++) {
            int64_t at = start + day * WHEN_DAY_MS + k / 2 * 2 * WHEN_HOUR_MS;
            if (at >= now_ms)
                continue;
            double mean = k % 2 ? c.elsewhere : at >= action_ms ? c.after : c.before;
            int64_t lot = plant_lot(p, k % 2 ? "2" : "1", 1, "A", at, UNITS);
            for (long n = dice_poisson(&dice, mean); n > 0; n--) {
                int64_t received =
                    at + (int64_t)((3 + 14 * dice_unit(&dice)) * (double)WHEN_DAY_MS);
                if (received < now_ms || c.follow_up)
                    plant_complaint(p, lot, "mold", received, NULL);
            }
        }
    }
    if (c.follow_up)
        now_ms += 100 * WHEN_DAY_MS;
    if (effect_report(p->store, p->tz, &(struct effect_query){id, days, now_ms}, &answer, &err))
        fail_msg("%s", err.text);
    assert_int_equal(
        effect_report(p->store, p->tz, &(struct effect_query){id + 1, days, now_ms}, &answer, &err),
        ERROR_NOT_FOUND);
    plant_free(p);
    return answer;
}

static const char *verdict(const json_t *answer)
{
    return json_string_value(json_object_get(answer, "verdict"));
}

static double value(const json_t *answer, const char *part, const char *name)
{
    return json_number_value(json_object_get(json_object_get(answer, part), name));
}

static void expect_no_ratio(const json_t *answer, const char *word)
{
    const json_t *ratio = json_object_get(answer, "ratio");
    assert_true(json_is_null(json_object_get(ratio, "ratio")));
    assert_true(json_is_null(json_object_get(ratio, "high")));
    assert_string_equal(json_string_value(json_object_get(ratio, "word")), word);
}

/* 20 weeks from 4 May: the action is of 24 August. */
static void the_days_compared_are_told(void **state)
{
    (void)state;
    json_t *whole = effect(1, (struct change){0.5, 0.1, 0.3, 40, true}, 28);
    assert_string_equal(json_string_value(json_object_get(whole, "compared")),
                        "Lots packed 2026-07-27 to 2026-08-23 (28 days) beside those packed "
                        "2026-08-24 to 2026-09-20 (28 days).");
    json_t *begun = effect(1, (struct change){0.5, 0.1, 0.3, 9, false}, 28);
    assert_string_equal(json_string_value(json_object_get(begun, "compared")),
                        "Lots packed 2026-07-27 to 2026-08-23 (28 days) beside those packed "
                        "2026-08-24 to 2026-09-01 (9 days of 28 so far).");
    const json_t *after = json_object_get(begun, "after");
    assert_string_equal(json_string_value(json_object_get(after, "from")), "2026-08-24");
    assert_string_equal(json_string_value(json_object_get(after, "to")), "2026-09-01");
    json_decref(whole);
    json_decref(begun);
}

/* Another system on all lots of the line from the day of the action on. */
static void a_system_swapped_meanwhile_is_told(void **state)
{
    struct plant *p = plant_new("America/New_York");
    struct error err = {0};
    struct action_row action = {.at_ms = plant_time("2026-08-24T00:00:00-04:00"), .line = "1"};
    int64_t id = 0;
    json_t *answer = NULL;
    (void)state;
    strcpy(action.note, "seal bars changed");
    strcpy(action.by_name, "qa");
    assert_int_equal(action_add(p->store, &action, &id, &err), 0);
    for (int day = -20; day < 20; day++) {
        int64_t at = action.at_ms + day * WHEN_DAY_MS + WHEN_HOUR_MS;
        int64_t own = plant_lot(p, "1", 1, "A", at, UNITS),
                other = plant_lot(p, "2", 1, "A", at, 9);
        plant_exec(p,
                   "INSERT INTO material_use(lot_id, material, material_lot, kind, applied) VALUES"
                   "(%d, 'inhibitor', 'I', '%s', NULL), (%d, 'acid', 'V', 'vinegar', 'dough'),"
                   "(%d, 'inhibitor', 'S', 'potassium-sorbate', 'surface')",
                   (int)own, day < 0 ? "calcium-propionate" : "cultured-wheat", (int)own,
                   (int)other);
    }
    int64_t now_ms = action.at_ms + 20 * WHEN_DAY_MS;
    if (effect_report(p->store, p->tz, &(struct effect_query){id, 20, now_ms}, &answer, &err))
        fail_msg("%s", err.text);
    json_t *expected = json_pack("[{s:s, s:f, s:f}, {s:s, s:f, s:f}]", "ingredient",
                                 "calcium-propionate", "before", 1.0, "after", 0.0, "ingredient",
                                 "cultured-wheat", "before", 0.0, "after", 1.0);
    assert_true(json_equal(json_object_get(answer, "preserving"), expected));
    json_decref(expected);
    json_decref(answer);
    plant_free(p);
}

/* Nothing packed since, or kinds written down only from then on: no ingredient came or went. */
static void what_was_not_told_did_not_move(void **state)
{
    static const struct {
        int from_day, to_day, kinds_from_day;
    } ROWS[] = {{-20, 0, -20}, {-20, 20, 0}};
    (void)state;
    for (size_t i = 0; i < sizeof ROWS / sizeof ROWS[0]; i++) {
        struct plant *p = plant_new("America/New_York");
        struct error err = {0};
        struct action_row action = {.at_ms = plant_time("2026-08-24T00:00:00-04:00")};
        int64_t id = 0;
        json_t *answer = NULL;
        strcpy(action.note, "seal bars changed");
        strcpy(action.by_name, "qa");
        assert_int_equal(action_add(p->store, &action, &id, &err), 0);
        for (int day = ROWS[i].from_day; day < ROWS[i].to_day; day++) {
            int64_t at = action.at_ms + day * WHEN_DAY_MS + WHEN_HOUR_MS;
            plant_exec(p,
                       "INSERT INTO material_use(lot_id, material, material_lot, kind) VALUES"
                       "(%d, 'inhibitor', 'I', %s)",
                       (int)plant_lot(p, "1", 1, "A", at, UNITS),
                       day < ROWS[i].kinds_from_day ? "NULL" : "'calcium-propionate'");
        }
        int64_t now_ms = action.at_ms + (ROWS[i].to_day + 1) * WHEN_DAY_MS;
        if (effect_report(p->store, p->tz, &(struct effect_query){id, 20, now_ms}, &answer, &err))
            fail_msg("%s", err.text);
        assert_null(json_object_get(answer, "preserving"));
        json_decref(answer);
        plant_free(p);
    }
}

static void a_fix_that_worked_is_seen(void **state)
{
    (void)state;
    json_t *a = effect(1, (struct change){0.5, 0.1, 0.3, 40, true}, 28);
    assert_string_equal(verdict(a), "fewer complaints");
    assert_true(value(a, "ratio", "high") < 1);
    assert_true(value(a, "ratio", "low") < 0.2 && value(a, "ratio", "high") > 0.2);
    assert_true(value(a, "before", "units") == 28.0 * LOTS_A_DAY * UNITS);
    assert_true(value(a, "after", "share_in") > 0.99);
    const json_t *elsewhere = json_object_get(a, "elsewhere");
    assert_true(value(elsewhere, "ratio", "low") < 1 && value(elsewhere, "ratio", "high") > 1);
    json_decref(a);
}

static void a_change_for_the_worse_is_seen(void **state)
{
    (void)state;
    json_t *a = effect(2, (struct change){0.1, 0.5, 0.3, 40, true}, 28);
    assert_string_equal(verdict(a), "more complaints");
    json_decref(a);
}

/* A week after, hardly any report can be in: fewer complaints by then prove nothing. */
static void too_early_is_said(void **state)
{
    (void)state;
    for (uint64_t seed = 10; seed < 15; seed++) {
        json_t *a = effect(seed, (struct change){0.4, 0.4, 0.3, 4, false}, 28);
        assert_string_equal(verdict(a), "too early to tell");
        assert_true(value(a, "after", "share_in") < 0.2);
        json_decref(a);
    }
}

/* Half of the reports to come: without allowing for them, no change looks like a fall. */
static void reports_to_come_are_allowed_for(void **state)
{
    enum { PLANTS = 12 };
    (void)state;
    double ratio = 0, naive = 0;
    int wrong = 0;
    for (uint64_t seed = 20; seed < 20 + PLANTS; seed++) {
        json_t *a = effect(seed, (struct change){2, 2, 0.3, 17, false}, 28);
        double before = value(a, "before", "complaints") / value(a, "before", "units");
        double after = value(a, "after", "complaints") / value(a, "after", "units");
        ratio += value(a, "ratio", "ratio") / PLANTS;
        naive += after / before / PLANTS;
        wrong += strcmp(verdict(a), "fewer complaints") == 0;
        json_decref(a);
    }
    print_message("ratio %.2f, without allowing for reports to come %.2f\n", ratio, naive);
    assert_true(naive < 0.65);
    assert_true(ratio > 0.8 && ratio < 1.25);
    assert_true(wrong <= 1);
}

static void nothing_changed_is_said_when_all_is_in(void **state)
{
    (void)state;
    int none = 0;
    for (uint64_t seed = 40; seed < 50; seed++) {
        json_t *a = effect(seed, (struct change){0.4, 0.4, 0.3, 40, true}, 28);
        none += strcmp(verdict(a), "no difference seen") == 0;
        assert_true(value(a, "ratio", "low") <= value(a, "ratio", "ratio"));
        json_decref(a);
    }
    assert_true(none >= 8);
}

/* Few complaints, and an action that cut them by seven tenths: what cannot be seen is not denied.
 */
static void no_difference_is_not_said_while_a_halving_is_possible(void **state)
{
    (void)state;
    int fewer = 0, few = 0;
    for (uint64_t seed = 60; seed < 68; seed++) {
        json_t *a = effect(seed, (struct change){0.06, 0.018, 0.1, 60, true}, 56);
        const char *said = verdict(a);
        bool open = value(a, "ratio", "low") <= 0.5 || value(a, "ratio", "high") >= 2;
        if (strcmp(said, "no difference seen") == 0)
            fail_msg("no difference, of %g to %g times", value(a, "ratio", "low"),
                     value(a, "ratio", "high"));
        assert_true(strcmp(said, "too few to tell") != 0 || open);
        fewer += strcmp(said, "fewer complaints") == 0;
        few += strcmp(said, "too few to tell") == 0;
        json_decref(a);
    }
    print_message("a cut of 70 %%: %d of 8 seen, %d too few to tell\n", fewer, few);
    assert_true(few > 0 && fewer + few == 8);
}

/* One before and one after: the range is said, and no ratio of 1. */
static void one_and_one_are_too_few(void **state)
{
    (void)state;
    struct plant *p = plant_new("UTC");
    struct error err = {0};
    int64_t start = plant_time("2026-06-01T05:00:00Z"), id = 0;
    struct action_row action = {.at_ms = plant_time("2026-07-01T00:00:00Z"), .line = "1"};
    json_t *a = NULL;
    strcpy(action.note, "fan mended");
    strcpy(action.by_name, "qa");
    assert_int_equal(action_add(p->store, &action, &id, &err), 0);
    for (int day = 0; day < 58; day++) {
        int64_t lot = plant_lot(p, "1", 1, "A", start + day * WHEN_DAY_MS, UNITS);
        if (day == 35)
            plant_complaint(p, lot, "mold", start + (day + 5) * WHEN_DAY_MS, NULL);
    }
    assert_int_equal(
        effect_report(p->store, p->tz,
                      &(struct effect_query){id, 28, plant_time("2026-12-01T00:00:00Z")}, &a, &err),
        0);
    assert_string_equal(verdict(a), "too few to tell");
    assert_string_equal(json_string_value(json_object_get(a, "text")),
                        "Too few to tell: none before, 1 after; the rate after the action is "
                        "at least 0.026 times that before it: a halving or a doubling cannot be "
                        "told from no change.");
    json_decref(a);
    plant_free(p);
}

/* Weeks before, a day after: limits of hundreds are plain numbers. */
static void a_wide_limit_is_a_plain_number(void **state)
{
    (void)state;
    struct plant *p = plant_new("UTC");
    struct error err = {0};
    int64_t start = plant_time("2026-06-01T05:00:00Z"), id = 0;
    struct action_row action = {.at_ms = plant_time("2026-07-01T00:00:00Z"), .line = "1"};
    json_t *a = NULL;
    strcpy(action.note, "fan mended");
    strcpy(action.by_name, "qa");
    assert_int_equal(action_add(p->store, &action, &id, &err), 0);
    for (int day = 0; day < 31; day++) {
        int64_t lot = plant_lot(p, "1", 1, "A", start + day * WHEN_DAY_MS, UNITS);
        if (day == 10)
            plant_complaint(p, lot, "mold", start + (day + 5) * WHEN_DAY_MS, NULL);
    }
    assert_int_equal(
        effect_report(p->store, p->tz,
                      &(struct effect_query){id, 28, plant_time("2026-12-01T00:00:00Z")}, &a, &err),
        0);
    const char *text = json_string_value(json_object_get(a, "text"));
    const char *most = strstr(text, "at most ");
    assert_non_null(most);
    assert_true(strtod(most + 8, NULL) > 100);
    assert_null(strstr(text, "e+"));
    json_decref(a);
    plant_free(p);
}

/* One bad day before the action makes many complaints: they are one event, not many. */
static void a_cluster_is_not_taken_for_many_events(void **state)
{
    (void)state;
    struct plant *p = plant_new("UTC");
    struct error err = {0};
    int64_t start = plant_time("2026-06-01T05:00:00Z"), id = 0;
    struct action_row action = {.at_ms = plant_time("2026-07-01T00:00:00Z"), .line = "1"};
    json_t *a = NULL;
    strcpy(action.note, "fan mended");
    strcpy(action.by_name, "qa");
    assert_int_equal(action_add(p->store, &action, &id, &err), 0);
    for (int day = 0; day < 58; day++) {
        int64_t lot = plant_lot(p, "1", 1, "A", start + day * WHEN_DAY_MS, UNITS);
        for (int n = day == 20 ? 25 : day % 6 == 0; n > 0; n--)
            plant_complaint(p, lot, "mold", start + (day + 5) * WHEN_DAY_MS, NULL);
    }
    assert_int_equal(
        effect_report(p->store, p->tz,
                      &(struct effect_query){id, 28, plant_time("2026-12-01T00:00:00Z")}, &a, &err),
        0);
    assert_true(value(a, "without_spread", "high") < 1);
    assert_string_equal(verdict(a), "too few to tell");
    json_decref(a);
    plant_free(p);
}

/* A ratio without end, or of nothing to nothing, is none: not 0. */
static void what_is_no_ratio_is_said_in_words(void **state)
{
    (void)state;
    json_t *a = effect(3, (struct change){0, 0.5, 0.3, 40, true}, 28);
    char word[64];
    snprintf(word, sizeof word, "none before, %.0f after", value(a, "after", "complaints"));
    expect_no_ratio(a, word);
    assert_true(value(a, "ratio", "low") > 1);
    assert_non_null(strstr(json_string_value(json_object_get(a, "text")), word));
    assert_non_null(strstr(json_string_value(json_object_get(a, "text")), "at least "));
    json_decref(a);
    a = effect(4, (struct change){0, 0, 0.3, 40, true}, 28);
    expect_no_ratio(a, "none before, none after");
    json_decref(a);
    a = effect(5, (struct change){0.5, 0, 0.3, 40, true}, 28);
    assert_true(value(a, "ratio", "ratio") == 0 && value(a, "ratio", "high") < 1);
    assert_non_null(strstr(json_string_value(json_object_get(json_object_get(a, "ratio"), "word")),
                           ", none after"));
    json_decref(a);
}

/* With a cause, what counts is how many complaints it is held to account for. */
static void a_cause_counts_its_share(void **state)
{
    (void)state;
    struct plant *p = plant_new("UTC");
    struct error err = {0};
    int64_t at = plant_time("2026-06-20T05:00:00Z"), id = 0;
    struct action_row action = {.at_ms = plant_time("2026-07-01T00:00:00Z")};
    json_t *a = NULL;
    strcpy(action.place, "film-store");
    strcpy(action.note, "store cleaned");
    strcpy(action.by_name, "qa");
    assert_int_equal(action_add(p->store, &action, &id, &err), 0);
    int64_t lot = plant_lot(p, "1", 1, "A", at, UNITS);
    for (int n = 0; n < 4; n++) {
        struct complaint_placed c = plant_complaint(p, lot, "mold", at + n, NULL);
        plant_rank(p, c.case_id, "contamination-film", 0.75, "old-stock", 0.2);
    }
    assert_int_equal(
        effect_report(p->store, p->tz,
                      &(struct effect_query){id, 28, plant_time("2026-08-01T00:00:00Z")}, &a, &err),
        0);
    assert_true(fabs(value(a, "before", "complaints") - 3) < 1e-6);
    assert_string_equal(verdict(a), "too early to tell");
    expect_no_ratio(a, "nothing packed after");
    json_decref(a);
    plant_free(p);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_days_compared_are_told),
        cmocka_unit_test(a_fix_that_worked_is_seen),
        cmocka_unit_test(a_system_swapped_meanwhile_is_told),
        cmocka_unit_test(what_was_not_told_did_not_move),
        cmocka_unit_test(a_change_for_the_worse_is_seen),
        cmocka_unit_test(too_early_is_said),
        cmocka_unit_test(reports_to_come_are_allowed_for),
        cmocka_unit_test(nothing_changed_is_said_when_all_is_in),
        cmocka_unit_test(no_difference_is_not_said_while_a_halving_is_possible),
        cmocka_unit_test(one_and_one_are_too_few),
        cmocka_unit_test(a_wide_limit_is_a_plain_number),
        cmocka_unit_test(a_cluster_is_not_taken_for_many_events),
        cmocka_unit_test(what_is_no_ratio_is_said_in_words),
        cmocka_unit_test(a_cause_counts_its_share),
    };
    gsl_set_error_handler_off();
    return cmocka_run_group_tests(tests, NULL, NULL);
}

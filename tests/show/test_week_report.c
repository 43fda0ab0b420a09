/* The report of a week, and its views. */
#include "../patterns/plant.h"
#include "base/cuts.h"
#include "patterns/week.h"
#include "rank/triage.h"
#include "rules/targets.h"
#include "show/week_csv.h"
#include "show/week_html.h"
#include "store/action.h"
#include "store/hold.h"
#include "store/move.h"
#include <gsl/gsl_errno.h>

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

static json_t *report_by(struct plant *p, const char *by, const char *week, const char *now)
{
    struct week_query query = {.now_ms = plant_time(now)};
    struct error err = {0};
    json_t *out = NULL;
    assert_int_equal(iso_week_parse(week, &query.week, NULL), 0);
    assert_int_equal(cuts_parse(by, &query.by, &err), 0);
    if (week_report(p->store, p->tz, NULL, &query, &out, &err))
        fail_msg("%s", err.text);
    return out;
}

static json_t *report(struct plant *p, const char *week, const char *now)
{
    return report_by(p, NULL, week, now);
}

static double at(const json_t *object, const char *name)
{
    return json_number_value(json_object_get(object, name));
}

static const json_t *row(const json_t *report, const char *factor, const char *level,
                         const char *symptom)
{
    const json_t *rows = json_object_get(json_object_get(report, "by"), factor), *r;
    size_t i;
    json_array_foreach(rows, i, r)
    {
        if (strcmp(json_string_value(json_object_get(r, "level")), level) == 0 &&
            strcmp(json_string_value(json_object_get(r, "symptom")), symptom) == 0)
            return r;
    }
    return NULL;
}

static void half_a_year_by(struct plant *p, const char *risen)
{
    struct dice dice = {8};
    int64_t start = plant_time("2026-05-25T05:00:00-04:00");
    for (int day = 0; day < 182; day++) {
        for (int k = 0; k < 4; k++) {
            int64_t packed = start + day * WHEN_DAY_MS + k * WHEN_HOUR_MS;
            int64_t lot =
                plant_lot(p, k % 2 ? "2" : "1", 1 + k / 2, k / 2 ? "B" : "A", packed, 20000);
            const char *const routes[] = {"R0", "R1", "R2", "R3"};
            plant_sent(p, lot, routes[k], "", 1, 20000);
            double mean = k % 2 && day >= 168 ? 4 : 0.5;
            for (long n = dice_poisson(&dice, mean); n > 0; n--) {
                int64_t received =
                    packed + (int64_t)((2 + 9 * dice_unit(&dice)) * (double)WHEN_DAY_MS);
                struct complaint_placed c = plant_complaint(p, lot, "mold", received, "R1");
                if (n == 1)
                    plant_rank(p, c.case_id, k % 2 ? risen : "old-stock", 0.8, "packed-hot", 0.1);
            }
        }
    }
}

static void half_a_year(struct plant *p)
{
    half_a_year_by(p, "contamination-slicer");
}

static void counts_are_of_the_week_in_the_plants_zone(void **state)
{
    struct plant *p = *state;
    int64_t lot = plant_lot(p, "1", 1, "A", plant_time("2026-11-17T05:00:00-05:00"), 250000);
    int64_t monday = plant_time("2026-11-16T00:00:00-05:00");
    for (int i = 0; i < 5; i++)
        plant_complaint(p, lot, "mold", monday + i, NULL);
    plant_complaint(p, lot, "mold", monday - 1, NULL);
    plant_complaint(p, 0, "staling", monday + 7 * WHEN_DAY_MS - 1, NULL);
    plant_complaint(p, 0, "staling", monday + 7 * WHEN_DAY_MS, NULL);
    json_t *r = report(p, "2026-W47", "2026-12-01T08:00:00-05:00");
    assert_int_equal(at(json_object_get(r, "complaints"), "mold"), 5);
    assert_int_equal(at(json_object_get(r, "complaints"), "staling"), 1);
    assert_int_equal(at(json_object_get(r, "complaints"), "off-odor"), 0);
    assert_int_equal(at(r, "units"), 250000);
    const json_t *line = row(r, "line", "1", "mold");
    assert_int_equal(at(line, "complaints"), 5);
    assert_true(fabs(at(line, "per_million") - 20) < 1e-9);
    /* F. Garwood, "Fiducial limits for the Poisson distribution", Biometrika 28 (1936): of 5,
     * 1.6235 and 11.6683 */
    assert_true(fabs(at(line, "low") - 4 * 1.6235) < 1e-3);
    assert_true(fabs(at(line, "high") - 4 * 11.6683) < 1e-3);
    assert_int_equal(at(json_object_get(line, "made"), "complaints"), 6);
    assert_null(row(r, "line", "1", "no symptom"));
    json_decref(r);
}

/* An old week can be replayed: what came after "now" is not in it. */
static void what_came_later_is_left_out(void **state)
{
    struct plant *p = *state;
    half_a_year(p);
    json_t *then = report(p, "2026-W44", "2026-10-30T12:00:00-04:00");
    assert_true(json_is_false(json_object_get(then, "over")));
    double before = at(json_object_get(then, "complaints"), "mold");
    json_decref(then);
    int64_t lot = plant_lot(p, "9", 1, "A", plant_time("2026-10-28T05:00:00-04:00"), 0);
    plant_complaint(p, lot, "mold", plant_time("2026-10-30T12:00:00.001-04:00"), NULL);
    plant_complaint(p, lot, "mold", plant_time("2026-10-30T11:59:59-04:00"), NULL);
    plant_complaint(p, lot, "mold", plant_time("2026-11-20T12:00:00-05:00"), NULL);
    then = report(p, "2026-W44", "2026-10-30T12:00:00-04:00");
    assert_int_equal(at(json_object_get(then, "complaints"), "mold"), before + 1);
    assert_int_equal(at(row(then, "line", "9", "mold"), "complaints"), 1);
    assert_int_equal(at(json_object_get(row(then, "line", "9", "mold"), "made"), "complaints"), 1);
    json_decref(then);
}

/* A cause that rankings of an earlier set of rules gave: nothing is known of what shares it. */
static void a_cause_that_rules_have_no_more_keeps_no_week_back(void **state)
{
    struct plant *p = *state;
    struct week_query query = {.now_ms = plant_time("2026-11-23T08:00:00-05:00")};
    struct triage *triage = NULL;
    struct error err = {0};
    json_t *r = NULL;
    half_a_year_by(p, "cause-of-former-rules");
    if (triage_new(ODDLOAF_SOURCE_DIR "/rules", p->tz, NULL, NULL, &triage, &err))
        fail_msg("%s", err.text);
    assert_int_equal(iso_week_parse("2026-W47", &query.week, NULL), 0);
    if (week_report(p->store, p->tz, triage, &query, &r, &err))
        fail_msg("%s", err.text);
    assert_true(json_array_size(json_object_get(r, "stories")) > 0);
    json_decref(r);
    triage_free(triage);
}

static const char *said(const json_t *object, const char *name)
{
    const char *text = json_string_value(json_object_get(object, name));
    return text ? text : "";
}

/* A week in which the line stood still: what is complained of was packed before. */
static void a_shutdown_week_is_rated_by_what_is_on_sale(void **state)
{
    struct plant *p = *state;
    int64_t start = plant_time("2026-08-03T05:00:00-04:00");
    for (int day = 0; day < 112; day++) {
        bool shut = day >= 105; /* 2026-W47 */
        int64_t packed = start + day * WHEN_DAY_MS;
        int64_t lot = plant_lot(p, "1", 1, "A", packed, shut ? 500 : 20000);
        if (day % 2)
            plant_complaint(p, lot, "mold", packed + 6 * WHEN_DAY_MS, NULL);
    }
    json_t *r = report(p, "2026-W47", "2026-11-23T08:00:00-05:00");
    const json_t *line = row(r, "line", "1", "mold");
    assert_int_equal(at(line, "units"), 3500);
    assert_true(at(line, "on_sale") > 15000);
    assert_true(fabs(at(line, "per_million_on_sale") -
                     1e6 * at(line, "complaints") / at(line, "on_sale")) < 1);
    assert_true(at(line, "per_million") > 4 * at(line, "per_million_on_sale"));
    json_decref(r);
}

/* "Nothing rose" or "Too early to tell" only over a table that says nothing else. */
static void want_one_voice(const json_t *r)
{
    static const char *const SYMPTOMS_SAID[] = {"mold", "off-odor", "staling"};
    const char *first = json_string_value(json_array_get(json_object_get(r, "headline"), 0));
    const char *quiet = strncmp(first, "Too", 3) == 0 ? "too early to tell" : "within its limits";
    bool calm = strncmp(first, "Nothing rose", 12) == 0 || strncmp(first, "Too early", 9) == 0;
    bool nothing = true;
    for (size_t i = 0; i < COUNT_OF(SYMPTOMS_SAID); i++) {
        const json_t *standing = json_object_get(r, "standing");
        const char *says = said(json_object_get(standing, SYMPTOMS_SAID[i]), "says");
        nothing &= strcmp(says, quiet) == 0;
    }
    if (calm != nothing)
        fail_msg("%s, over: %s", first, json_dumps(json_object_get(r, "standing"), 0));
}

/* Five weeks of packing, ten times the complaints in the newest. */
static void a_plant_too_young_to_tell_has_no_lasting_rise(void **state)
{
    struct plant *p = *state;
    int64_t start = plant_time("2026-10-19T05:00:00-04:00");
    for (int day = 0; day < 35; day++) {
        int64_t packed = start + day * WHEN_DAY_MS;
        int64_t lot = plant_lot(p, "1", 1, "A", packed, 20000);
        for (int n = day >= 21 ? 10 : 1; n > 0; n--)
            plant_complaint(p, lot, "mold", packed + 3 * WHEN_DAY_MS + n * WHEN_HOUR_MS, NULL);
    }
    json_t *r = report(p, "2026-W47", "2026-11-23T08:00:00-05:00");
    want_one_voice(r);
    const char *first = json_string_value(json_array_get(json_object_get(r, "headline"), 0));
    assert_int_equal(strncmp(first, "Too early", 9), 0);
    json_decref(r);
}

/* Summary, stories and signals are one computation: what has a signal is not as usual. */
static void no_word_contradicts_a_signal(void **state)
{
    struct plant *p = *state;
    half_a_year(p);
    static const char *const WEEKS[] = {"2026-W24", "2026-W26", "2026-W30", "2026-W36", "2026-W40",
                                        "2026-W44", "2026-W45", "2026-W46", "2026-W47", "2026-W48"};
    int signals = 0, calm = 0;
    for (size_t w = 0; w < COUNT_OF(WEEKS); w++) {
        json_t *r = report(p, WEEKS[w], "2026-11-30T08:00:00-05:00"), *s;
        const json_t *standing = json_object_get(r, "standing");
        const json_t *stories = json_object_get(r, "stories");
        size_t i, told = 0;
        json_array_foreach(json_object_get(r, "signals"), i, s)
        {
            const char *says = said(json_object_get(standing, said(s, "symptom")), "says");
            if (strstr(says, "within its limits"))
                fail_msg("%s: %s, over a signal of %s", WEEKS[w], says, said(s, "level"));
            signals++;
        }
        json_array_foreach(stories, i, s) told +=
            1 + json_array_size(json_object_get(s, "beneath"));
        assert_int_equal(told, json_array_size(json_object_get(r, "signals")));
        want_one_voice(r);
        calm += json_array_size(stories) == 0;
        json_decref(r);
    }
    assert_true(signals > 0 && calm > 0);
}

static void put_hold(struct plant *p, int64_t lot, const char *reason, int64_t now)
{
    const struct hold_of of = {.lot_id = lot, .code = "K1"};
    const struct hold_entry entry = {
        .reason = reason, .by_name = "mira", .user = "mira", .at_ms = now};
    bool stood;
    assert_int_equal(hold_add(p->store, &of, &entry, &stood, NULL), 0);
}

static void end_hold(struct plant *p, int64_t lot, int64_t now)
{
    const struct hold_of of = {.lot_id = lot};
    const struct hold_end end = {
        .disposition = "release", .reason = "dry", .by_name = "mira", .user = "mira", .at_ms = now};
    assert_int_equal(hold_end(p->store, &of, &end, NULL), 0);
}

/* One excess is one story, led by the line it was planted on; the rest of its signals beneath. */
static void a_rise_is_one_story_and_a_plain_sentence(void **state)
{
    struct plant *p = *state;
    half_a_year(p);
    int64_t now = plant_time("2026-11-18T08:00:00-05:00");
    struct action_row action = {.at_ms = plant_time("2026-11-12T00:00:00-05:00"), .line = "2"};
    strcpy(action.note,
           "Second fan at the exit, so that the racks are cool by pack.és"); /* byte 60 is within a
                                                                                character */
    strcpy(action.by_name, "mira");
    int64_t id;
    assert_int_equal(action_add(p->store, &action, &id, NULL), 0);
    put_hold(p, 1, "wet bags", now);
    put_hold(p, 1, "glass", now); /* a second one is no second lot */
    put_hold(p, 2, "wet bags", now);
    end_hold(p, 2, now);
    struct complaint_placed c = plant_complaint(p, 1, "mold", now, NULL);
    plant_exec(p, "UPDATE complaint SET harm=1, body='{\"harm\":[\"illness\"]}' WHERE id=%d",
               (int)c.complaint_id);
    json_t *r = report(p, "2026-W47", "2026-11-23T08:00:00-05:00");
    const json_t *story = json_array_get(json_object_get(r, "stories"), 0);
    const json_t *headline = json_object_get(r, "headline");
    assert_int_equal(json_array_size(json_object_get(r, "stories")), 1);
    assert_string_equal(said(json_object_get(story, "led_by"), "level"), "2");
    assert_string_equal(json_string_value(json_array_get(headline, 0)),
                        "1 report of harm: it goes by the plant's own procedure (C1 illness, lot "
                        "K1 on hold, nobody's)");
    const char *rise = json_string_value(json_array_get(headline, 1));
    assert_int_equal(strncmp(rise, "Mold on line 2: ", 16), 0);
    assert_non_null(strstr(rise, " complaints "));
    assert_non_null(strstr(rise, "; most likely contamination-slicer"));
    for (const char *at = rise; at < strstr(rise, "; action of"); at++)
        assert_true(*at != '.' && strncmp(at, " q ", 3) != 0);
    const char *before = json_string_value(json_array_get(headline, 2));
    assert_non_null(strstr(before, " complaints in all; the week before "));
    assert_non_null(strstr(before, ", the four before "));
    assert_null(strstr(before, "a year ago")); /* nothing was packed yet */
    assert_string_equal(
        json_string_value(json_array_get(headline, 3)),
        "1 lot on hold as of 23 November, 20\u00a0000 packs; 20\u00a0000 of them still in "
        "code");
    assert_non_null(strstr(rise, "; action of 12 November (Second"));
    assert_int_equal(at(story, "action"), 1);
    const json_t *harm = json_array_get(json_object_get(r, "harm"), 0);
    assert_string_equal(json_string_value(json_array_get(json_object_get(harm, "harm"), 0)),
                        "illness");
    assert_string_equal(said(json_array_get(json_object_get(r, "holds"), 0), "lot"), "K1");
    assert_int_equal(json_array_size(json_object_get(r, "holds")), 2);
    assert_int_equal(json_array_size(json_object_get(r, "overdue")), 0);
    char *page = week_html(r, "");
    assert_non_null(strstr(page, "<ul class=\"headline\"><li class=\"harm\">1 report of harm"));
    assert_true(strstr(page, "Mold on line 2: ") < strstr(page, "class=\"tiles\""));
    assert_true(strstr(page, "<h2>Rates</h2>") < strstr(page, ">q<"));
    free(page);
    json_decref(r);
}

/* A plant that packs for seven weeks and takes its first call: one is no rise. */
static void a_first_complaint_is_compared_with_nothing(void **state)
{
    struct plant *p = *state;
    int64_t start = plant_time("2026-10-05T05:00:00-04:00");
    int64_t lot = 0;
    for (int day = 0; day < 49; day++)
        lot = plant_lot(p, "1", 1, "A", start + day * WHEN_DAY_MS, 20000);
    plant_complaint(p, lot, "off-odor", plant_time("2026-11-22T09:00:00-05:00"), NULL);
    json_t *r = report(p, "2026-W47", "2026-11-22T10:00:00-05:00");
    const char *first = json_string_value(json_array_get(json_object_get(r, "headline"), 0));
    assert_int_equal(
        strncmp(first, "No complaints on record before this week; nothing to compare with: ", 67),
        0);
    const json_t *charts = json_object_get(r, "charts");
    const json_t *weeks = json_object_get(json_object_get(charts, "off-odor"), "weeks");
    const json_t *last = json_array_get(weeks, json_array_size(weeks) - 1);
    assert_int_equal(at(last, "complaints"), 1);
    assert_int_equal(at(last, "signal"), 0);
    assert_string_equal(said(json_object_get(json_object_get(r, "standing"), "off-odor"), "says"),
                        "nothing to compare with");
    json_decref(r);
}

/* Of 7 cases the first five, of a case with two reports one line; what rose of one of them says so.
 */
static void cases_of_harm_are_named(void **state)
{
    struct plant *p = *state;
    half_a_year(p);
    int64_t now = plant_time("2026-11-18T08:00:00-05:00");
    for (int i = 0; i < 8; i++)
        plant_complaint(p, i == 1 ? 0 : i == 7 ? 6 : 1 + i, "staling", now + i, NULL);
    plant_exec(p,
               "UPDATE complaint SET harm=1, body='{\"harm\":[\"foreign-matter\","
               "\"allergic-reaction\"]}' WHERE symptom='staling' AND received_ms>=%lld",
               (long long)now);
    json_t *r = report(p, "2026-W47", "2026-11-23T08:00:00-05:00");
    const char *first = json_string_value(json_array_get(json_object_get(r, "headline"), 0));
    assert_int_equal(
        strncmp(first, "8 reports of harm: they go by the plant's own procedure (C", 58), 0);
    assert_non_null(strstr(first, " foreign matter and allergic reaction, lot K6 NOT on hold, "));
    assert_non_null(
        strstr(first, "; 2 further cases: oddloaf cases --order urgent lists the open ones)"));
    assert_null(strstr(first, "lot K2 "));
    json_decref(r);
}

/* This morning's harm stands at the top of the week that is over, as of which no count has it. */
static void harm_since_the_week_stands_first(void **state)
{
    struct plant *p = *state;
    half_a_year(p);
    int64_t monday = plant_time("2026-11-23T07:40:00-05:00");
    plant_complaint(p, 6, "staling", monday, NULL);
    plant_complaint(p, 7, "mold", plant_time("2026-11-19T07:40:00-05:00"), NULL);
    plant_exec(p,
               "UPDATE complaint SET harm=1, body='{\"harm\":[\"injury\"]}' WHERE received_ms=%lld",
               (long long)monday);
    json_t *r = report(p, "2026-W47", "2026-11-23T08:00:00-05:00");
    const char *first = json_string_value(json_array_get(json_object_get(r, "headline"), 0));
    assert_int_equal(strncmp(first,
                             "Since 23 November, after what is shown here: 1 report of harm: it "
                             "goes by the plant's own procedure (C",
                             100),
                     0);
    assert_non_null(strstr(first, " injury, lot K6 NOT on hold, "));
    assert_int_equal(json_array_size(json_object_get(r, "harm_since")), 1);
    assert_int_equal(json_array_size(json_object_get(r, "harm")), 0);
    char *page = week_html(r, "Plant");
    assert_non_null(strstr(page, "<ul class=\"headline\"><li class=\"harm\">Since 23 November"));
    free(page);
    json_decref(r);
    /* of an older week, too, for as long as it is new; nothing is since a week that has today */
    r = report(p, "2026-W45", "2026-11-29T08:00:00-05:00");
    assert_int_equal(json_array_size(json_object_get(r, "harm_since")), 1);
    json_decref(r);
    r = report(p, "2026-W45", "2026-11-30T08:00:00-05:00");
    assert_int_equal(json_array_size(json_object_get(r, "harm_since")), 0);
    json_decref(r);
    r = report(p, "2026-W48", "2026-11-23T08:00:00-05:00");
    assert_int_equal(json_array_size(json_object_get(r, "harm_since")), 0);
    assert_int_equal(json_array_size(json_object_get(r, "harm")), 1);
    json_decref(r);
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

/* Complaints a week, mold on line 1, of half a year. The newest of that line's lots is the 51st. */
static void half_a_year_of(struct plant *p, const int newest[static 3])
{
    int64_t start = plant_time("2026-05-25T05:00:00-04:00");
    for (int week = 0; week < 26; week++) {
        int64_t packed = start + week * 7 * WHEN_DAY_MS;
        int64_t lot = plant_lot(p, "1", 1, "A", packed, 100000);
        plant_lot(p, "2", 2, "A", packed, 100000);
        for (int n = week < 23 ? 2 : newest[week - 23]; n > 0; n--)
            plant_complaint(p, lot, "mold", packed + 2 * WHEN_DAY_MS + n * WHEN_HOUR_MS, NULL);
    }
}

/* Headline, table and words of the symptom say alike where a rise stands. */
static void want_course(struct plant *p, const int newest[static 3], const char *course,
                        const char *words)
{
    half_a_year_of(p, newest);
    json_t *r = report(p, "2026-W47", "2026-11-23T08:00:00-05:00");
    const json_t *story = json_array_get(json_object_get(r, "stories"), 0);
    const json_t *signal = json_array_get(json_object_get(r, "signals"), 0);
    const json_t *mold = json_object_get(json_object_get(r, "standing"), "mold");
    bool up = strcmp(course, "up") == 0;
    char *page = week_html(r, "");
    assert_string_equal(said(story, "course"), course);
    assert_string_equal(said(signal, "course"), course);
    assert_int_equal(json_is_true(json_object_get(story, "still")), up);
    assert_int_equal(strstr(page, "still up") != NULL, up);
    assert_int_equal(json_is_true(json_object_get(mold, "up")), up);
    assert_non_null(strstr(line_with(r, "since 2 November"), words));
    free(page);
    json_decref(r);
}

static void a_rise_goes_on(void **state)
{
    static const int NEWEST[] = {14, 15, 16};
    want_course(*state, NEWEST, "up", ", usual 6; ");
}

static void a_rise_back_at_its_usual_eases(void **state)
{
    static const int NEWEST[] = {25, 25, 1};
    want_course(*state, NEWEST, "easing", "; easing: 1 this week, usual 2");
}

static void a_rise_two_weeks_back_at_its_usual_is_over(void **state)
{
    static const int NEWEST[] = {40, 1, 0};
    want_course(*state, NEWEST, "over", "; over: none this week; ");
}

/* Of the lots complained of since it began: what is still sold, what is held already. */
static void a_rise_says_what_is_still_in_code(void **state)
{
    static const int NEWEST[] = {14, 15, 16};
    struct plant *p = *state;
    half_a_year_of(p, NEWEST);
    plant_exec(p,
               "INSERT INTO hold(lot_id, code, fold, reason, by_name, by_user, at_ms)"
               " VALUES(51, 'K51', 'K51', 'wet bags', 'mira', 'mira', %lld)",
               (long long)plant_time("2026-11-20T08:00:00-05:00"));
    plant_exec(p, "UPDATE lot SET code_day = %d WHERE id = 47", day_from_civil(2026, 11, 22));
    plant_exec(p, "UPDATE lot SET code_day = %d WHERE id = 49", day_from_civil(2026, 11, 23));
    json_t *r = report(p, "2026-W47", "2026-11-23T08:00:00-05:00");
    const json_t *story = json_array_get(json_object_get(r, "stories"), 0);
    const json_t *lots = json_object_get(story, "lots");
    assert_non_null(strstr(line_with(r, "since 2 November"),
                           "; 200\u00a0000 packs of the lots complained of still in code, "
                           "1 lot on hold"));
    assert_int_equal(at(lots, "complained_of"), 3);
    assert_int_equal(at(lots, "at_risk"), 3);
    assert_int_equal(at(lots, "in_code"), 2);
    assert_int_equal(at(lots, "units_in_code"), 200000);
    assert_int_equal(at(lots, "on_hold"), 1);
    json_decref(r);
}

static void no_fault(void *arg, const struct error *fault)
{
    (void)arg;
    fail_msg("%s", fault->text);
}

/* Bread that was kept too warm was so somewhere: of the complaints on line 2, that name a store. */
static void a_rise_behind_the_plant_names_its_stores(void **state)
{
    struct plant *p = *state;
    struct triage *triage = NULL;
    struct error err = {0};
    json_t *r = NULL;
    half_a_year_by(p, "warm-storage");
    plant_exec(p, "UPDATE complaint SET store = iif(id % 6, '0417', '0103') WHERE id % 2 = 0");
    assert_int_equal(triage_new(ODDLOAF_SOURCE_DIR "/rules", p->tz, no_fault, NULL, &triage, &err),
                     0);
    struct week_query query = {.now_ms = plant_time("2026-11-23T08:00:00-05:00")};
    iso_week_parse("2026-W47", &query.week, NULL);
    if (week_report(p->store, p->tz, triage, &query, &r, &err))
        fail_msg("%s", err.text);
    const json_t *story = json_array_get(json_object_get(r, "stories"), 0);
    const json_t *first = json_array_get(json_object_get(story, "stores"), 0);
    const json_t *second = json_array_get(json_object_get(story, "stores"), 1);
    assert_string_equal(said(first, "store"), "0417");
    assert_string_equal(said(second, "store"), "0103");
    assert_true(at(first, "complaints") > at(second, "complaints"));
    assert_true(at(first, "complaints") + at(second, "complaints") < at(story, "observed"));
    assert_non_null(strstr(line_with(r, "most likely kept or carried too warm after it left the "
                                        "plant (stores most named: 0417 in "),
                           ", 0103 in "));
    json_decref(r);
    triage_free(triage);
}

static struct targets *wanted(struct plant *p, const char *text)
{
    char path[96];
    struct targets *targets = NULL;
    snprintf(path, sizeof path, "%s/targets.json", p->dir);
    FILE *file = fopen(path, "w");
    assert_non_null(file);
    fputs(text, file);
    fclose(file);
    assert_int_equal(targets_load(path, NULL, NULL, &targets, NULL), 0);
    return targets;
}

/* 100 000 units a week, 16 and 0 complaints: exact limits of 16 are 9.1 and 26, of 0 up to 3.7. */
static void what_is_wanted_is_met_or_not_or_too_few_to_say(void **state)
{
    static const int NEWEST[] = {14, 15, 16};
    struct plant *p = *state;
    half_a_year_of(p, NEWEST);
    struct targets *targets =
        wanted(p, "{\"targets\":[{\"symptom\":\"mold\",\"per_million\":60},"
                  "{\"line\":\"1\",\"symptom\":\"staling\",\"per_million\":20}],"
                  "\"currency\":\"EUR\",\"costs\":[{\"symptom\":\"mold\",\"each\":100},"
                  "{\"symptom\":\"other\",\"each\":7}]}");
    struct week_query query = {.now_ms = plant_time("2026-11-23T08:00:00-05:00"),
                               .targets = targets};
    json_t *r = NULL;
    iso_week_parse("2026-W47", &query.week, NULL);
    assert_int_equal(week_report(p->store, p->tz, NULL, &query, &r, NULL), 0);
    assert_string_equal(said(row(r, "line", "1", "mold"), "target_met"), "not met");
    assert_string_equal(said(row(r, "line", "2", "mold"), "target_met"), "met");
    assert_string_equal(said(row(r, "line", "1", "staling"), "target_met"), "too few to say");
    assert_null(json_object_get(row(r, "line", "2", "staling"), "target"));
    assert_null(json_object_get(row(r, "product", "W24", "mold"), "target"));
    assert_string_equal(line_with(r, "Targets"),
                        "Targets: 1 not met (line 1 mold 160 per million, target 60), 1 met, "
                        "1 too few to say");
    const json_t *cost = json_object_get(r, "cost");
    assert_true(at(cost, "total") == 1600);
    assert_int_equal(json_object_size(json_object_get(cost, "by")), 2);
    assert_non_null(strstr(line_with(r, "since 2 November"), " complaints (EUR 4\u00a0500) since"));
    assert_string_equal(line_with(r, "cost"), "The week's complaints cost EUR 1\u00a0600");
    char *page = week_html(r, "");
    assert_non_null(strstr(page, "target 60: not met"));
    free(page);
    json_decref(r);
    targets_free(targets);
    r = report(p, "2026-W47", "2026-11-23T08:00:00-05:00");
    assert_null(json_object_get(r, "cost"));
    assert_string_equal(line_with(r, "Targets"), "");
    json_decref(r);
}

/* Holds and open cases are of the day it is asked, verdicts of the week they were given in. */
static void a_past_week_says_as_of_when(void **state)
{
    struct plant *p = *state;
    int64_t packed = plant_time("2026-11-10T05:00:00-05:00");
    int64_t lot = plant_lot(p, "1", 1, "A", packed, 20000);
    int64_t now = plant_time("2026-11-24T08:00:00-05:00");
    struct complaint_placed c = plant_complaint(p, lot, "mold", packed + 4 * WHEN_DAY_MS, NULL);
    plant_exec(p,
               "INSERT INTO verdict(case_id, cause, confirmed_by, by_name, at_ms, revision)"
               " VALUES(%d, 'packed-hot', 'assay', 'mira', 1795525200000, 1)",
               (int)c.case_id);
    put_hold(p, lot, "wet bags", now);
    json_t *past = report(p, "2026-W46", "2026-11-24T09:00:00-05:00");
    char *page = week_html(past, "");
    assert_string_equal(
        line_with(past, "on hold"),
        "1 lot on hold as of 24 November, 20\u00a0000 packs; 20\u00a0000 of them still in "
        "code");
    assert_non_null(strstr(page, "<h3>Open cases by age, as of 2026-11-24</h3>"));
    assert_null(strstr(page, "these 13 weeks"));
    assert_non_null(strstr(page, "No case was settled in the 13 weeks up to 2026-11-15, "));
    free(page);
    json_decref(past);
    json_t *present = report(p, "2026-W48", "2026-11-24T09:00:00-05:00");
    page = week_html(present, "");
    assert_string_equal(line_with(present, "on hold"),
                        "1 lot on hold, 20\u00a0000 packs; 20\u00a0000 of them still in code");
    assert_non_null(strstr(page, "<h3>Open cases by age</h3>"));
    assert_null(strstr(page, "No case was settled"));
    free(page);
    json_decref(present);
}

static void hold_code(struct plant *p, const char *code, int64_t now)
{
    struct hold_of of = {0};
    const struct hold_entry entry = {
        .reason = "wet bags", .by_name = "mira", .user = "mira", .at_ms = now};
    bool stood;
    snprintf(of.code, sizeof of.code, "%s", code);
    assert_int_equal(hold_add(p->store, &of, &entry, &stood, NULL), 0);
}

/* Packs that no record tells of are not none. */
static void held_codes_on_no_record_are_not_counted_as_nothing(void **state)
{
    struct plant *p = *state;
    int64_t now = plant_time("2026-11-24T08:00:00-05:00");
    hold_code(p, "X 1", now);
    json_t *r = report(p, "2026-W48", "2026-11-24T09:00:00-05:00");
    assert_string_equal(line_with(r, "on hold"), "1 lot on hold, on no record: packs not known");
    json_decref(r);
    put_hold(p, plant_lot(p, "1", 1, "A", plant_time("2026-11-17T05:00:00-05:00"), 20000),
             "wet bags", now);
    hold_code(p, "X 2", now);
    r = report(p, "2026-W48", "2026-11-24T09:00:00-05:00");
    assert_string_equal(
        line_with(r, "on hold"),
        "3 lots on hold (2 of them on no record, packs not known), 20\u00a0000 packs; "
        "20\u00a0000 of them still in code");
    int table = 0;
    while (strcmp(WEEK_CSV_TABLES[table], "holds") != 0)
        table++;
    char *csv = week_csv(r, table);
    assert_non_null(strstr(csv, ",\"X 1\",,,,\"wet bags\","));
    assert_non_null(strstr(csv, ",\"K1\",20000,yes,"));
    free(csv);
    json_decref(r);
}

static void a_planted_rise_is_told(void **state)
{
    struct plant *p = *state;
    half_a_year(p);
    json_t *r = report(p, "2026-W47", "2026-11-23T08:00:00-05:00"), *s;
    const json_t *found = NULL;
    size_t i;
    json_array_foreach(json_object_get(r, "signals"), i, s)
    {
        assert_true(at(s, "q") <= 0.1);
        assert_true(at(s, "observed") > at(s, "expected"));
        if (strcmp(json_string_value(json_object_get(s, "factor")), "line") == 0)
            found = s;
    }
    assert_non_null(found);
    assert_string_equal(json_string_value(json_object_get(found, "level")), "2");
    const char *since = json_string_value(json_object_get(found, "since"));
    assert_true(strcmp(since, "2026-W45") >= 0 && strcmp(since, "2026-W47") <= 0);
    /* causes: expected complaints, never more than came */
    double expected = 0, slicer = 0;
    json_array_foreach(json_object_get(r, "causes"), i, s)
    {
        expected += at(s, "expected");
        if (strcmp(json_string_value(json_object_get(s, "cause")), "contamination-slicer") == 0)
            slicer = at(s, "expected");
    }
    assert_true(expected > 0.98 * at(json_object_get(r, "complaints"), "mold"));
    assert_true(expected <= 1.0001 * at(json_object_get(r, "complaints"), "mold"));
    assert_true(fabs(at(row(r, "place", "slicer", "mold"), "complaints") - slicer) < 1e-5);
    assert_true(json_array_size(json_object_get(r, "to_come")) > 0);
    json_t *first = json_array_get(json_object_get(r, "to_come"), 0);
    assert_string_equal(json_string_value(json_object_get(first, "made_week")), "2026-W47");
    assert_true(at(first, "low") <= at(first, "expected_final") + 1 &&
                at(first, "expected_final") <= at(first, "high"));
    json_decref(r);
}

static size_t count_of(const char *text, const char *what)
{
    size_t n = 0;
    for (const char *at_text = text; (at_text = strstr(at_text, what)); at_text++)
        n++;
    return n;
}

static void the_page_asks_nothing_of_anybody(void **state)
{
    struct plant *p = *state;
    half_a_year(p);
    int64_t lot = plant_lot(p, "<b>&\"9", 1, "A", plant_time("2026-11-17T05:00:00-05:00"), 1000);
    plant_complaint(p, lot, "mold", plant_time("2026-11-18T05:00:00-05:00"), NULL);
    json_t *r = report(p, "2026-W47", "2026-11-23T08:00:00-05:00");
    char *page = week_html(r, "<Harrow & Mill>");
    static const char *const NEVER[] = {"http",   "src=",    "<script", "url(",  "@import",
                                        "<b>&\"", "<Harrow", "nan",     "onload"};
    for (size_t i = 0; i < COUNT_OF(NEVER); i++)
        assert_int_equal(count_of(page, NEVER[i]), 0);
    assert_int_equal(count_of(page, "&lt;Harrow &amp; Mill&gt;"), 2);
    assert_int_equal(count_of(page, "&lt;b&gt;&amp;&quot;9"), count_of(page, "&lt;b&gt;"));
    assert_int_equal(count_of(page, "<svg"), count_of(page, "</svg>"));
    assert_int_not_equal(count_of(page, "text-anchor=\"middle\">W"), 0); /* weeks beneath */
    assert_int_equal(count_of(page, "<table"), count_of(page, "</table>"));
    /* every chart has its text; ornaments are hidden from readers, their numbers stand beside */
    assert_int_equal(count_of(page, "<svg"), count_of(page, "<svg class=\"mini\"") +
                                                 count_of(page, "role=\"img\" aria-labelledby"));
    assert_int_equal(count_of(page, "<desc"), count_of(page, "role=\"img\""));
    assert_true(count_of(page, "prefers-color-scheme:dark") == 1 && count_of(page, "@media print"));
    free(page);
    json_decref(r);
}

/* What a chart tells to those who do not see it. */
static const char *described(const char *page, const char *id, char *out, size_t size)
{
    char open[64];
    snprintf(open, sizeof open, "<desc id=\"%s-d\">", id);
    const char *from = strstr(page, open);
    assert_non_null(from);
    from += strlen(open);
    snprintf(out, size, "%.*s", (int)(strstr(from, "</desc>") - from), from);
    return out;
}

/* How far up each bar of a chart goes, in its own units; in order of weeks. */
static size_t bars_of(const char *page, const char *id, double *ret, size_t most)
{
    char open[64];
    snprintf(open, sizeof open, "<desc id=\"%s-d\">", id);
    const char *at = strstr(page, open), *end = strstr(at, "</svg>");
    size_t n = 0;
    while ((at = strstr(at, "class=\"made\" d=\"M")) && at < end && n < most) {
        double left, base, right, top;
        assert_int_equal(sscanf(strchr(at, 'M'), "M%lf %lfH%lfV%lf", &left, &base, &right, &top),
                         4);
        ret[n++] = base - top;
        at++;
    }
    return n;
}

/* Too few complaints for a forecast: bars are of what is in, to one scale, and no figure is a dash.
 */
static void weeks_without_a_forecast_are_drawn_as_they_are(void **state)
{
    struct plant *p = *state;
    const struct {
        const char *packed;
        int units;
        int complaints;
    } weeks[] = {{"2026-10-27T05:00:00-04:00", 100000, 2},
                 {"2026-11-03T05:00:00-05:00", 100000, 1},
                 {"2026-11-10T05:00:00-05:00", 100000, 0}};
    for (size_t i = 0; i < COUNT_OF(weeks); i++) {
        int64_t packed = plant_time(weeks[i].packed);
        int64_t lot = plant_lot(p, "1", 1, "A", packed, weeks[i].units);
        for (int k = 0; k < weeks[i].complaints; k++)
            plant_complaint(p, lot, "staling", packed + 4 * WHEN_DAY_MS + k, NULL);
    }
    json_t *r = report(p, "2026-W46", "2026-11-16T08:00:00-05:00");
    char *page = week_html(r, ""), text[512];
    double height[8];
    assert_int_equal(bars_of(page, "made-staling", height, COUNT_OF(height)), COUNT_OF(weeks));
    assert_true(fabs(height[0] - 2 * height[1]) < 0.11 && height[1] > 40 && height[2] == 0);
    assert_non_null(strstr(page, ">20</text>")); /* per million, on the scale */
    assert_null(strstr(described(page, "made-staling", text, sizeof text), "–"));
    assert_non_null(strstr(text,
                           "0 complaints are in, 0 per million; how many there are in the end "
                           "cannot be told yet."));
    assert_null(strstr(described(page, "rate-staling", text, sizeof text), "–"));
    assert_null(strstr(page, "Dashed"));
    free(page);
    json_decref(r);
}

static void csv_keeps_to_its_rules(void **state)
{
    struct plant *p = *state;
    int64_t lot = plant_lot(p, "=1+2, \"x\"", 1, "A", plant_time("2026-11-17T05:00:00-05:00"), 10);
    plant_complaint(p, lot, "mold", plant_time("2026-11-18T05:00:00-05:00"), NULL);
    json_t *r = report(p, "2026-W47", "2026-11-23T08:00:00-05:00");
    char *csv = week_csv(r, 0);
    static const char HEAD[] =
        "week,factor,level,symptom,complaints,units,per_million,low,high,made_complaints,"
        "made_share_in,made_per_million,made_low,made_high,target,target_met\r\n";
    assert_int_equal(strncmp(csv, HEAD, sizeof HEAD - 1), 0);
    /* a spreadsheet must not take a name for a formula */
    assert_non_null(strstr(csv, "2026-W47,line,\"'=1+2, \"\"x\"\"\",mold,1,10,100000,"));
    free(csv);
    json_decref(r);
}

/* Every table, and what callers typed into it. */
static void csv_has_all_tables(void **state)
{
    (void)state;
    assert_string_equal(WEEK_CSV_TABLES[WEEK_CSV_COMPLAINTS], "complaints");
    assert_string_equal(WEEK_CSV_TABLES[WEEK_CSV_CASES], "cases");
    json_t *r = json_loads(
        "{\"week\":\"2026-W47\",\"complaint_rows\":[{\"complaint\":\"u\",\"symptom\":\"mold\","
        "\"store\":\"=HYPERLINK(1)\",\"route\":\"-2+3\",\"lot_text\":\"@SUM(\\\"A\\\")\","
        "\"packs\":2,\"harm\":true,\"note\":\"call 555 0100\"}],"
        "\"stories\":[{\"symptom\":\"mold\",\"led_by\":{\"factor\":\"line\",\"level\":\"2\"}}],"
        "\"charts\":{\"mold\":{\"weeks\":[{\"week\":\"2026-W46\",\"complaints\":3}]}}}",
        0, NULL);
    char *csv = week_csv(r, WEEK_CSV_COMPLAINTS);
    assert_non_null(strstr(csv, "\"'=HYPERLINK(1)\",\"'-2+3\","));
    assert_non_null(strstr(csv, "\"'@SUM(\"\"A\"\")\""));
    assert_non_null(strstr(csv, ",2,yes\r\n"));
    assert_null(strstr(csv, "555"));
    free(csv);
    for (int table = 0; WEEK_CSV_TABLES[table]; table++) {
        csv = week_csv(r, table);
        size_t head = strcspn(csv, "\r");
        size_t commas = 0, cells = 0;
        for (size_t i = 0; i < head; i++)
            commas += csv[i] == ',';
        if (!strcmp(WEEK_CSV_TABLES[table], "stories"))
            assert_non_null(strstr(csv, "\"mold\",\"line\",\"2\","));
        if (!strcmp(WEEK_CSV_TABLES[table], "weeks"))
            assert_non_null(strstr(csv, "\"mold\",\"2026-W46\",3,"));
        for (const char *at = csv + head + 2; *at && *at != '\r'; at++)
            cells += *at == ',' && csv[head + 2];
        assert_true(commas > 0 && (!csv[head + 2] || cells >= commas));
        free(csv);
    }
    json_decref(r);
}

/* By what was asked for, in the answer, the table and the page; by receipt and by packing. */
static void rates_are_by_what_was_asked(void **state)
{
    struct plant *p = *state;
    half_a_year(p);
    json_t *all = report(p, "2026-W46", "2026-11-23T08:00:00-05:00");
    json_t *r = report_by(p, " shift,line", "2026-W46", "2026-11-23T08:00:00-05:00");
    const json_t *by = json_object_get(r, "by");
    assert_int_equal(json_object_size(json_object_get(all, "by")), 6);
    assert_null(json_object_get(all, "by_only"));
    assert_int_equal(json_object_size(by), 2);
    assert_true(json_equal(json_object_get(by, "line"),
                           json_object_get(json_object_get(all, "by"), "line")));
    json_t *names = json_pack("[s, s]", "line", "shift");
    assert_true(json_equal(json_object_get(r, "by_only"), names));
    json_decref(names);
    const json_t *made = json_object_get(row(r, "line", "2", "mold"), "made");
    assert_true(at(made, "complaints") > 0 && at(made, "low") < at(made, "per_million") &&
                at(made, "per_million") < at(made, "high"));
    char *csv = week_csv(r, 0), *page = week_html(r, "");
    assert_null(strstr(csv, ",route,"));
    assert_non_null(strstr(csv, "2026-W46,line,\"2\",mold,"));
    assert_non_null(strstr(page, "<h3>By line</h3>"));
    assert_null(strstr(page, "<h3>By product</h3>"));
    free(csv);
    free(page);
    json_decref(r);
    json_decref(all);
}

static void what_nothing_is_counted_by_is_refused(void **state)
{
    unsigned by = 9;
    struct error err = {0};
    (void)state;
    assert_int_equal(cuts_parse("", &by, &err), 0);
    assert_int_equal(by, 0);
    assert_int_equal(cuts_parse("line,lin", &by, &err), ERROR_INVALID);
    assert_string_equal(err.field, "by");
    assert_string_equal(err.value, "lin");
    assert_int_equal(cuts_parse("all", &by, &err), ERROR_INVALID);
}

/* What is not usual is read only when it is asked for, and is rated all the same. */
static void plant_store_and_channel_on_request(void **state)
{
    struct plant *p = *state;
    int64_t lot = plant_lot(p, "1", 1, "A", plant_time("2026-11-17T05:00:00-05:00"), 1000);
    struct complaint_placed c =
        plant_complaint(p, lot, "mold", plant_time("2026-11-18T05:00:00-05:00"), "R1");
    plant_sent(p, lot, "R1", "0417", 1, 600);
    plant_sent(p, lot, "R1", "", 1, 400);
    pattern_count_lot(p->store, lot, PATTERN_OUT, NULL);
    plant_exec(p, "UPDATE lot SET plant='NY'; UPDATE complaint SET store='0417' WHERE id=%d",
               (int)c.complaint_id);
    assert_int_equal(move_lot_plant(p->store, lot, NULL), 0);
    pattern_count_lot(p->store, lot, PATTERN_IN, NULL);
    plant_check(p);
    json_t *all = report(p, "2026-W47", "2026-11-23T08:00:00-05:00");
    json_t *r = report_by(p, "plant,store,channel", "2026-W47", "2026-11-23T08:00:00-05:00");
    assert_null(row(all, "store", "0417", "mold"));
    assert_int_equal(at(row(all, "route", "R1", "mold"), "units"), 1000);
    assert_int_equal(at(row(r, "store", "0417", "mold"), "complaints"), 1);
    assert_int_equal(at(row(r, "store", "0417", "mold"), "units"), 600);
    assert_int_equal(at(row(r, "plant", "NY", "mold"), "units"), 1000);
    /* nothing is packed by phone: over all of it */
    assert_int_equal(at(row(r, "channel", "phone", "mold"), "complaints"), 1);
    assert_int_equal(at(row(r, "channel", "phone", "mold"), "units"), 1000);
    json_decref(all);
    json_decref(r);
}

static void an_empty_plant_has_a_week_too(void **state)
{
    struct plant *p = *state;
    json_t *r = report(p, "2026-W53", "2026-11-23T08:00:00-05:00");
    assert_int_equal(at(r, "units"), 0);
    assert_int_equal(json_array_size(json_object_get(r, "signals")), 0);
    char *page = week_html(r, "");
    assert_non_null(strstr(page, "Too early to tell"));
    free(page);
    json_decref(r);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(counts_are_of_the_week_in_the_plants_zone, setup, teardown),
        cmocka_unit_test_setup_teardown(what_came_later_is_left_out, setup, teardown),
        cmocka_unit_test_setup_teardown(a_cause_that_rules_have_no_more_keeps_no_week_back, setup,
                                        teardown),
        cmocka_unit_test_setup_teardown(a_shutdown_week_is_rated_by_what_is_on_sale, setup,
                                        teardown),
        cmocka_unit_test_setup_teardown(no_word_contradicts_a_signal, setup, teardown),
        cmocka_unit_test_setup_teardown(a_plant_too_young_to_tell_has_no_lasting_rise, setup,
                                        teardown),
        cmocka_unit_test_setup_teardown(a_rise_is_one_story_and_a_plain_sentence, setup, teardown),
        cmocka_unit_test_setup_teardown(a_first_complaint_is_compared_with_nothing, setup,
                                        teardown),
        cmocka_unit_test_setup_teardown(cases_of_harm_are_named, setup, teardown),
        cmocka_unit_test_setup_teardown(harm_since_the_week_stands_first, setup, teardown),
        cmocka_unit_test_setup_teardown(a_rise_goes_on, setup, teardown),
        cmocka_unit_test_setup_teardown(a_rise_back_at_its_usual_eases, setup, teardown),
        cmocka_unit_test_setup_teardown(a_rise_two_weeks_back_at_its_usual_is_over, setup,
                                        teardown),
        cmocka_unit_test_setup_teardown(a_rise_behind_the_plant_names_its_stores, setup, teardown),
        cmocka_unit_test_setup_teardown(a_rise_says_what_is_still_in_code, setup, teardown),
        cmocka_unit_test_setup_teardown(what_is_wanted_is_met_or_not_or_too_few_to_say, setup,
                                        teardown),
        cmocka_unit_test_setup_teardown(a_past_week_says_as_of_when, setup, teardown),
        cmocka_unit_test_setup_teardown(held_codes_on_no_record_are_not_counted_as_nothing, setup,
                                        teardown),
        cmocka_unit_test_setup_teardown(a_planted_rise_is_told, setup, teardown),
        cmocka_unit_test_setup_teardown(the_page_asks_nothing_of_anybody, setup, teardown),
        cmocka_unit_test_setup_teardown(weeks_without_a_forecast_are_drawn_as_they_are, setup,
                                        teardown),
        cmocka_unit_test(csv_has_all_tables),
        cmocka_unit_test_setup_teardown(csv_keeps_to_its_rules, setup, teardown),
        cmocka_unit_test_setup_teardown(rates_are_by_what_was_asked, setup, teardown),
        cmocka_unit_test(what_nothing_is_counted_by_is_refused),
        cmocka_unit_test_setup_teardown(plant_store_and_channel_on_request, setup, teardown),
        cmocka_unit_test_setup_teardown(an_empty_plant_has_a_week_too, setup, teardown),
    };
    gsl_set_error_handler_off();
    return cmocka_run_group_tests(tests, NULL, NULL);
}

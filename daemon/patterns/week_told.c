#include "patterns/week_told.h"
#include "base/plant_level.h"
#include "patterns/week_beside.h"
#include "patterns/week_falls.h"
#include "patterns/week_stores.h"
#include "patterns/week_words.h"
#include "rank/triage.h"
#include "rules/targets.h"
#include "store/case.h"
#include "store/evidence.h"
#include "store/pattern_span.h"
#include "tell/tell.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum {
    STORIES_SAID = 3,
    FALLS_SAID = 3,
    RIVALS_SAID = 2,
    BESIDE_SAID = 3
}; /* of the headline; the others are counted */

/* A lot is counted among those at risk from this probability on: rather than not. */
#define AT_RISK 0.5
/* So many complaints of one lot, and more than all others have, are told as that lot's; its
 * likeliest cause from this probability on. */
enum { ONE_LOT_LEAST = 2 };
#define LIKELY 0.5

/* ---- levels in words ---- */

static const struct week_level *level_at(const struct week_told *t, size_t index)
{
    return &t->model->data->levels[index];
}

static bool is_cause(const struct week_level *level)
{
    return level->cut && level->cut->source == CUT_CAUSE;
}

static const char *title_of(const struct week_told *t, const struct week_level *level)
{
    const char *title = t->triage ? triage_cause_title(t->triage, level->level) : NULL;
    return title ? title : level->level;
}

/* " on line 2"; nothing of all together. */
static void add_where(struct text_buffer *b, const struct week_told *t,
                      const struct week_level *level)
{
    if (!level->cut)
        return;
    if (*level->cut->where) {
        char name[PLANT_LEVEL];
        text_appendf(b, " %s %s", level->cut->where, plant_level(level->level, level->plant, name));
    } else {
        text_append(b, ", ");
        week_words_title(b, title_of(t, level));
    }
}

static json_t *level_json(const struct week_told *t, const struct week_level *level)
{
    json_t *out = json_pack("{s:s, s:s}", "factor", level->cut ? level->cut->name : "all", "level",
                            level->cut ? level->level : "complaints");
    plant_level_set(out, level->plant);
    if (is_cause(level))
        json_object_set_new(out, "title", json_string(title_of(t, level)));
    return out;
}

static int32_t monday_of(const struct week_told *t, int since)
{
    return tz_day(t->tz, t->model->data->shown.from_ms) - 7 * (WEEK_SPAN - 1 - since);
}

static void add_since(struct text_buffer *b, const struct week_told *t, const struct week_signal *s)
{
    if (s->since == WEEK_SPAN - 1) {
        text_append(b, " this week");
        return;
    }
    text_append(b, " since ");
    week_words_day(b, monday_of(t, s->since));
}

/* ", usual 6", ", usual none" */
static void add_usual(struct text_buffer *b, double usual)
{
    if (usual < 0.5)
        text_append(b, ", usual none");
    else
        text_appendf(b, ", usual %.0f", usual);
}

/* ---- how each symptom stands ---- */

static void add_chart_words(struct text_buffer *b, const json_t *chart)
{
    const json_t *weeks = json_object_get(chart, "weeks"), *sum = json_object_get(chart, "sum");
    const json_t *last = json_array_get(weeks, json_array_size(weeks) - 1);
    json_int_t signal = json_integer_value(json_object_get(last, "signal"));
    if (signal)
        week_words_piece(b, signal > 0 ? "above its limits" : "below its limits");
    if (json_is_true(json_object_get(sum, "alarm"))) {
        week_words_piece(b, "a lasting rise since ");
        text_append(b, json_string_value(json_object_get(sum, "since")));
    }
}

/* "up on line 2 since 2 November; 2 others": what goes on, else what is nearest to it. */
static bool add_stories_words(struct text_buffer *b, const struct week_told *t, int symptom,
                              const struct week_story *stories, size_t count)
{
    static const char *const WORDS[] = {
        [WEEK_UP] = "up", [WEEK_EASING] = "easing: was up", [WEEK_OVER] = "over: was up"};
    int others = 0;
    bool any = false, up = false;
    for (size_t i = 0; i < count; i++) {
        const struct week_signal *s = stories[i].led_by;
        if (s->symptom != symptom)
            continue;
        if (any && s->course != WEEK_UP) {
            others++;
            continue;
        }
        any = true;
        up |= s->course == WEEK_UP;
        week_words_piece(b, WORDS[s->course]);
        add_where(b, t, level_at(t, s->level));
        add_since(b, t, s);
    }
    if (others)
        text_appendf(b, "; %d %s easing or over", others, others == 1 ? "other" : "others");
    return up;
}

/* Chart and stories together: what either tells is no "within its limits". */
static json_t *standing_json(const struct week_told *t, const json_t *charts,
                             const struct week_story *stories, size_t count)
{
    json_t *out = json_object();
    for (int symptom = 0; symptom < WEEK_SYMPTOMS; symptom++) {
        struct text_buffer b = {0};
        add_chart_words(&b, json_object_get(charts, symptom_name(symptom)));
        bool up = add_stories_words(&b, t, symptom, stories, count);
        if (!b.length)
            text_append(&b, t->model->recent    ? "within its limits"
                            : t->model->unheard ? "nothing to compare with"
                                                : "too early to tell");
        json_object_set_new(out, symptom_name(symptom),
                            json_pack("{s:b, s:s}", "up", up, "says", b.data));
        text_buffer_free(&b);
    }
    return out;
}

/* ---- the lots of a story ---- */

/* Lots that complaints are about, and those that by their records most likely share the fault. */
struct affected {
    const json_t *holds;
    const struct week_shared *shared; /* of what bears this alone; NULL: of all */
    int32_t today;
    json_t *named; /* keys: the lots counted */
    int complained_of, in_code, held;
    double units_in_code;
    int64_t newest_case, newest_ms;
    int64_t complaints, most; /* of all lots on record; of the one with most of them … */
    int64_t most_case;        /* … whose case it is */
    char most_lot[LENGTH_CODE + 1];
    json_t *stores; /* where a cause after dispatch is the likely one: week_stores() */
};

static bool is_held(const json_t *holds, const char *lot)
{
    size_t i;
    const json_t *hold;
    json_array_foreach(holds, i, hold)
    {
        if (strcmp(json_string_value(json_object_get(hold, "lot")), lot) == 0)
            return true;
    }
    return false;
}

static void count_lot(struct affected *a, const char *lot, double units, bool in_code)
{
    if (json_object_get(a->named, lot))
        return;
    json_object_set_new(a->named, lot, json_true());
    a->held += is_held(a->holds, lot);
    a->in_code += in_code;
    a->units_in_code += in_code ? units : 0;
}

static int add_lot(void *arg, const struct pattern_hit *row)
{
    struct affected *a = arg;
    if (a->shared && !week_data_bears(a->shared, row->lot_id))
        return 0;
    a->complained_of++;
    a->complaints += row->complaints;
    if (row->complaints > a->most) {
        a->most = row->complaints;
        a->most_case = row->case_id;
        text_clip(row->lot, a->most_lot, sizeof a->most_lot);
    }
    count_lot(a, row->lot, (double)row->units, row->code_day >= a->today);
    if (row->newest_ms > a->newest_ms) {
        a->newest_ms = row->newest_ms;
        a->newest_case = row->case_id;
    }
    return 0;
}

/* ---- those that bear what leads ---- */

/* A material that went into more lots than these is no story's: all of them share it. */
enum { BEARERS_MOST = 4096 };

struct bearers {
    int64_t *lots;
    size_t count;
};

static int add_bearer(void *arg, const struct evidence_sharer *row)
{
    struct bearers *x = arg;
    x->lots[x->count++] = row->lot_id;
    return 0;
}

/* Whoever ate of them has not complained yet, or was not asked for: all that are in code count,
 * those packed since the week shown, too. */
static int add_bearers(const struct week_told *t, const struct week_level *level,
                       struct affected *a, struct error *err)
{
    const struct week_shared *shared = level->shared;
    const struct evidence_share of = {.kind = level->cut->name, .level = level->level};
    const char *plant = t->model->data->plant;
    struct bearers all = {.lots = xcalloc(shared->lot_count + BEARERS_MOST, sizeof *all.lots)};
    for (size_t i = 0; i < shared->lot_count; i++)
        all.lots[all.count++] = shared->lots[i];
    int rc = evidence_sharers(t->store, &of, BEARERS_MOST, add_bearer, &all, err);
    for (size_t i = 0; i < all.count && !rc; i++) {
        struct evidence_lot lot;
        rc = evidence_lot(t->store, all.lots[i], &lot, err);
        if (!rc && (!*plant || strcmp(plant, lot.plant) == 0) && lot.code_day >= a->today)
            count_lot(a, lot.lot, (double)lot.units, true);
    }
    free(all.lots);
    return rc;
}

/* What the likely cause reaches from the newest case. */
static int add_reached(const struct week_told *t, const char *cause, struct affected *a,
                       struct error *err)
{
    json_t *reach = NULL;
    const json_t *lots, *row;
    size_t i;
    const struct tell_asked asked = {
        .case_id = a->newest_case, .cause = cause, .now_ms = t->model->data->now_ms};
    int rc = tell_reach(t->triage, t->store, &asked, &reach, err);
    if (rc)
        return rc;
    lots = json_object_get(reach, "lots");
    json_array_foreach(lots, i, row)
    {
        if (json_number_value(json_object_get(row, "probability")) >= AT_RISK)
            count_lot(a, json_string_value(json_object_get(row, "lot")),
                      json_number_value(json_object_get(row, "units")),
                      json_is_true(json_object_get(row, "in_code")));
    }
    json_decref(reach);
    return 0;
}

static const struct week_level *cause_of(const struct week_told *t, const struct week_story *story)
{
    const struct week_level *led = level_at(t, story->led_by->level);
    if (is_cause(led))
        return led;
    return story->cause ? level_at(t, story->cause->level) : NULL;
}

/* What happened to bread behind the plant happened at a store or on the way to it. */
static int read_stores(const struct week_told *t, const struct week_level *cause,
                       const struct week_level *led, const struct pattern_scope *scope,
                       struct affected *ret, struct error *err)
{
    const struct week_stores_of of = {led, cause};
    if (!cause || !t->triage || triage_cause_in_plant(t->triage, cause->level) ||
        !triage_cause_of(t->triage, cause->level, scope->symptom))
        return 0;
    return week_stores(t->store, scope, &of, &ret->stores, err);
}

/* ret->named and ret->stores are the caller's. */
static int read_lots(const struct week_told *t, const struct week_story *story,
                     struct affected *ret, struct error *err)
{
    const struct week_data *d = t->model->data;
    const struct week_signal *s = story->led_by;
    const struct week_level *level = level_at(t, s->level), *cause = cause_of(t, story);
    bool counted = level->cut && !level->shared;
    const struct pattern_series of = {.factor = counted ? level->cut->name : "",
                                      .level = counted ? level->level : "",
                                      .plant = counted ? level->plant : ""};
    const struct when_span span = {tz_day_start_ms(t->tz, monday_of(t, s->since)), d->shown.to_ms};
    const struct pattern_scope scope = {.plant = d->plant,
                                        .symptom = symptom_name(s->symptom),
                                        .span = when_span_until(span, d->now_ms)};
    *ret = (struct affected){.holds = t->holds,
                             .shared = level->shared,
                             .today = tz_day(t->tz, d->now_ms),
                             .named = json_object()};
    int rc = pattern_span_hit(t->store, &scope, &of, add_lot, ret, err);
    if (!rc && level->shared)
        rc = add_bearers(t, level, ret, err);
    if (!rc)
        rc = read_stores(t, cause, level, &scope, ret, err);
    /* of a cause that rankings by former rules gave nothing is known that shares it */
    bool reaches = ret->newest_case && t->triage && cause &&
                   triage_cause_of(t->triage, cause->level, scope.symptom);
    return !rc && reaches ? add_reached(t, cause->level, ret, err) : rc;
}

static json_t *lots_json(const struct affected *a)
{
    return json_pack("{s:i, s:I, s:i, s:f, s:i}", "complained_of", a->complained_of, "at_risk",
                     (json_int_t)json_object_size(a->named), "in_code", a->in_code, "units_in_code",
                     a->units_in_code, "on_hold", a->held);
}

/* Do most come from one lot? Then what its lots share is no more than what that lot is. */
static bool is_one_lot(const struct affected *a)
{
    return a->most >= ONE_LOT_LEAST && 2 * a->most > a->complaints;
}

/* "; 5 of them of lot A-26322-02 (C37, most likely double preservative)". Beside harm no cause is
 * named. */
static void add_one_lot(struct text_buffer *b, const struct week_told *t, const struct affected *a)
{
    struct case_row row;
    if (!is_one_lot(a))
        return;
    if (a->most == a->complaints)
        text_appendf(b, "; all whose lot is known of lot %s", a->most_lot);
    else
        text_appendf(b, "; %lld of them of lot %s", (long long)a->most, a->most_lot);
    if (case_get(t->store, a->most_case, &row, NULL))
        return;
    text_appendf(b, " (C%lld%s", (long long)row.id, row.harm ? ", HARM" : "");
    bool harm = row.harm || case_may_harm(t->store, &row);
    const char *title = t->triage && !harm && row.top_probability >= LIKELY
                            ? triage_cause_title(t->triage, row.top_cause)
                            : NULL;
    if (title) {
        text_append(b, ", most likely ");
        week_words_title(b, title);
    }
    text_append(b, ")");
}

/* "; 47 629 packs still in code, 2 lots on hold", "; 6 000 packs of the lots complained of still in
 * code, no lot on hold" where no others are known to be at risk */
static void add_lots(struct text_buffer *b, const struct affected *a)
{
    if (!json_object_size(a->named))
        return;
    if (!a->in_code && !a->held) {
        text_append(b, "; none of its packs still in code");
        return;
    }
    text_append(b, "; ");
    bool more = a->shared || (int)json_object_size(a->named) > a->complained_of;
    week_words_count(b, a->units_in_code, "pack", "packs");
    text_append(b, more ? " still in code, " : " of the lots complained of still in code, ");
    if (a->held)
        week_words_count(b, a->held, "lot on hold", "lots on hold");
    else
        text_append(b, "no lot on hold");
}

/* ---- actions against it ---- */

static bool is_against(const struct week_told *t, const struct week_story *story,
                       const struct week_action *a)
{
    const struct week_level *led = level_at(t, story->led_by->level);
    const char *line = led->cut == cuts_find("line") ? led->level : "";
    const struct week_level *of = cause_of(t, story);
    const char *cause = of ? of->level : "";
    bool same_plant = !a->row.plant[0] || !*led->plant || strcmp(a->row.plant, led->plant) == 0;
    bool same_line = same_plant && strcmp(a->row.line, line) == 0,
         same_cause = strcmp(a->cause, cause) == 0;
    if (a->row.symptom[0] && strcmp(a->row.symptom, symptom_name(story->led_by->symptom)) != 0)
        return false;
    if (!same_plant || (*line && a->row.line[0] && !same_line) ||
        (*cause && a->cause[0] && !same_cause))
        return false;
    return (*line && same_line) || (*cause && same_cause);
}

void week_told_action(struct text_buffer *b, const struct tz *tz, const struct week_action *action)
{
    char note[61];
    text_append(b, "action of ");
    week_words_day(b, tz_day(tz, action->row.at_ms));
    text_appendf(b, " (%s): %s", text_clip(action->row.note, note, sizeof note), action->verdict);
}

/* The newest one says what was done last. */
static const struct week_action *add_action(struct text_buffer *b, const struct week_told *t,
                                            const struct week_story *story)
{
    for (int i = 0; i < t->action_count; i++) {
        if (is_against(t, story, &t->actions[i])) {
            text_append(b, "; ");
            week_told_action(b, t->tz, &t->actions[i]);
            t->actions[i].told = true;
            return &t->actions[i];
        }
    }
    return NULL;
}

/* ---- stories ---- */

/* "; beside it this week rope (6) and machine oil (2)" */
static int add_beside(struct text_buffer *b, const struct week_told *t,
                      const struct week_story *story, json_t *json, struct error *err)
{
    json_t *rows = NULL, *row;
    size_t i;
    const struct week_beside_of of = {level_at(t, story->led_by->level), cause_of(t, story),
                                      story->led_by->symptom, WEEK_SPAN - 1 - story->led_by->since};
    int rc = week_beside(t->store, t->model->data, &of, &rows, err);
    json_array_foreach(rows, i, row)
    {
        const char *cause = json_string_value(json_object_get(row, "cause"));
        const char *title = t->triage ? triage_cause_title(t->triage, cause) : NULL;
        json_object_set_new(row, "title", json_string(title ? title : cause));
        if (i >= BESIDE_SAID)
            continue;
        text_append(b, i ? " and " : "; beside it this week ");
        week_words_title(b, title ? title : cause);
        text_appendf(b, " (%lld)",
                     (long long)json_integer_value(json_object_get(row, "complaints")));
    }
    json_object_set(json, "beside", rows);
    json_decref(rows);
    return rc;
}

/* NAN: complaints of it have no price. */
static double cost_of(const struct week_told *t, const struct week_signal *s)
{
    return s->observed * targets_cost(t->targets, symptom_name(s->symptom));
}

/* What the lots complained of share as well. */
static bool is_rival(const struct week_told *t, const struct week_story *story, int k)
{
    const struct week_signal *s = story->beneath[k];
    return s->rival && level_at(t, s->level)->cut;
}

static json_t *rivals_json(const struct week_told *t, const struct week_story *story)
{
    json_t *out = json_array();
    for (int k = 0; k < story->count; k++) {
        if (is_rival(t, story, k))
            json_array_append_new(out, level_json(t, level_at(t, story->beneath[k]->level)));
    }
    return out;
}

/* "; or with film F-0911, or on line 3: the records do not tell these apart" */
static void add_rivals(struct text_buffer *b, const struct week_told *t,
                       const struct week_story *story)
{
    int said = 0;
    for (int k = 0; k < story->count && said < RIVALS_SAID; k++) {
        if (!is_rival(t, story, k))
            continue;
        text_append(b, said++ ? ", or" : "; or");
        add_where(b, t, level_at(t, story->beneath[k]->level));
    }
    text_append(b, said ? ": the records do not tell these apart" : "");
}

static json_t *story_json(const struct week_told *t, const struct week_story *story,
                          const struct affected *lots)
{
    const struct week_signal *s = story->led_by;
    char since[16];
    json_t *beneath = json_array();
    for (int k = 0; k < story->count; k++)
        json_array_append_new(beneath, level_json(t, level_at(t, story->beneath[k]->level)));
    json_t *out = json_pack(
        "{s:s, s:o, s:o, s:s, s:f, s:f, s:b, s:s, s:f, s:f}", "symptom", symptom_name(s->symptom),
        "led_by", level_json(t, level_at(t, s->level)), "beneath", beneath, "since",
        week_data_name(t->model->data->week - (WEEK_SPAN - 1 - s->since), since), "observed",
        round(s->observed * 100) / 100, "expected", round(s->expected * 100) / 100, "still",
        s->course == WEEK_UP, "course", week_signals_course(s->course), "newest",
        round(s->newest * 100) / 100, "newest_usual", round(s->newest_usual * 100) / 100);
    json_object_set_new(out, "or", rivals_json(t, story));
    json_object_set_new(out, "lots", lots_json(lots));
    json_object_set(out, "stores", lots->stores); /* or nothing, of NULL */
    if (is_one_lot(lots))
        json_object_set_new(out, "one_lot",
                            json_pack("{s:s, s:I, s:I}", "lot", lots->most_lot, "complaints",
                                      (json_int_t)lots->most, "of", (json_int_t)lots->complaints));
    if (isfinite(cost_of(t, s)))
        json_object_set_new(out, "cost", json_real(cost_of(t, s)));
    return out;
}

/* " (stores most named: 0417 in 9, 0103 in 2)" */
static void add_stores(struct text_buffer *b, const json_t *stores)
{
    size_t i;
    const json_t *one;
    json_array_foreach(stores, i, one)
    {
        text_appendf(b, "%s%s in %d", i ? ", " : " (stores most named: ",
                     json_string_value(json_object_get(one, "store")),
                     (int)json_integer_value(json_object_get(one, "complaints")));
    }
    text_append(b, i ? ")" : "");
}

/* "; easing: 3 this week, usual 4" */
static void add_course(struct text_buffer *b, const struct week_signal *s)
{
    if (s->course == WEEK_UP)
        return;
    text_appendf(b, "; %s: ", week_signals_course(s->course));
    if (s->newest < 0.5) {
        text_append(b, "none this week");
        return;
    }
    text_appendf(b, "%.0f this week", s->newest);
    add_usual(b, s->newest_usual);
}

/* "Mold on line 2: 21 complaints since 2 November, usual 6; most likely packed too hot; 47 629
 * packs still in code, 2 lots on hold; action of 20 November (second fan): too early to tell" */
static int say_story(const struct week_told *t, const struct week_story *story,
                     const struct affected *lots, json_t *headline, json_t *json, struct error *err)
{
    const struct week_signal *s = story->led_by;
    struct text_buffer b = {0};
    text_append(&b, symptom_name(s->symptom));
    add_where(&b, t, level_at(t, s->level));
    text_append(&b, ": ");
    week_words_count(&b, s->observed, "complaint", "complaints");
    if (isfinite(cost_of(t, s))) {
        text_append(&b, " (");
        week_words_money(&b, targets_currency(t->targets), cost_of(t, s));
        text_append(&b, ")");
    }
    add_since(&b, t, s);
    add_usual(&b, s->expected);
    add_course(&b, s);
    if (story->cause && story->cause != s) {
        text_append(&b, "; most likely ");
        week_words_title(&b, title_of(t, level_at(t, story->cause->level)));
    }
    add_rivals(&b, t, story);
    int rc = add_beside(&b, t, story, json, err);
    add_one_lot(&b, t, lots);
    add_stores(&b, lots->stores);
    add_lots(&b, lots);
    const struct week_action *action = add_action(&b, t, story);
    if (action)
        json_object_set_new(json, "action", json_integer(action->row.id));
    week_words_say(&b, headline);
    return rc;
}

/* "Nothing rose: mold 14 (usual 13), staling 3 (usual 2)" */
static void say_calm(const struct week_told *t, const json_t *charts, json_t *headline)
{
    struct text_buffer b = {0};
    text_append(&b, t->model->recent    ? "Nothing rose: "
                    : t->model->unheard ? "No complaints on record before this week; nothing to "
                                          "compare with: "
                                        : "Too early to tell what rose: ");
    for (int s = 0; s < WEEK_SYMPTOMS; s++) {
        const json_t *weeks = json_object_get(json_object_get(charts, symptom_name(s)), "weeks");
        const json_t *last = json_array_get(weeks, json_array_size(weeks) - 1);
        const json_t *expected = json_object_get(last, "expected");
        text_appendf(&b, "%s%s %.0f", s ? ", " : "", symptom_name(s),
                     t->model->data->levels[0].counts[s][WEEK_SPAN - 1]);
        if (json_is_number(expected))
            text_appendf(&b, " (usual %.0f)", json_number_value(expected));
    }
    week_words_say(&b, headline);
}

static bool has_story(int symptom, const struct week_story *stories, size_t count)
{
    while (count > 0 && stories[count - 1].led_by->symptom != symptom)
        count--;
    return count > 0;
}

/* "Mold: a lasting rise since 2026-W40": what the chart alone shows. */
static void say_charts(const json_t *charts, const struct week_story *stories, size_t count,
                       json_t *headline)
{
    for (int symptom = 0; symptom < WEEK_SYMPTOMS; symptom++) {
        struct text_buffer b = {0}, words = {0};
        add_chart_words(&words, json_object_get(charts, symptom_name(symptom)));
        if (words.length && !has_story(symptom, stories, count)) {
            text_appendf(&b, "%s: %s", symptom_name(symptom), words.data);
            week_words_say(&b, headline);
        }
        text_buffer_free(&words);
    }
}

/* "3 further rises, below", "3 further rises that eased, below" */
static void say_further(const struct week_story *stories, size_t said, size_t count,
                        json_t *headline)
{
    struct text_buffer b = {0};
    bool up = false;
    for (size_t i = said; i < count; i++)
        up |= stories[i].led_by->course == WEEK_UP;
    if (count <= said)
        return;
    text_appendf(&b, "%zu further %s%s, below", count - said, count - said == 1 ? "rise" : "rises",
                 up ? "" : " that eased");
    week_words_say(&b, headline);
}

static int add_stories(const struct week_told *t, const json_t *charts,
                       const struct week_story *stories, size_t count, json_t *report,
                       struct error *err)
{
    json_t *headline = json_object_get(report, "headline"), *list = json_array();
    size_t before = json_array_size(headline);
    int rc = 0;
    json_object_set_new(report, "stories", list);
    for (size_t i = 0; i < count && !rc; i++) {
        struct affected lots;
        rc = read_lots(t, &stories[i], &lots, err);
        json_t *story = story_json(t, &stories[i], &lots);
        json_array_append_new(list, story);
        if (i < STORIES_SAID && !rc)
            rc = say_story(t, &stories[i], &lots, headline, story, err);
        json_decref(lots.named);
        json_decref(lots.stores);
    }
    say_further(stories, STORIES_SAID, count, headline);
    say_charts(charts, stories, count, headline);
    if (json_array_size(headline) == before)
        say_calm(t, charts, headline);
    return rc;
}

/* ---- what fell ---- */

static json_t *fell_json(const struct week_told *t, const struct week_fall *falls, size_t count)
{
    json_t *out = json_array();
    for (size_t i = 0; i < count; i++) {
        json_t *row = level_json(t, level_at(t, falls[i].level));
        json_object_set_new(row, "symptom", json_string(symptom_name(falls[i].symptom)));
        json_object_set_new(row, "observed", json_real(falls[i].observed));
        json_object_set_new(row, "expected", json_real(round(falls[i].expected * 100) / 100));
        json_array_append_new(out, row);
    }
    return out;
}

/* "Fell: off-odor 4 in four weeks, usual 15; mold on line 2 3, usual 12" */
static void say_falls(const struct week_told *t, const struct week_fall *falls, size_t count,
                      json_t *headline)
{
    struct text_buffer b = {0};
    for (size_t i = 0; i < count && i < FALLS_SAID; i++) {
        text_appendf(&b, "%s%s", i ? "; " : "Fell in four weeks: ", symptom_name(falls[i].symptom));
        add_where(&b, t, level_at(t, falls[i].level));
        text_append(&b, " to ");
        if (falls[i].observed < 0.5)
            text_append(&b, "none");
        else
            text_appendf(&b, "%.0f", falls[i].observed);
        add_usual(&b, falls[i].expected);
    }
    if (count > FALLS_SAID)
        text_appendf(&b, "; %zu further", count - FALLS_SAID);
    if (count)
        week_words_say(&b, headline);
}

static void add_falls(const struct week_told *t, json_t *report)
{
    size_t count = 0;
    struct week_fall *falls = week_falls(t->model, &count);
    json_object_set_new(report, "fell", fell_json(t, falls, count));
    say_falls(t, falls, count, json_object_get(report, "headline"));
    free(falls);
}

int week_told(const struct week_told *told, json_t *report, struct error *err)
{
    struct week_story *stories = NULL;
    size_t count = 0;
    const json_t *charts = json_object_get(report, "charts");
    const struct week_risen risen = {told->store, told->model->data, told->signals,
                                     told->signal_count};
    int rc = week_stories(&risen, &stories, &count, err);
    if (rc)
        return rc;
    json_object_set_new(report, "standing", standing_json(told, charts, stories, count));
    rc = add_stories(told, charts, stories, count, report, err);
    free(stories);
    if (!rc)
        add_falls(told, report);
    return rc;
}

#include "patterns/week_head.h"
#include "base/text.h"
#include "base/typeset.h"
#include "desk/following.h"
#include "patterns/effect.h"
#include "patterns/span_rows.h"
#include "rank/triage.h"
#include "store/action.h"
#include "store/complaint.h"
#include "tell/hold_json.h"
#include <ctype.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum {
    OVERDUE_MOST = 50, /* listed; the others are counted */
    STORIES_SAID = 3,  /* of the headline; the others are counted */
    ACTIONS_MOST = 5,  /* the newest */
    ACTION_DAYS = 56,  /* … of the weeks in which an effect may show */
    EFFECT_DAYS = 28   /* to either side, as `action --effect` has it */
};

/* ---- words ---- */

static void add_count(struct text_buffer *b, double n, const char *one, const char *many)
{
    struct text_buffer digits = {0};
    text_appendf(&digits, "%.0f", n);
    typeset_digits(b, digits.data, " ");
    text_appendf(b, " %s", llround(n) == 1 ? one : many);
    text_buffer_free(&digits);
}

/* "2 November" */
static void add_day(struct text_buffer *b, int32_t day)
{
    static const char *const MONTHS[] = {"January",   "February", "March",    "April",
                                         "May",       "June",     "July",     "August",
                                         "September", "October",  "November", "December"};
    int year, month, day_of_month;
    day_to_civil(day, &year, &month, &day_of_month);
    text_appendf(b, "%d %s", day_of_month, MONTHS[month - 1]);
}

/* The first letter small, unless the word is all capitals ("PH"). */
static void add_title(struct text_buffer *b, const char *title)
{
    bool small = isupper((unsigned char)title[0]) && !isupper((unsigned char)title[1]);
    text_appendf(b, "%c%s", small ? tolower((unsigned char)title[0]) : title[0], title + 1);
}

static const struct week_level *level_of(const struct week_head *h, const struct week_signal *s)
{
    return &h->model->data->levels[s->level];
}

static const char *title_of(const struct week_head *h, const struct week_signal *s)
{
    const struct week_level *level = level_of(h, s);
    const char *title = h->triage ? triage_cause_title(h->triage, level->level) : NULL;
    return title ? title : level->level;
}

/* " on line 2"; nothing of all together. */
static void add_where(struct text_buffer *b, const struct week_head *h, const struct week_signal *s)
{
    const struct week_level *level = level_of(h, s);
    if (!level->cut)
        return;
    if (*level->cut->where) {
        text_appendf(b, " %s %s", level->cut->where, level->level);
    } else {
        text_append(b, ", ");
        add_title(b, title_of(h, s));
    }
}

static void add_since(struct text_buffer *b, const struct week_head *h, const struct week_signal *s)
{
    const struct week_data *d = h->model->data;
    if (s->since == WEEK_SPAN - 1) {
        text_append(b, " this week");
        return;
    }
    text_append(b, " since ");
    add_day(b, tz_day(h->tz, d->shown.from_ms) - 7 * (WEEK_SPAN - 1 - s->since));
}

/* ---- how each symptom stands ---- */

static void add_piece(struct text_buffer *b, const char *piece)
{
    text_appendf(b, "%s%s", b->length ? "; " : "", piece);
}

static void add_chart_words(struct text_buffer *b, const json_t *chart)
{
    const json_t *weeks = json_object_get(chart, "weeks"), *sum = json_object_get(chart, "sum");
    const json_t *last = json_array_get(weeks, json_array_size(weeks) - 1);
    json_int_t signal = json_integer_value(json_object_get(last, "signal"));
    if (signal)
        add_piece(b, signal > 0 ? "above its limits" : "below its limits");
    if (json_is_true(json_object_get(sum, "alarm"))) {
        add_piece(b, "a lasting rise since ");
        text_append(b, json_string_value(json_object_get(sum, "since")));
    }
}

/* Chart and signals together: what either tells is no "within its limits". */
static json_t *standing_json(const struct week_head *h, const json_t *charts,
                             const struct week_story *stories, size_t count)
{
    json_t *out = json_object();
    for (int symptom = 0; symptom < WEEK_SYMPTOMS; symptom++) {
        struct text_buffer b = {0};
        bool up = false;
        add_chart_words(&b, json_object_get(charts, symptom_name(symptom)));
        for (size_t i = 0; i < count; i++) {
            const struct week_signal *s = stories[i].led_by;
            if (s->symptom != symptom)
                continue;
            up |= s->still;
            add_piece(&b, s->still ? "up" : "was up");
            add_where(&b, h, s);
            add_since(&b, h, s);
        }
        if (!b.length)
            text_append(&b, h->model->recent ? "within its limits" : "too early to tell");
        json_object_set_new(out, symptom_name(symptom),
                            json_pack("{s:b, s:s}", "up", up, "says", b.data));
        text_buffer_free(&b);
    }
    return out;
}

/* ---- stories ---- */

static json_t *level_json(const struct week_head *h, const struct week_signal *s)
{
    const struct week_level *level = level_of(h, s);
    json_t *out = json_pack("{s:s, s:s}", "factor", level->cut ? level->cut->name : "all", "level",
                            level->cut ? level->level : "complaints");
    if (level->cut && level->cut->source == CUT_CAUSE)
        json_object_set_new(out, "title", json_string(title_of(h, s)));
    return out;
}

static json_t *stories_json(const struct week_head *h, const struct week_story *stories,
                            size_t count)
{
    json_t *out = json_array();
    for (size_t i = 0; i < count; i++) {
        const struct week_signal *s = stories[i].led_by;
        char since[16];
        json_t *beneath = json_array();
        for (int k = 0; k < stories[i].count; k++)
            json_array_append_new(beneath, level_json(h, stories[i].beneath[k]));
        json_array_append_new(
            out,
            json_pack("{s:s, s:o, s:o, s:s, s:f, s:f, s:b}", "symptom", symptom_name(s->symptom),
                      "led_by", level_json(h, s), "beneath", beneath, "since",
                      week_data_name(h->model->data->week - (WEEK_SPAN - 1 - s->since), since),
                      "observed", round(s->observed * 100) / 100, "expected",
                      round(s->expected * 100) / 100, "still", s->still));
    }
    return out;
}

/* "Mold on line 2: 21 complaints since 2 November, usual 6; most likely packed too hot" */
static void say_story(const struct week_head *h, const struct week_story *story, json_t *headline)
{
    const struct week_signal *s = story->led_by;
    struct text_buffer b = {0};
    text_append(&b, symptom_name(s->symptom));
    b.data[0] = (char)toupper((unsigned char)b.data[0]);
    add_where(&b, h, s);
    text_append(&b, ": ");
    add_count(&b, s->observed, "complaint", "complaints");
    add_since(&b, h, s);
    if (s->expected < 0.5)
        text_append(&b, ", usual none");
    else
        text_appendf(&b, ", usual %.0f", s->expected);
    if (story->cause && story->cause != s) {
        text_append(&b, "; most likely ");
        add_title(&b, title_of(h, story->cause));
    }
    text_append(&b, s->still ? "" : "; easing");
    json_array_append_new(headline, json_string(b.data));
    text_buffer_free(&b);
}

/* "Nothing rose: mold 14 (usual 13), staling 3 (usual 2)" */
static void say_calm(const struct week_head *h, const json_t *charts, json_t *headline)
{
    struct text_buffer b = {0};
    text_append(&b, h->model->recent ? "Nothing rose: " : "Too early to tell what rose: ");
    for (int s = 0; s < WEEK_SYMPTOMS; s++) {
        const json_t *weeks = json_object_get(json_object_get(charts, symptom_name(s)), "weeks");
        const json_t *last = json_array_get(weeks, json_array_size(weeks) - 1);
        const json_t *expected = json_object_get(last, "expected");
        text_appendf(&b, "%s%s %.0f", s ? ", " : "", symptom_name(s),
                     h->model->data->levels[0].counts[s][WEEK_SPAN - 1]);
        if (json_is_number(expected))
            text_appendf(&b, " (usual %.0f)", json_number_value(expected));
    }
    json_array_append_new(headline, json_string(b.data));
    text_buffer_free(&b);
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
        const char *name = symptom_name(symptom);
        struct text_buffer b = {0}, words = {0};
        add_chart_words(&words, json_object_get(charts, name));
        if (words.length && !has_story(symptom, stories, count)) {
            text_appendf(&b, "%c%s: %s", toupper((unsigned char)name[0]), name + 1, words.data);
            json_array_append_new(headline, json_string(b.data));
        }
        text_buffer_free(&b);
        text_buffer_free(&words);
    }
}

static void say_stories(const struct week_head *h, const json_t *charts,
                        const struct week_story *stories, size_t count, json_t *headline)
{
    size_t said = 0, before = json_array_size(headline);
    for (int still = 1; still >= 0; still--) {
        for (size_t i = 0; i < count; i++) {
            if (stories[i].led_by->still == still && said < STORIES_SAID) {
                say_story(h, &stories[i], headline);
                said++;
            }
        }
    }
    say_charts(charts, stories, count, headline);
    if (json_array_size(headline) == before)
        say_calm(h, charts, headline);
    if (count > said) {
        struct text_buffer b = {0};
        text_appendf(&b, "%zu further rises, below", count - said);
        json_array_append_new(headline, json_string(b.data));
        text_buffer_free(&b);
    }
}

/* ---- harm ---- */

struct listing {
    const struct week_head *head;
    json_t *list;
    int32_t today;
    double lots, unrecorded, units, units_in_code; /* held */
    struct action_row actions[ACTIONS_MOST];
    int count;
};

static void say_harm(const json_t *harm, json_t *headline)
{
    size_t n = json_array_size(harm);
    struct text_buffer b = {0};
    if (!n)
        return;
    add_count(&b, (double)n, "report of harm: it goes", "reports of harm: they go");
    text_append(&b, " by the plant's own procedure");
    json_array_append_new(headline, json_string(b.data));
    text_buffer_free(&b);
}

/* ---- holds ---- */

/* Several holds may stand on one lot. */
static bool is_listed(const json_t *list, const char *lot)
{
    size_t i;
    const json_t *item;
    json_array_foreach(list, i, item)
    {
        if (strcmp(json_string_value(json_object_get(item, "lot")), lot) == 0)
            return true;
    }
    return false;
}

static int add_hold(void *arg, const struct hold_row *row)
{
    struct listing *l = arg;
    char code[16];
    bool recorded = row->lot_id > 0, in_code = recorded && row->code_day >= l->today;
    json_t *item = hold_json(l->head->tz, row);
    if (!is_listed(l->list, row->lot)) {
        l->lots++;
        l->unrecorded += recorded ? 0 : 1;
        l->units += (double)row->units;
        l->units_in_code += in_code ? (double)row->units : 0;
    }
    json_object_set_new(item, "units", recorded ? json_integer(row->units) : json_null());
    json_object_set_new(item, "in_code", recorded ? json_boolean(in_code) : json_null());
    json_object_set_new(item, "code_date",
                        row->code_day == WHEN_UNKNOWN_DAY
                            ? json_null()
                            : json_string(day_format(row->code_day, code)));
    json_array_append_new(l->list, item);
    return 0;
}

/* What no record bears has no packs that could be counted. */
static void say_unrecorded(const struct listing *l, struct text_buffer *b)
{
    if (l->unrecorded >= l->lots)
        text_append(b, ", on no record: packs not known");
    else if (l->unrecorded > 0)
        text_appendf(b, " (%.0f of them on no record, packs not known)", l->unrecorded);
}

/* Holds are those of now: of a week that is over, the day is said. */
static void say_holds(const struct listing *l, json_t *headline)
{
    struct text_buffer b = {0};
    if (!json_array_size(l->list))
        return;
    add_count(&b, l->lots, "lot on hold", "lots on hold");
    if (l->head->model->data->passed >= 1) {
        text_append(&b, " as of ");
        add_day(&b, l->today);
    }
    say_unrecorded(l, &b);
    if (l->lots > l->unrecorded) {
        text_append(&b, ", ");
        add_count(&b, l->units, "pack; ", "packs; ");
        add_count(&b, l->units_in_code, "of them still in code", "of them still in code");
    }
    json_array_append_new(headline, json_string(b.data));
    text_buffer_free(&b);
}

/* ---- actions ---- */

static int add_action(void *arg, const struct action_row *row)
{
    struct listing *l = arg;
    const struct week_data *d = l->head->model->data;
    if (row->at_ms >= d->shown.to_ms || row->at_ms > d->now_ms ||
        row->at_ms < d->shown.from_ms - ACTION_DAYS * WHEN_DAY_MS)
        return 0;
    int i = l->count < ACTIONS_MOST ? l->count++ : 0;
    for (int k = 0; l->count == ACTIONS_MOST && k < l->count; k++)
        i = l->actions[k].at_ms < l->actions[i].at_ms ? k : i;
    l->actions[i] = *row;
    return 0;
}

static int by_newest(const void *a, const void *b)
{
    const struct action_row *x = a, *y = b;
    if (x->at_ms != y->at_ms)
        return x->at_ms > y->at_ms ? -1 : 1;
    return x->id > y->id ? -1 : x->id < y->id;
}

static void say_action(const struct week_head *h, const struct action_row *row, const char *verdict,
                       json_t *headline)
{
    struct text_buffer b = {0};
    char note[61];
    text_append(&b, "Action of ");
    add_day(&b, tz_day(h->tz, row->at_ms));
    text_appendf(&b, " (%s): %s", text_clip(row->note, note, sizeof note), verdict);
    json_array_append_new(headline, json_string(b.data));
    text_buffer_free(&b);
}

static int judge_action(const struct week_head *h, const struct action_row *row, json_t *list,
                        json_t *headline, struct error *err)
{
    json_t *effect = NULL;
    const struct effect_query query = {row->id, EFFECT_DAYS, h->model->data->now_ms};
    int rc = effect_report(h->store, h->tz, &query, &effect, err);
    if (rc)
        return rc;
    const char *verdict = json_string_value(json_object_get(effect, "verdict"));
    json_t *item = json_pack("{s:I, s:O, s:s, s:s, s:O}", "action", (json_int_t)row->id, "at",
                             json_object_get(effect, "at"), "note", row->note, "verdict", verdict,
                             "text", json_object_get(effect, "text"));
    say_action(h, row, verdict, headline);
    json_array_append_new(list, item);
    json_decref(effect);
    return 0;
}

/* ---- all of it ---- */

static int add_stories(const struct week_head *h, json_t *report, json_t *headline,
                       struct error *err)
{
    struct week_story *stories = NULL;
    size_t count = 0;
    const json_t *charts = json_object_get(report, "charts");
    const struct week_risen risen = {h->store, h->model->data, h->signals, h->signal_count};
    int rc = week_stories(&risen, &stories, &count, err);
    if (rc)
        return rc;
    json_object_set_new(report, "standing", standing_json(h, charts, stories, count));
    json_object_set_new(report, "stories", stories_json(h, stories, count));
    say_stories(h, charts, stories, count, headline);
    free(stories);
    return 0;
}

static int list_harm(const struct week_head *h, json_t *report, struct error *err)
{
    const struct week_data *d = h->model->data;
    json_t *harm = NULL;
    const struct when_span week = d->shown;
    int rc = span_rows_harm(h->store, h->tz, when_span_until(week, d->now_ms), &harm, err);
    if (!rc)
        json_object_set_new(report, "harm", harm);
    return rc;
}

static int list_holds(const struct week_head *h, json_t *report, json_t *headline,
                      struct error *err)
{
    const struct week_data *d = h->model->data;
    struct listing l = {.head = h, .list = json_array(), .today = tz_day(h->tz, d->now_ms)};
    json_object_set_new(report, "holds", l.list);
    int rc = hold_each_standing(h->store, d->now_ms, add_hold, &l, err);
    if (!rc)
        say_holds(&l, headline);
    return rc;
}

/* Cases past their day: those of now, as the holds are. */
static int list_overdue(const struct week_head *h, json_t *report, json_t *headline,
                        struct error *err)
{
    const struct week_data *d = h->model->data;
    int32_t today = tz_day(h->tz, d->now_ms);
    json_t *list = NULL;
    int64_t count = 0;
    struct text_buffer b = {0};
    int rc = following_overdue_json(h->store, today, OVERDUE_MOST, &list, &count, err);
    if (rc)
        return rc;
    json_object_set_new(report, "overdue", list);
    json_object_set_new(report, "overdue_count", json_integer(count));
    if (!count)
        return 0;
    add_count(&b, (double)count, "case past its day", "cases past their day");
    if (d->passed >= 1) {
        text_append(&b, " as of ");
        add_day(&b, today);
    }
    json_array_append_new(headline, json_string(b.data));
    text_buffer_free(&b);
    return 0;
}

static int list_actions(const struct week_head *h, json_t *report, json_t *headline,
                        struct error *err)
{
    struct listing *l = xcalloc(1, sizeof *l);
    l->head = h;
    l->list = json_array();
    json_object_set_new(report, "actions", l->list);
    int rc = action_list(h->store, add_action, l, err);
    qsort(l->actions, (size_t)l->count, sizeof l->actions[0], by_newest);
    for (int i = 0; i < l->count && !rc; i++)
        rc = judge_action(h, &l->actions[i], l->list, headline, err);
    free(l);
    return rc;
}

int week_head(const struct week_head *head, json_t *report, struct error *err)
{
    json_t *headline = json_array();
    json_object_set_new(report, "headline", headline);
    int rc = list_harm(head, report, err);
    if (!rc)
        say_harm(json_object_get(report, "harm"), headline);
    if (!rc)
        rc = add_stories(head, report, headline, err);
    if (!rc)
        rc = list_holds(head, report, headline, err);
    if (!rc)
        rc = list_overdue(head, report, headline, err);
    return rc ? rc : list_actions(head, report, headline, err);
}

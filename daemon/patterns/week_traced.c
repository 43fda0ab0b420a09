#include "patterns/week_traced.h"
#include "base/text.h"
#include "patterns/trace_cells.h"
#include "patterns/trace_due.h"
#include "patterns/trace_explain.h"
#include "patterns/trace_named.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { PACKED_DAYS = 56, COMPLAINTS_LEAST = 3 };
/* A story of the week is told from these odds on: each week asks anew, and of every symptom. From
 * e^3 on, as tracing, what was told more of quiet weeks was a material without a fault. */
#define LOG_ODDS_LEAST 5.0
/* One that comes to these odds beside others had more than these by itself (DEVELOPERS.md). */
#define LOOK_LEAST 1.0
/* A rival is told beside the likeliest from this part of its share of belief on. */
#define NEAR 0.25
/* So much of the likeliest's complaints are of a material's lots, too: they coincide. */
#define COINCIDES 0.9

struct tracing {
    const struct week_traced *by;
    struct when_span packed;
    struct trace_lots *lots; /* read when a symptom needs them, for all */
    int symptom;
    struct week_signal *signals;
    size_t count;
};

/* ---- complaints of a stretch ---- */

struct stretch {
    const size_t *lots; /* indexes, ascending */
    size_t count;
};

static struct stretch stretch_of(const struct trace_lots *t, const struct trace_blame *b)
{
    return (struct stretch){t->levels[b->level].lots + b->first, b->last - b->first + 1};
}

static int by_index(const void *a, const void *b)
{
    size_t x = *(const size_t *)a, y = *(const size_t *)b;
    return (x > y) - (x < y);
}

/* Of a store or route: one that names another is not counted. */
static bool is_in(const struct trace_lots *t, const struct trace_blame *b,
                  const struct trace_sent *report)
{
    const struct stretch s = stretch_of(t, b);
    const char *factor = t->levels[b->level].factor;
    if (t->levels[b->level].only_named)
        return report->store == b->level + 1;
    bool in = bsearch(&report->lot, s.lots, s.count, sizeof *s.lots, by_index) != NULL;
    if (strcmp(factor, "store") == 0)
        return in && (!report->store || report->store == b->level + 1);
    if (strcmp(factor, "retailer") == 0)
        return in && (!report->store || report->retailer == b->level + 1);
    if (strcmp(factor, "route") == 0)
        return in && (!report->route || report->route == b->level + 1);
    return in;
}

struct course {
    int newest, weeks; /* complaints of the week shown; weeks since the first one, that included */
};

static struct course course_of(const struct tracing *t, const struct trace_blame *b)
{
    const struct when_span *shown = &t->by->data->shown;
    const struct trace_trips *reports = &t->lots->reports;
    struct course c = {0, 1};
    for (size_t i = 0; i < reports->count; i++) {
        const struct trace_sent *report = &reports->rows[i];
        if (!is_in(t->lots, b, report))
            continue;
        int64_t before_ms = shown->from_ms - report->at_ms;
        int weeks = before_ms > 0 ? 2 + (int)((before_ms - 1) / (7 * WHEN_DAY_MS)) : 1;
        c.newest += report->at_ms >= shown->from_ms;
        c.weeks = weeks > c.weeks && weeks <= WEEK_SPAN ? weeks : c.weeks;
    }
    return c;
}

/* ---- signals ---- */

static struct week_shared *share(const struct trace_lots *t, const struct trace_level *level)
{
    struct week_shared *out = xcalloc(1, sizeof *out);
    out->lots = xcalloc(level->count, sizeof *out->lots);
    out->lot_count = level->count;
    for (size_t i = 0; i < level->count; i++)
        out->lots[i] = t->lots[level->lots[i]].lot_id;
    return out;
}

static int by_id(const void *a, const void *b)
{
    int64_t x = *(const int64_t *)a, y = *(const int64_t *)b;
    return (x > y) - (x < y);
}

static size_t level_of(const struct tracing *t, const struct trace_blame *b)
{
    const struct trace_level *level = &t->lots->levels[b->level];
    struct week_shared *shared = NULL;
    if (!cuts_find(level->factor)) {
        shared = share(t->lots, level);
        qsort(shared->lots, shared->lot_count, sizeof *shared->lots, by_id);
    }
    const struct week_named named = {level->factor, level->level, level->plant};
    return week_data_level(t->by->data, &named, shared);
}

static struct week_signal *signal_of(struct tracing *t, size_t level)
{
    for (size_t i = 0; i < t->count; i++) {
        if (t->signals[i].level == level && t->signals[i].symptom == t->symptom)
            return &t->signals[i];
    }
    return NULL;
}

static struct week_signal *add_signal(struct tracing *t, size_t level, const struct trace_blame *b,
                                      double evidence)
{
    struct course c = course_of(t, b);
    double odds = exp(-evidence);
    t->signals = xrealloc(t->signals, (t->count + 1) * sizeof *t->signals);
    struct week_signal *s = &t->signals[t->count++];
    *s = (struct week_signal){.level = level,
                              .symptom = t->symptom,
                              .since = WEEK_SPAN - c.weeks,
                              .newest = c.newest,
                              .newest_usual = b->expected / c.weeks,
                              .observed = b->observed,
                              .expected = b->expected,
                              .phi = 1,
                              .p = odds / (1 + odds),
                              .q = odds / (1 + odds)};
    s->course = s->newest > s->newest_usual ? WEEK_UP : WEEK_EASING;
    week_signals_size_up(s);
    return s;
}

/* What all lots bear tells none apart, but for stores that all of them go to: callers name them.
 * The hour of a line is told beside the run. */
static bool tells(const struct trace_lots *t, const struct trace_blame *b)
{
    const struct trace_level *level = &t->levels[b->level];
    bool some = trace_cells_is_sent(t, b->level) || level->count * 10 < t->count * 9;
    return some && strcmp(level->factor, "line-hour") != 0;
}

/* What share of the complaints about a stretch are about lots of another. */
static double borne(const struct trace_lots *t, const struct trace_blame *b,
                    const struct trace_blame *by)
{
    const struct stretch s = stretch_of(t, b), other = stretch_of(t, by);
    double all = 0, both = 0;
    for (size_t i = 0; i < s.count; i++) {
        int complaints = t->lots[s.lots[i]].complaints;
        all += complaints;
        if (complaints && bsearch(&s.lots[i], other.lots, other.count, sizeof *s.lots, by_index))
            both += complaints;
    }
    return all > 0 ? both / all : 0;
}

/* A lot of a material that all of it is about is told beside a likelier line which fits no better:
 * that lines are oftener in trouble is all that is for the line. */
static bool is_near(const struct tracing *t, const struct trace_blame *first,
                    const struct trace_blame *b)
{
    const struct trace_level *level = &t->lots->levels[b->level];
    if (b->share >= NEAR * first->share)
        return true;
    return !cuts_find(level->factor) && b->fit >= first->fit &&
           borne(t->lots, first, b) >= COINCIDES;
}

static void take_story(struct tracing *t, const struct trace_story *story)
{
    if (story->evidence < LOG_ODDS_LEAST || !course_of(t, &story->of[0]).newest)
        return;
    const struct trace_blame *first = NULL;
    for (int i = 0; i < story->count; i++) {
        if (!tells(t->lots, &story->of[i]) || (first && !is_near(t, first, &story->of[i])))
            continue;
        size_t level = level_of(t, &story->of[i]);
        struct week_signal *s = signal_of(t, level);
        if (!s)
            s = add_signal(t, level, &story->of[i], story->evidence);
        s->leads |= !first;
        s->rival |= first != NULL;
        first = first ? first : &story->of[i];
        s->evidence = fmax(s->evidence, story->evidence);
    }
}

static void mark(struct trace_lots *t)
{
    for (size_t i = 0; i < t->count; i++)
        t->lots[i].failed = t->lots[i].complaints > 0;
}

static int read_lots(struct tracing *t, struct error *err)
{
    if (t->lots)
        return 0;
    const struct trace_packed packed = {t->packed, t->by->data->plant};
    return trace_lots_read(t->by->store, t->by->tz, &packed, &t->lots, err);
}

static int trace_symptom(struct tracing *t, struct error *err)
{
    const struct week_data *d = t->by->data;
    struct trace_story stories[TRACE_STORIES];
    const struct trace_asked asked = {symptom_name(t->symptom), t->packed,
                                      when_span_until(t->packed, d->now_ms).to_ms};
    if (d->levels[0].counts[t->symptom][WEEK_SPAN - 1] < COMPLAINTS_LEAST)
        return 0;
    int rc = read_lots(t, err);
    if (!rc)
        rc = trace_named_read(t->lots, t->by->store, &asked, err);
    if (!rc)
        rc = trace_lots_report(t->lots, t->by->store, &asked, err);
    if (rc)
        return rc;
    mark(t->lots);
    trace_due(t->lots, &t->by->model->lag[t->symptom], asked.until_ms);
    if (!trace_explain(t->lots, LOOK_LEAST, stories))
        return error_set(err, ERROR_BUSY, "whoever asked has gone");
    for (int k = 0; k < TRACE_STORIES; k++)
        take_story(t, &stories[k]);
    return 0;
}

int week_traced(const struct week_traced *by, struct week_signal **signals, size_t *count,
                struct error *err)
{
    int64_t to_ms = by->data->shown.to_ms;
    struct tracing t = {.by = by,
                        .packed = {to_ms - PACKED_DAYS * WHEN_DAY_MS, to_ms},
                        .signals = *signals,
                        .count = *count};
    int rc = 0;
    for (t.symptom = 0; t.symptom < WEEK_SYMPTOMS && !rc; t.symptom++)
        rc = trace_symptom(&t, err);
    trace_lots_free(t.lots);
    week_signals_sort(t.signals, t.count);
    *signals = t.signals;
    *count = t.count;
    return rc;
}

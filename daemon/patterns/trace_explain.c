#include "patterns/trace_explain.h"
#include "base/text.h"
#include "patterns/trace_weigh.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { SWEEPS = 3, LOTS_LEAST = 2 };
/* A trouble is told from these odds on; what else would come next only puts factors in order. */
#define LOG_ODDS_LEAST 3.0
#define SHARE_LEAST 0.02

/* How often troubles are of which kind before anything is known, and whether they come and go
 * within the level (common practice, no source; lines, products and shifts by invented plants:
 * DEVELOPERS.md). The last is for every material. */
static const struct kind {
    const char *factor;
    double prior;
    bool stretches;
} KINDS[] = {{"line", 0.45, true},      {"product", 0.03, true},    {"shift", 0.03, true},
             {"route", 0.08, true},     {"store", 0.08, true},      {"retailer", 0.02, true},
             {"plant", 0.01, true},     {"line-hour", 0.02, false}, {"mix", 0.04, false},
             {"supplier", 0.02, false}, {NULL, 0.02, false}};

struct candidate {
    size_t level;
    bool stretches;
    double log_prior;
    struct trace_weighed weighed;
};

struct explaining {
    const struct trace_lots *t;
    struct trace_cells *c;
    struct trace_weigher *w;
    struct candidate *candidates;
    size_t count;
    double *times[TRACE_STORIES]; /* by cell: what each story makes of the usual */
    double held[TRACE_STORIES];   /* how likely there is such a trouble at all */
    double *now;
    struct trace_story *stories;
    int story_count;
    bool dropped;
};

/* ---- candidates ---- */

static const struct kind *kind_of(const char *factor)
{
    const struct kind *k = KINDS;
    while (k->factor && strcmp(k->factor, factor) != 0)
        k++;
    return k;
}

/* One lot's own mix is no common factor; its line is. */
static bool is_candidate(const struct trace_lots *t, size_t level)
{
    return t->levels[level].count >= LOTS_LEAST;
}

struct factor {
    const char *name;
    size_t levels;
};

/* The list ends with one that has no name. */
static struct factor *factor_of(struct factor *list, const char *name)
{
    while (list->name && strcmp(list->name, name) != 0)
        list++;
    list->name = name;
    return list;
}

/* The levels of a factor share what is likely of it, those that callers name too seldom to be
 * looked at, too. */
static void take_candidates(struct explaining *e)
{
    const struct trace_lots *t = e->t;
    struct factor *factors = xcalloc(t->level_count + 1, sizeof *factors);
    e->candidates = xcalloc(t->level_count + 1, sizeof *e->candidates);
    for (size_t i = 0; i < t->level_count; i++)
        factor_of(factors, t->levels[i].factor)->levels +=
            is_candidate(t, i) || t->levels[i].only_named;
    for (size_t i = 0; i < t->level_count; i++) {
        const struct kind *kind = kind_of(t->levels[i].factor);
        double levels = (double)factor_of(factors, t->levels[i].factor)->levels;
        if (is_candidate(t, i))
            e->candidates[e->count++] = (struct candidate){
                .level = i, .stretches = kind->stretches, .log_prior = log(kind->prior / levels)};
    }
    free(factors);
}

/* ---- one trouble beside the others ---- */

static int by_weight(const void *a, const void *b)
{
    const struct candidate *x = a, *y = b;
    double wx = x->log_prior + x->weighed.evidence, wy = y->log_prior + y->weighed.evidence;
    if (wx != wy)
        return wx > wy ? -1 : 1;
    return (x->level > y->level) - (x->level < y->level);
}

static void set_now(struct explaining *e, int beside)
{
    memcpy(e->now, e->c->usual, e->c->count * sizeof *e->now);
    for (int s = 0; s < e->story_count; s++) {
        for (size_t k = 0; k < e->c->count && s != beside; k++)
            e->now[k] *= 1 + e->held[s] * (e->times[s][k] - 1);
    }
    trace_weigh_beside(e->w, e->now);
}

static bool is_dropped(struct explaining *e)
{
    e->dropped = e->dropped || (e->t->store && store_is_dropped(e->t->store));
    return e->dropped;
}

static double weigh_all(struct explaining *e)
{
    double total = -INFINITY;
    for (size_t i = 0; i < e->count && !is_dropped(e); i++) {
        struct candidate *k = &e->candidates[i];
        trace_weigh(e->w, k->level, k->stretches, &k->weighed);
        double weight = k->log_prior + k->weighed.evidence;
        double high = fmax(total, weight);
        total = high + log(exp(total - high) + exp(weight - high));
    }
    qsort(e->candidates, e->count, sizeof *e->candidates, by_weight);
    return total;
}

static void raise(struct explaining *e, int story, const struct trace_blame *b)
{
    const struct trace_level *l = &e->t->levels[b->level];
    bool sent = trace_cells_is_sent(e->t, b->level);
    for (size_t i = b->first; i <= b->last; i++) {
        for (size_t k = e->c->first[l->lots[i]]; k < e->c->first[l->lots[i] + 1]; k++) {
            e->times[story][k] +=
                b->share * (b->ratio - 1) * trace_cells_in(e->c, &e->c->cell[k], b->level, sent);
        }
    }
}

static void fit_story(struct explaining *e, int story)
{
    struct trace_story *s = &e->stories[story];
    set_now(e, story);
    *s = (struct trace_story){.evidence = weigh_all(e)};
    for (size_t i = 0; i < e->count && !e->dropped && s->count < TRACE_BLAMES; i++) {
        const struct candidate *k = &e->candidates[i];
        double share = exp(k->log_prior + k->weighed.evidence - s->evidence);
        if (share < SHARE_LEAST)
            break;
        s->of[s->count++] = (struct trace_blame){.level = k->level,
                                                 .share = share,
                                                 .fit = k->weighed.evidence,
                                                 .first = k->weighed.first,
                                                 .last = k->weighed.last,
                                                 .throughout = k->weighed.throughout,
                                                 .ratio = k->weighed.ratio};
    }
    for (size_t k = 0; k < e->c->count; k++)
        e->times[story][k] = 1;
    for (int i = 0; i < s->count; i++)
        raise(e, story, &s->of[i]);
    e->held[story] = 1;
}

static double likely(double log_odds)
{
    return 1 / (1 + exp(-log_odds));
}

/* Each that is rather there than not beside the others as likely as those are there at all: six
 * weak ones would take from a strong one what they only might explain. The weak ones stay, for the
 * order they give. */
static void weigh_again(struct explaining *e)
{
    for (int s = 0; s < e->story_count; s++)
        e->held[s] = likely(e->stories[s].evidence);
    for (int s = 0; s < e->story_count && !e->dropped; s++) {
        double held = e->held[s];
        if (e->stories[s].evidence < 0)
            continue;
        fit_story(e, s);
        e->held[s] = fmax(held, likely(e->stories[s].evidence));
    }
}

static void fit(struct explaining *e, double least)
{
    fit_story(e, e->story_count++);
    if (e->stories[0].evidence < least)
        return;
    while (e->story_count < TRACE_STORIES && !e->dropped)
        fit_story(e, e->story_count++);
    for (int sweep = 1; sweep < SWEEPS; sweep++) {
        for (int s = 0; s < e->story_count && !e->dropped; s++)
            fit_story(e, s);
    }
    weigh_again(e);
}

/* ---- what it comes to ---- */

static void count_blame(struct explaining *e, struct trace_blame *b, int story)
{
    const struct trace_level *l = &e->t->levels[b->level];
    bool sent = trace_cells_is_sent(e->t, b->level);
    double *due = xcalloc(e->c->week_count + 1, sizeof *due);
    for (size_t k = 0; k < e->c->count; k++)
        due[e->c->week[e->c->cell[k].lot]] += e->now[k] * e->times[story][k];
    for (size_t i = b->first; i <= b->last; i++) {
        size_t lot = l->lots[i], week = e->c->week[lot];
        double level = (1 + e->c->came[week]) / (1 + due[week]);
        for (size_t k = e->c->first[lot]; k < e->c->first[lot + 1]; k++)
            b->expected += level * e->now[k] * trace_cells_in(e->c, &e->c->cell[k], b->level, sent);
        double left = (double)trace_cells_came(e->c, lot);
        for (size_t r = e->c->report[lot]; sent && left > 0 && r < e->c->report[lot + 1]; r++) {
            b->observed += trace_cells_share(e->c, e->now, lot, &e->t->reports.rows[r], b->level);
            left--;
        }
        b->observed += sent ? left * trace_cells_share(e->c, e->now, lot, NULL, b->level) : left;
    }
    free(due);
}

static int by_evidence(const void *a, const void *b)
{
    const struct trace_story *x = a, *y = b;
    return x->evidence < y->evidence ? 1 : x->evidence > y->evidence ? -1 : 0;
}

bool trace_explain(const struct trace_lots *t, double least, struct trace_story ret[TRACE_STORIES])
{
    memset(ret, 0, TRACE_STORIES * sizeof *ret);
    struct explaining e = {.t = t, .stories = ret};
    e.c = trace_cells_new(t);
    e.w = trace_weigh_new(e.c);
    e.now = xcalloc(e.c->count + 1, sizeof *e.now);
    for (int s = 0; s < TRACE_STORIES; s++)
        e.times[s] = xcalloc(e.c->count + 1, sizeof *e.times[s]);
    take_candidates(&e);
    fit(&e, least);
    for (int s = 0; s < e.story_count; s++) {
        set_now(&e, s);
        for (int i = 0; i < ret[s].count; i++)
            count_blame(&e, &ret[s].of[i], s);
        ret[s].told = ret[s].evidence >= LOG_ODDS_LEAST;
    }
    qsort(ret, (size_t)e.story_count, sizeof *ret, by_evidence);
    for (int s = 0; s < TRACE_STORIES; s++)
        free(e.times[s]);
    free(e.now);
    free(e.candidates);
    trace_weigh_free(e.w);
    trace_cells_free(e.c);
    return !e.dropped;
}

/* Complaints are Poisson, their rates those of `now` times the week's, which is a gamma variable of
 * mean 1 and shape WEEK_SHAPE: integrated out, a level in trouble with ratio r changes the
 * likelihood by the product over complaints of 1 + (r - 1) q, q the share of it that may be the
 * level's, and over weeks of ((a + E) / (a + E + (r - 1) X))^(a + N): N complaints, E expected, X
 * of them in the level. A week in which everything rose says nothing of any part of it. */
#include "patterns/trace_weigh.h"
#include "base/text.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { SIZES = 5 };
static const double RATIOS[SIZES] = {2, 5, 12, 30, 80};

#define WEEK_SHAPE 4.0
/* A level of which stretches are looked at was in trouble throughout as often as this. */
#define THROUGHOUT 0.3
#define NEVER (-1e300)

struct trace_weigher {
    const struct trace_cells *c;
    const double *now;
    double *expected; /* of a week */
    /* of the level at hand, by its lots; sums of those before, one more at the end */
    double *exposed, *gain[SIZES];
    /* … and of its whole weeks */
    double *whole[SIZES];
    /* what its week says against a lot and those behind it, and against those before a lot */
    double *from[SIZES], *to[SIZES];
    size_t *weeks; /* index of its first lot in each of its weeks; one more */
    size_t *at;    /* which of those a lot is in */
    bool *reported;
    size_t count, week_count;
};

struct trace_weigher *trace_weigh_new(const struct trace_cells *c)
{
    struct trace_weigher *w = xcalloc(1, sizeof *w);
    size_t lots = c->t->count + 2;
    *w = (struct trace_weigher){.c = c,
                                .expected = xcalloc(lots, sizeof *w->expected),
                                .exposed = xcalloc(lots, sizeof *w->exposed),
                                .weeks = xcalloc(lots, sizeof *w->weeks),
                                .at = xcalloc(lots, sizeof *w->at),
                                .reported = xcalloc(lots, sizeof *w->reported)};
    for (int s = 0; s < SIZES; s++) {
        w->gain[s] = xcalloc(lots, sizeof *w->gain[s]);
        w->whole[s] = xcalloc(lots, sizeof *w->whole[s]);
        w->from[s] = xcalloc(lots, sizeof *w->from[s]);
        w->to[s] = xcalloc(lots, sizeof *w->to[s]);
    }
    return w;
}

void trace_weigh_free(struct trace_weigher *w)
{
    if (!w)
        return;
    for (int s = 0; s < SIZES; s++) {
        free(w->gain[s]);
        free(w->whole[s]);
        free(w->from[s]);
        free(w->to[s]);
    }
    free(w->expected);
    free(w->exposed);
    free(w->weeks);
    free(w->at);
    free(w->reported);
    free(w);
}

void trace_weigh_beside(struct trace_weigher *w, const double *now)
{
    const struct trace_cells *c = w->c;
    w->now = now;
    memset(w->expected, 0, c->week_count * sizeof *w->expected);
    for (size_t k = 0; k < c->count; k++)
        w->expected[c->week[c->cell[k].lot]] += now[k];
}

/* ---- a level's lots ---- */

static double exposed_of(const struct trace_weigher *w, size_t lot, size_t level, bool sent)
{
    const struct trace_cells *c = w->c;
    double x = 0;
    for (size_t k = c->first[lot]; k < c->first[lot + 1]; k++)
        x += trace_cells_in(&c->cell[k], level, sent) ? w->now[k] : 0;
    return x;
}

static void add_gain(double gain[SIZES], double share, double complaints)
{
    for (int s = 0; s < SIZES && share > 0; s++)
        gain[s] += complaints * log1p((RATIOS[s] - 1) * share);
}

/* Whether any report may be the level's. */
static bool gain_of(const struct trace_weigher *w, size_t lot, size_t level, bool sent,
                    double gain[SIZES])
{
    const struct trace_cells *c = w->c;
    double left = (double)trace_cells_came(c, lot), any = 0;
    if (left <= 0)
        return false;
    for (size_t r = c->report[lot]; sent && r < c->report[lot + 1]; r++) {
        double share = trace_cells_share(c, w->now, lot, &c->t->reports.rows[r], level);
        add_gain(gain, share, 1);
        any += share;
        left--;
    }
    if (left > 0) {
        double share = sent ? trace_cells_share(c, w->now, lot, NULL, level) : 1;
        add_gain(gain, share, left);
        any += share * left;
    }
    return any > 0.25;
}

static void take_lots(struct trace_weigher *w, size_t level)
{
    const struct trace_level *l = &w->c->t->levels[level];
    bool sent = trace_cells_is_sent(w->c->t, level);
    w->count = l->count;
    w->week_count = 0;
    for (size_t i = 0; i < l->count; i++) {
        double gain[SIZES] = {0};
        if (!i || w->c->week[l->lots[i]] != w->c->week[l->lots[i - 1]])
            w->weeks[w->week_count++] = i;
        w->at[i] = w->week_count - 1;
        w->reported[i] = gain_of(w, l->lots[i], level, sent, gain);
        w->exposed[i + 1] = w->exposed[i] + exposed_of(w, l->lots[i], level, sent);
        for (int s = 0; s < SIZES; s++)
            w->gain[s][i + 1] = w->gain[s][i] + gain[s];
    }
    w->weeks[w->week_count] = l->count;
}

/* ---- stretches ---- */

/* What a week says against a ratio: more were expected than came. */
static double against(const struct trace_weigher *w, const struct trace_level *l, size_t from,
                      size_t to, int size)
{
    if (from >= to)
        return 0;
    size_t week = w->c->week[l->lots[from]];
    double x = w->exposed[to] - w->exposed[from];
    return (WEEK_SHAPE + w->c->came[week]) *
           log1p((RATIOS[size] - 1) * x / (WEEK_SHAPE + w->expected[week]));
}

static void take_weeks(struct trace_weigher *w, const struct trace_level *l)
{
    for (int s = 0; s < SIZES; s++) {
        for (size_t k = 0; k < w->week_count; k++)
            w->whole[s][k + 1] = w->whole[s][k] + against(w, l, w->weeks[k], w->weeks[k + 1], s);
        for (size_t i = 0; i < l->count; i++) {
            w->from[s][i] = against(w, l, i, w->weeks[w->at[i] + 1], s);
            w->to[s][i + 1] = against(w, l, w->weeks[w->at[i]], i + 1, s);
        }
    }
}

static double log_likelihood(const struct trace_weigher *w, const struct trace_level *l,
                             size_t from, size_t to, int size)
{
    size_t first = w->at[from], last = w->at[to - 1];
    double sum = w->gain[size][to] - w->gain[size][from];
    if (first == last)
        return sum - against(w, l, from, to, size);
    sum -= w->from[size][from];
    sum -= w->whole[size][last] - w->whole[size][first + 1];
    sum -= w->to[size][to];
    return sum;
}

static double log_sum(double a, double b)
{
    return a < b ? b + log1p(exp(a - b)) : a + log1p(exp(b - a));
}

struct best {
    double total, best;
    struct trace_weighed *ret;
};

static void try_stretch(const struct trace_weigher *w, const struct trace_level *l, size_t from,
                        size_t to, double log_prior, struct best *b)
{
    double size[SIZES], sum = NEVER, ratio = 0;
    for (int s = 0; s < SIZES; s++) {
        size[s] = log_likelihood(w, l, from, to, s);
        sum = log_sum(sum, size[s]);
    }
    for (int s = 0; s < SIZES; s++)
        ratio += RATIOS[s] * exp(size[s] - sum);
    double weight = log_prior + sum - log(SIZES);
    b->total = log_sum(b->total, weight);
    if (weight <= b->best)
        return;
    b->best = weight;
    b->ret->first = from;
    b->ret->last = to - 1;
    b->ret->ratio = ratio;
}

/* The longer the rarer, half of it by the root of the length (on invented plants better than all of
 * it, or none); one that ends where nobody complained is explained as well by a shorter one. */
static void try_stretches(const struct trace_weigher *w, const struct trace_level *l,
                          struct best *b)
{
    double n = (double)l->count, base = log(1 - THROUGHOUT) - log(n) - log(1 + log(n));
    for (size_t from = 0; from < l->count; from++) {
        for (size_t to = from + 1; w->reported[from] && to <= l->count; to++) {
            if (w->reported[to - 1])
                try_stretch(w, l, from, to, base - 0.5 * log((double)(to - from)), b);
        }
    }
}

void trace_weigh(struct trace_weigher *w, size_t level, bool stretches, struct trace_weighed *ret)
{
    const struct trace_level *l = &w->c->t->levels[level];
    struct best b = {NEVER, NEVER, ret};
    take_lots(w, level);
    take_weeks(w, l);
    if (stretches)
        try_stretches(w, l, &b);
    double before = b.best;
    try_stretch(w, l, 0, l->count, stretches ? log(THROUGHOUT) : 0, &b);
    ret->throughout = b.best > before;
    ret->evidence = b.total;
}

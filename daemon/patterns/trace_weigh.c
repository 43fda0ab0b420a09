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

/* The same sizes for all but stores, or what reaches further takes what it has no part in. */
enum { SIZES = 5 };
static const double RATIOS[SIZES] = {2, 5, 12, 30, 80};

#define WEEK_SHAPE 4.0
/* A level of which stretches are looked at was in trouble throughout as often as this. */
#define THROUGHOUT 0.3
/* What is e^36 times less likely than another, or less still, adds nothing to it. */
#define NOTHING 36.0

struct sizes {
    double of[SIZES];
};

struct trace_weigher {
    const struct trace_cells *c;
    const double *now;
    double *expected;   /* of a week */
    double *lot;        /* of a lot */
    double *length;     /* what so many lots cost a stretch */
    struct sizes ratio; /* of the level at hand */
    struct sizes alone; /* gain of a complaint that can be of nothing but it */
    /* of the level at hand, by its lots; sums of those before, one more at the end */
    double *exposed;
    struct sizes *gain;
    struct sizes *whole; /* … and of its whole weeks */
    /* what its week says against a lot and those behind it, and against those before a lot: where a
     * stretch may begin and end */
    struct sizes *from, *to;
    struct sizes *most; /* of stretches that end in a week or behind it, less where they begin */
    size_t *weeks;      /* index of its first lot in each of its weeks; one more */
    size_t *at;         /* which of those a lot is in */
    size_t *reported;   /* its lots that a report may be of, as level */
    size_t count, week_count, reported_count;
};

struct trace_weigher *trace_weigh_new(const struct trace_cells *c)
{
    struct trace_weigher *w = xcalloc(1, sizeof *w);
    size_t lots = c->t->count + 2;
    *w = (struct trace_weigher){.c = c,
                                .expected = xcalloc(lots, sizeof *w->expected),
                                .lot = xcalloc(lots, sizeof *w->lot),
                                .length = xcalloc(lots, sizeof *w->length),
                                .exposed = xcalloc(lots, sizeof *w->exposed),
                                .gain = xcalloc(lots, sizeof *w->gain),
                                .whole = xcalloc(lots, sizeof *w->whole),
                                .from = xcalloc(lots, sizeof *w->from),
                                .to = xcalloc(lots, sizeof *w->to),
                                .most = xcalloc(lots, sizeof *w->most),
                                .weeks = xcalloc(lots, sizeof *w->weeks),
                                .at = xcalloc(lots, sizeof *w->at),
                                .reported = xcalloc(lots, sizeof *w->reported)};
    for (size_t n = 1; n < lots; n++)
        w->length[n] = 0.5 * log((double)n);
    return w;
}

void trace_weigh_free(struct trace_weigher *w)
{
    if (!w)
        return;
    free(w->expected);
    free(w->lot);
    free(w->length);
    free(w->exposed);
    free(w->gain);
    free(w->whole);
    free(w->from);
    free(w->to);
    free(w->most);
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
    for (size_t i = 0; i < c->t->count; i++) {
        w->lot[i] = 0;
        for (size_t k = c->first[i]; k < c->first[i + 1]; k++)
            w->lot[i] += now[k];
        w->expected[c->week[i]] += w->lot[i];
    }
}

/* ---- a level's lots ---- */

static double exposed_of(const struct trace_weigher *w, size_t lot, size_t level, bool sent)
{
    const struct trace_cells *c = w->c;
    double x = 0;
    if (!sent)
        return w->lot[lot];
    for (size_t k = c->first[lot]; k < c->first[lot + 1]; k++)
        x += w->now[k] * trace_cells_in(c, &c->cell[k], level, sent);
    return x;
}

static void add_gain(const struct trace_weigher *w, struct sizes *gain, double share,
                     double complaints)
{
    for (int s = 0; s < SIZES && share > 0; s++)
        gain->of[s] += complaints * log1p((w->ratio.of[s] - 1) * share);
}

/* Of a route or store. Whether any report may be its. */
static bool sent_gain(const struct trace_weigher *w, size_t lot, size_t level, double left,
                      struct sizes *gain)
{
    const struct trace_cells *c = w->c;
    double any = 0;
    for (size_t r = c->report[lot]; r < c->report[lot + 1]; r++) {
        double share = trace_cells_share(c, w->now, lot, &c->t->reports.rows[r], level);
        add_gain(w, gain, share, 1);
        any += share;
        left--;
    }
    if (left > 0) {
        double share = trace_cells_share(c, w->now, lot, NULL, level);
        add_gain(w, gain, share, left);
        any += share * left;
    }
    return any > 0.25;
}

static bool gain_of(const struct trace_weigher *w, size_t lot, size_t level, bool sent,
                    struct sizes *gain)
{
    double left = (double)trace_cells_came(w->c, lot);
    if (left > 0 && sent)
        return sent_gain(w, lot, level, left, gain);
    for (int s = 0; s < SIZES && left > 0; s++)
        gain->of[s] += left * w->alone.of[s];
    return left > 0;
}

/* Those of a store reach to what makes its lots bring as many times more as the sizes of a line do:
 * it got few of their packs. */
static void set_sizes(struct trace_weigher *w, size_t level)
{
    const struct trace_level *l = &w->c->t->levels[level];
    bool store = strcmp(l->factor, "store") == 0;
    double in = 0, all = 0;
    for (size_t i = 0; i < l->count && store; i++) {
        in += exposed_of(w, l->lots[i], level, true);
        all += w->lot[l->lots[i]];
    }
    double reach = in > 0 ? all / in : 1;
    for (int s = 0; s < SIZES; s++) {
        w->ratio.of[s] = RATIOS[s] * pow(reach, s / (SIZES - 1.0));
        w->alone.of[s] = log(w->ratio.of[s]);
    }
}

static void take_lots(struct trace_weigher *w, size_t level)
{
    const struct trace_level *l = &w->c->t->levels[level];
    bool sent = trace_cells_is_sent(w->c->t, level);
    set_sizes(w, level);
    w->count = l->count;
    w->week_count = w->reported_count = 0;
    for (size_t i = 0; i < l->count; i++) {
        if (!i || w->c->week[l->lots[i]] != w->c->week[l->lots[i - 1]])
            w->weeks[w->week_count++] = i;
        w->at[i] = w->week_count - 1;
        w->gain[i + 1] = w->gain[i];
        if (gain_of(w, l->lots[i], level, sent, &w->gain[i + 1]))
            w->reported[w->reported_count++] = i;
        w->exposed[i + 1] = w->exposed[i] + exposed_of(w, l->lots[i], level, sent);
    }
    w->weeks[w->week_count] = l->count;
}

/* ---- stretches ---- */

struct week {
    double share; /* of it that is the stretch's */
    double came;  /* what it weighs by */
};

static struct week week_of(const struct trace_weigher *w, const struct trace_level *l, size_t from,
                           size_t to)
{
    size_t week = w->c->week[l->lots[from]];
    return (struct week){(w->exposed[to] - w->exposed[from]) / (WEEK_SHAPE + w->expected[week]),
                         WEEK_SHAPE + w->c->came[week]};
}

/* What a week says against a ratio: more were expected than came. */
static struct sizes against(const struct trace_weigher *w, const struct trace_level *l, size_t from,
                            size_t to)
{
    const struct week k = week_of(w, l, from, to);
    struct sizes out;
    for (int s = 0; s < SIZES; s++)
        out.of[s] = k.came * log1p((w->ratio.of[s] - 1) * k.share);
    return out;
}

static void take_ends(struct trace_weigher *w, const struct trace_level *l, size_t lot)
{
    w->from[lot] = against(w, l, lot, w->weeks[w->at[lot] + 1]);
    w->to[lot + 1] = against(w, l, w->weeks[w->at[lot]], lot + 1);
}

static void take_weeks(struct trace_weigher *w, const struct trace_level *l)
{
    for (size_t k = 0; k < w->week_count; k++) {
        const struct sizes of = against(w, l, w->weeks[k], w->weeks[k + 1]);
        for (int s = 0; s < SIZES; s++)
            w->whole[k + 1].of[s] = w->whole[k].of[s] + of.of[s];
    }
    take_ends(w, l, 0);
    take_ends(w, l, l->count - 1);
}

/* Its likelihood at each size, of a stretch over more than a week: what is at its end less what is
 * at its beginning. */
static double ends(const struct trace_weigher *w, size_t to, int s)
{
    return w->gain[to].of[s] - w->to[to].of[s] - w->whole[w->at[to - 1]].of[s];
}

static double begins(const struct trace_weigher *w, size_t from, int s)
{
    return w->gain[from].of[s] + w->from[from].of[s] - w->whole[w->at[from] + 1].of[s];
}

static struct sizes log_likelihood(const struct trace_weigher *w, const struct trace_level *l,
                                   size_t from, size_t to)
{
    struct sizes out;
    bool within = w->at[from] == w->at[to - 1];
    if (within)
        out = against(w, l, from, to);
    for (int s = 0; s < SIZES; s++)
        out.of[s] = within ? w->gain[to].of[s] - w->gain[from].of[s] - out.of[s]
                           : ends(w, to, s) - begins(w, from, s);
    return out;
}

/* Sums of likelihoods, each times e^-top. */
struct best {
    double top, total, best;
    size_t from, to; /* of the best */
};

static double greatest(const struct sizes *size)
{
    double most = size->of[0];
    for (int s = 1; s < SIZES; s++)
        most = fmax(most, size->of[s]);
    return most;
}

static void take_stretch(struct best *b, size_t from, size_t to, const struct sizes *size,
                         double log_prior)
{
    double most = greatest(size) + log_prior, sum = 0;
    if (most < b->top - NOTHING)
        return;
    if (most > b->top) {
        b->total *= exp(b->top - most);
        b->best *= exp(b->top - most);
        b->top = most;
    }
    for (int s = 0; s < SIZES; s++) {
        double weight = size->of[s] + log_prior - b->top;
        sum += weight > -NOTHING ? exp(weight) : 0;
    }
    b->total += sum;
    if (sum <= b->best)
        return;
    b->best = sum;
    b->from = from;
    b->to = to;
}

/* Whether a stretch within a week can be worth anything: log(1 + y) is 2 y / (2 + y) or more. */
static bool may_count(const struct trace_weigher *w, const struct trace_level *l, size_t from,
                      size_t to, double least)
{
    const struct week k = week_of(w, l, from, to);
    bool may = false;
    for (int s = 0; s < SIZES; s++) {
        double y = (w->ratio.of[s] - 1) * k.share;
        may |= w->gain[to].of[s] - w->gain[from].of[s] - k.came * 2 * y / (2 + y) >= least;
    }
    return may;
}

/* The most that stretches may come to which begin at a lot and end in a week or later. */
static double most_of(const struct trace_weigher *w, size_t from, size_t week)
{
    double most = w->most[week].of[0] - begins(w, from, 0);
    for (int s = 1; s < SIZES; s++)
        most = fmax(most, w->most[week].of[s] - begins(w, from, s));
    return most;
}

static void take_reported(struct trace_weigher *w, const struct trace_level *l)
{
    for (size_t i = 0; i < w->reported_count; i++)
        take_ends(w, l, w->reported[i]);
    for (size_t k = w->week_count, i = w->reported_count; k-- > 0;) {
        for (int s = 0; s < SIZES; s++)
            w->most[k].of[s] = k + 1 < w->week_count ? w->most[k + 1].of[s] : -INFINITY;
        for (; i > 0 && w->at[w->reported[i - 1]] == k; i--) {
            for (int s = 0; s < SIZES; s++)
                w->most[k].of[s] = fmax(w->most[k].of[s], ends(w, w->reported[i - 1] + 1, s));
        }
    }
}

/* From one lot on. What cannot count is passed over, a week's lots and all behind them at once. */
static void try_from(const struct trace_weigher *w, const struct trace_level *l, size_t first,
                     double base, struct best *b)
{
    size_t from = w->reported[first], week = w->at[from];
    for (size_t i = first; i < w->reported_count; i++) {
        size_t to = w->reported[i] + 1;
        double log_prior = base - w->length[to - from];
        if (w->at[to - 1] > week) {
            week = w->at[to - 1];
            if (most_of(w, from, week) + log_prior < b->top - NOTHING)
                break;
        }
        if (week == w->at[from] && !may_count(w, l, from, to, b->top - NOTHING - log_prior))
            continue;
        const struct sizes size = log_likelihood(w, l, from, to);
        take_stretch(b, from, to, &size, log_prior);
    }
}

/* The longer the rarer, half of it by the root of the length (on invented plants better than all of
 * it, or none); one that ends where nobody complained is explained as well by a shorter one. */
static void try_stretches(struct trace_weigher *w, const struct trace_level *l, struct best *b)
{
    double n = (double)l->count, base = log(1 - THROUGHOUT) - log(n) - log(1 + log(n));
    take_reported(w, l);
    for (size_t i = 0; i < w->reported_count; i++)
        try_from(w, l, i, base, b);
}

static double ratio_of(const struct trace_weigher *w, const struct trace_level *l,
                       const struct best *b)
{
    const struct sizes size = log_likelihood(w, l, b->from, b->to);
    double most = greatest(&size), sum = 0, ratio = 0;
    for (int s = 0; s < SIZES; s++) {
        sum += exp(size.of[s] - most);
        ratio += w->ratio.of[s] * exp(size.of[s] - most);
    }
    return ratio / sum;
}

void trace_weigh(struct trace_weigher *w, size_t level, bool stretches, struct trace_weighed *ret)
{
    const struct trace_level *l = &w->c->t->levels[level];
    take_lots(w, level);
    take_weeks(w, l);
    const struct sizes all = log_likelihood(w, l, 0, l->count);
    double log_prior = stretches ? log(THROUGHOUT) : 0;
    struct best b = {.top = greatest(&all) + log_prior};
    if (stretches)
        try_stretches(w, l, &b);
    double before = b.best;
    take_stretch(&b, 0, l->count, &all, log_prior);
    *ret = (struct trace_weighed){.evidence = b.top + log(b.total) - log(SIZES),
                                  .first = b.from,
                                  .last = b.to - 1,
                                  .ratio = ratio_of(w, l, &b),
                                  .throughout = b.best > before};
}

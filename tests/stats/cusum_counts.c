/* CUSUM of counts: S lives on a grid of whole steps below h; each period spreads it by the count's
 * distribution and drops what reaches h. Survival over the periods sums to the run length; once a
 * whole cycle multiplies it by a settled factor, the rest is a geometric series. */
#include "cusum_counts.h"

#include <math.h>
#include <stdlib.h>

#include "base/error.h"
#include "base/text.h"
#include "stats/cusum.h"
#include "stats/negbin.h"

#define GRID_LEAST 200.0 /* steps below h; more for short cycles: few references average less */
#define GRID_MOST 2000.0
#define GRID_BUDGET 8000.0 /* steps x periods of a cycle */
#define DENOMINATOR_MOST 64
#define STATES_MOST 4096
#define RUN_LENGTH_MOST 1e9
#define PERIODS_MOST 20000
#define NEGLIGIBLE 1e-12
#define FACTOR_SETTLED 1e-7 /* change of a cycle's survival against its loss */
#define LIMIT_PRECISION 0.005
#define LIMIT_LEAST 0.5

static double size_at(const struct cusum_counts *design, size_t i)
{
    return design->sizes ? design->sizes[i] : INFINITY;
}

static double reference_at(const struct cusum_counts *design, size_t i)
{
    return cusum_reference(design->expected[i], design->ratio, size_at(design, i));
}

static int check(const struct cusum_counts *design)
{
    double total = 0;
    if (design->n == 0 || !(design->ratio > 1) || !isfinite(design->ratio))
        return ERROR_INVALID;
    for (size_t i = 0; i < design->n; i++) {
        if (!isfinite(reference_at(design, i)))
            return ERROR_INVALID;
        total += design->expected[i];
    }
    return total > 0 && isfinite(total) ? 0 : ERROR_INVALID;
}

/* What one period does: masses of the counts first .. first + n - 1, less its reference. */
struct period {
    double reference;
    size_t first, n;
    double *masses;
};

struct chain {
    double step;
    size_t states; /* S = 0, step, ..., (states - 1) step: all below h */
    double *now, *next;
    struct period *periods;
    size_t cycle;
};

static bool whole(double x)
{
    return fabs(x - round(x)) < 1e-9 * fmax(1.0, fabs(x));
}

/* 1/den if h, the start and every reference fall on such a grid, else a fine grid. */
static double step_for(const struct cusum_counts *design, double h, double start)
{
    for (int den = 1; den <= DENOMINATOR_MOST; den++) {
        bool fits = h * den <= STATES_MOST && whole(h * den) && whole(start * den);
        for (size_t i = 0; fits && i < design->n; i++)
            fits = whole(reference_at(design, i) * den);
        if (fits)
            return 1.0 / den;
    }
    return h / fmax(GRID_LEAST, fmin(GRID_MOST, round(GRID_BUDGET / (double)design->n)));
}

static int prepare_period(struct period *p, const struct cusum_counts *design, size_t i,
                          double actual, double h)
{
    double mean = actual * design->expected[i], size = size_at(design, i);
    long first = negbin_quantile(NEGLIGIBLE, mean, size);
    long last = negbin_quantile_upper(NEGLIGIBLE, mean, size);
    p->reference = reference_at(design, i);
    last = (long)fmin((double)last, ceil(p->reference + h)); /* more signals from anywhere */
    if (first < 0 || last < 0)
        return ERROR_INVALID;
    p->first = (size_t)first;
    p->n = last >= first ? (size_t)(last - first) + 1 : 0;
    p->masses = xcalloc(p->n + 1, sizeof *p->masses);
    for (size_t x = 0; x < p->n; x++)
        p->masses[x] = negbin_pmf(first + (long)x, mean, size);
    return 0;
}

static void chain_free(struct chain *c)
{
    for (size_t i = 0; i < c->cycle; i++)
        free(c->periods[i].masses);
    free(c->periods);
    free(c->now);
    free(c->next);
}

static int chain_prepare(struct chain *c, const struct cusum_counts *design, double h, double start,
                         double actual)
{
    *c = (struct chain){.step = step_for(design, h, start), .cycle = design->n};
    c->states = (size_t)ceil(h / c->step - 1e-9);
    c->now = xcalloc(c->states, sizeof *c->now);
    c->next = xcalloc(c->states, sizeof *c->next);
    c->periods = xcalloc(c->cycle, sizeof *c->periods);
    size_t at = (size_t)floor(start / c->step + 1e-9);
    c->now[at < c->states ? at : c->states - 1] = 1.0;
    for (size_t i = 0; i < c->cycle; i++)
        if (prepare_period(&c->periods[i], design, i, actual, h) != 0)
            return ERROR_INVALID;
    return 0;
}

/* Adds what one count does: every state moves by the same distance, split between the two grid
 * points around it; what falls below 0 rests at 0, what reaches the end is gone. */
static void move(struct chain *c, double distance, double mass)
{
    double base = floor(distance + 1e-9), part = distance - base;
    part = part < 1e-9 ? 0.0 : part;
    double stay = mass * (1.0 - part), pass = mass * part;
    size_t from = 0, states = c->states;
    if (base < 0) {
        double floored = 0;
        size_t below = base < -(double)states ? states : (size_t)-base;
        for (; from < below; from++)
            floored += c->now[from];
        c->next[0] += mass * floored;
    }
    if (base >= (double)states || from >= states)
        return;
    size_t to = base < 0 ? 0 : (size_t)base; /* where `from` lands */
    size_t n = states - (to > from ? to : from);
    for (size_t j = 0; j < n; j++)
        c->next[to + j] += stay * c->now[from + j];
    if (part == 0)
        return;
    for (size_t j = 0; j < n && to + j + 1 < states; j++)
        c->next[to + j + 1] += pass * c->now[from + j];
}

static double survivors(const struct chain *c)
{
    double sum = 0;
    for (size_t j = 0; j < c->states; j++)
        sum += c->now[j];
    return sum;
}

/* One whole cycle; returns the sum of survivors before each of its periods. */
static double run_cycle(struct chain *c)
{
    double sum = 0;
    for (size_t i = 0; i < c->cycle; i++) {
        const struct period *p = &c->periods[i];
        sum += survivors(c);
        for (size_t j = 0; j < c->states; j++)
            c->next[j] = 0;
        for (size_t x = 0; x < p->n; x++)
            move(c, ((double)(p->first + x) - p->reference) / c->step, p->masses[x]);
        double *t = c->now;
        c->now = c->next;
        c->next = t;
    }
    return sum;
}

static double run_length(struct chain *c)
{
    double length = 0, before = survivors(c), last_factor = 2.0;
    for (size_t periods = 0; periods < PERIODS_MOST; periods += c->cycle) {
        double block = run_cycle(c), after = survivors(c), factor = after / before;
        length += block;
        if (after < NEGLIGIBLE)
            return length;
        double loss = 1.0 - factor;
        if (loss > 0 && fabs(factor - last_factor) <= FACTOR_SETTLED * loss) {
            double rest = block * factor / loss;
            return length + rest < RUN_LENGTH_MOST ? length + rest : INFINITY;
        }
        last_factor = factor;
        before = after;
    }
    return INFINITY;
}

int cusum_counts_run_length(const struct cusum_counts *design, double h, double start,
                            double actual, double *ret)
{
    if (check(design) != 0 || !(h >= LIMIT_LEAST / 2) || !isfinite(h) ||
        !(start >= 0 && start < h) || !(actual > 0) || !isfinite(actual))
        return ERROR_INVALID;
    struct chain c;
    int status = chain_prepare(&c, design, h, start, actual);
    if (status == 0)
        *ret = run_length(&c);
    chain_free(&c);
    return status;
}

int cusum_counts_limit(const struct cusum_counts *design, double run_length_wanted, double *ret)
{
    if (check(design) != 0 || !(run_length_wanted > 2.0 && run_length_wanted <= 1e6))
        return ERROR_INVALID;
    double low = 0, high = LIMIT_LEAST, length;
    for (;;) { /* double until long enough */
        if (cusum_counts_run_length(design, high, 0, 1.0, &length) != 0 || high > 1e7)
            return ERROR_INVALID;
        if (length >= run_length_wanted)
            break;
        low = high;
        high *= 2.0;
    }
    while (low > 0 && high - low > LIMIT_PRECISION * high) {
        double middle = 0.5 * (low + high);
        if (cusum_counts_run_length(design, middle, 0, 1.0, &length) != 0)
            return ERROR_INVALID;
        if (length >= run_length_wanted)
            high = middle;
        else
            low = middle;
    }
    *ret = high;
    return 0;
}

#include "patterns/week_signals.h"
#include "base/text.h"
#include "stats/multiplicity.h"
#include "stats/negbin.h"
#include "stats/season.h"
#include "stats/shrink.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define STILL_P 0.1

/* Longer ones would keep telling of what is over. */
static const int WINDOWS[] = {1, 2, 4};
enum { WINDOW_COUNT = sizeof WINDOWS / sizeof WINDOWS[0] };

struct window {
    double observed, expected, p;
    int weeks;
};

static double sum_last(const double *x, int weeks)
{
    double sum = 0;
    for (int i = WEEK_SPAN - weeks; i < WEEK_SPAN; i++)
        sum += x[i];
    return sum;
}

/* P of so many or more, the rate's uncertainty and the spread of weeks included. */
static double tail(const struct week_series *s, double stretch, double observed, double expected)
{
    if (observed <= 0)
        return 1;
    double se = expected / sqrt(s->rate_shape);
    double size = season_size(expected, se, 1 + (s->phi_high - 1) * stretch);
    double p = negbin_more_than((long)floor(observed + 0.5) - 1, expected, size);
    return isfinite(p) ? fmin(fmax(p, 0), 1) : 1;
}

/* The most telling window; its p is raised for having tried several. */
static struct window best_window(const struct week_series *s, const struct week_lag *lag,
                                 const double *counts, int recent)
{
    struct window best = {.p = 2};
    int tried = 0;
    for (int i = 0; i < WINDOW_COUNT && WINDOWS[i] <= recent; i++) {
        struct window w = {sum_last(counts, WINDOWS[i]), sum_last(s->expected, WINDOWS[i]), 0,
                           WINDOWS[i]};
        w.p = w.expected > 0 ? tail(s, week_expect_stretch(lag, WINDOWS[i]), w.observed, w.expected)
                             : 1;
        tried++;
        if (w.p < best.p)
            best = w;
    }
    best.p = fmin(1, best.p * tried);
    return best;
}

static enum week_course course_of(const struct week_series *s, const struct week_lag *lag,
                                  const double *counts)
{
    double observed = sum_last(counts, 2), expected = sum_last(s->expected, 2);
    bool usual = counts[WEEK_SPAN - 1] <= s->expected[WEEK_SPAN - 1];
    if (observed <= expected && usual)
        return WEEK_OVER;
    bool out = tail(s, week_expect_stretch(lag, 2), observed, expected) < STILL_P;
    return out && !usual ? WEEK_UP : WEEK_EASING;
}

/* Log likelihood ratio of a rise to what was observed, for counts spread by phi. */
static double rise_log_ratio(double observed, double expected, double phi)
{
    if (observed <= expected || expected <= 0)
        return 0;
    return (observed * log(observed / expected) - (observed - expected)) / phi;
}

/* The start that makes a rise likeliest (maximum likelihood of the change point). */
static void find_since(const struct week_series *s, const double *counts, int recent,
                       struct week_signal *ret)
{
    double best = -1, observed = 0, expected = 0;
    for (int weeks = 1; weeks <= recent; weeks++) {
        observed += counts[WEEK_SPAN - weeks];
        expected += s->expected[WEEK_SPAN - weeks];
        double ratio = rise_log_ratio(observed, expected, s->phi);
        if (ratio > best) {
            best = ratio;
            ret->since = WEEK_SPAN - weeks;
            ret->observed = observed;
            ret->expected = expected;
        }
    }
}

/* How big: the ratio drawn a little towards 1, with its interval. */
void week_signals_size_up(struct week_signal *signal)
{
    struct shrink_gamma usual = {1, 1};
    struct shrink_gamma rise =
        shrink_posterior(usual, signal->observed / signal->phi, signal->expected / signal->phi);
    struct interval limits = shrink_interval(rise, 0.95);
    signal->ratio = shrink_mean(rise);
    signal->ratio_low = limits.low;
    signal->ratio_high = limits.high;
}

/* That no cause is known is no rise of its own: what rose shows elsewhere. */
static bool is_judged(const struct week_level *level)
{
    return !level->cut || level->cut->source != CUT_CAUSE || strcmp(level->level, "not-known") != 0;
}

/* A cause is what it was, not where; what is sold along a route or in a store is of all. */
static bool is_made(const struct cut *cut)
{
    return cut && !cuts_lent_units(cut) && !(cut->flags & CUT_SENT);
}

static void test_cut(const struct week_model *m, const struct cut *cut, int symptom,
                     struct week_series *series, struct week_signal *out, size_t *count)
{
    const struct week_data *d = m->data;
    week_expect_model_factor(m, NULL, symptom, series); /* the first: all together */
    if (cut)
        week_expect_model_factor(m, cut, symptom, series);
    for (size_t i = 0; i < d->level_count; i++) {
        const double *counts = d->levels[i].counts[symptom];
        if (d->levels[i].cut != cut || !is_judged(&d->levels[i]))
            continue;
        if (series[i].rate <= 0 || sum_last(series[i].expected, m->recent) <= 0)
            continue;
        if (is_made(cut))
            week_expect_beside(m, symptom, &series[0], &d->levels[i], &series[i]);
        struct window window = best_window(&series[i], &m->lag[symptom], counts, m->recent);
        struct week_signal signal = {.level = i, .symptom = symptom, .p = window.p};
        signal.course = course_of(&series[i], &m->lag[symptom], counts);
        signal.newest = counts[WEEK_SPAN - 1];
        signal.newest_usual = series[i].expected[WEEK_SPAN - 1];
        find_since(&series[i], counts, m->recent, &signal);
        signal.phi = 1 + (series[i].phi - 1) *
                             week_expect_stretch(&m->lag[symptom], WEEK_SPAN - signal.since);
        out[(*count)++] = signal;
    }
}

static int by_p(const void *a, const void *b)
{
    const struct week_signal *x = a, *y = b;
    if (x->p != y->p)
        return x->p < y->p ? -1 : 1;
    if (x->level != y->level)
        return x->level < y->level ? -1 : 1;
    return x->symptom - y->symptom;
}

/* Of several families: in each the order is that of their p. */
static int by_q(const void *a, const void *b)
{
    const struct week_signal *x = a, *y = b;
    if (x->q != y->q)
        return x->q < y->q ? -1 : 1;
    return by_p(a, b);
}

void week_signals_sort(struct week_signal *signals, size_t count)
{
    if (count)
        qsort(signals, count, sizeof *signals, by_p);
}

const char *week_signals_course(enum week_course course)
{
    static const char *const COURSES[] = {
        [WEEK_UP] = "up", [WEEK_EASING] = "easing", [WEEK_OVER] = "over"};
    return COURSES[course];
}

/* One symptom after the other: cuts that are judged together, or one that is judged by itself. */
static void test_family(const struct week_model *model, const struct cut *lone,
                        struct week_series *series, struct week_signal *out, size_t *count)
{
    for (int s = 0; s < WEEK_SYMPTOMS && model->recent; s++) {
        if (!lone)
            test_cut(model, NULL, s, series, out, count);
        for (const struct cut *cut = cuts_all(); cut->name; cut++) {
            bool alone = cut->flags & CUT_MANY;
            if (cut->flags & CUT_JUDGED && (lone ? cut == lone : !alone))
                test_cut(model, cut, s, series, out, count);
        }
    }
}

/* Of the false signals those judged by themselves get half as many as the others. */
static void adjust(struct week_signal *signals, size_t count, bool alone)
{
    double *q = xcalloc(count + 1, sizeof *q);
    for (size_t i = 0; i < count; i++)
        q[i] = signals[i].p;
    multiplicity_benjamini_hochberg(q, count, q);
    for (size_t i = 0; i < count; i++) {
        signals[i].q = alone ? fmin(1, 2 * q[i]) : q[i];
        if (signals[i].q <= WEEK_FALSE_SIGNALS)
            week_signals_size_up(&signals[i]);
    }
    free(q);
}

struct week_signal *week_signals(const struct week_model *model, size_t *ret_tested)
{
    size_t levels = model->data->level_count, count = 0;
    struct week_signal *out = xcalloc(levels * WEEK_SYMPTOMS, sizeof *out);
    struct week_series *series = xcalloc(levels, sizeof *series);
    test_family(model, NULL, series, out, &count);
    adjust(out, count, false);
    for (const struct cut *cut = cuts_all(); cut->name; cut++) {
        size_t before = count;
        if (!(cut->flags & CUT_MANY))
            continue;
        test_family(model, cut, series, out, &count);
        adjust(out + before, count - before, true);
    }
    free(series);
    if (count)
        qsort(out, count, sizeof *out, by_q);
    *ret_tested = count;
    return out;
}

#include "patterns/week_falls.h"
#include "base/text.h"
#include "patterns/week_signals.h"
#include "stats/multiplicity.h"
#include "stats/negbin.h"
#include "stats/season.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* A fall is looked at, a rise is acted on: more of them may be false. */
#define FALSE_FALLS 0.1

struct looking {
    const struct week_model *model;
    struct week_series *series; /* one a level */
    struct week_fall *falls;
    size_t count;
};

static double sum_newest(const double *x)
{
    double sum = 0;
    for (int i = WEEK_SPAN - WEEK_FALL_WEEKS; i < WEEK_SPAN; i++)
        sum += x[i];
    return sum;
}

/* P of so few or fewer, the rate's uncertainty and the spread of weeks included. */
static double low_tail(const struct week_series *s, double stretch, double observed,
                       double expected)
{
    double se = expected / sqrt(s->rate_shape);
    double size = season_size(expected, se, 1 + (s->phi_high - 1) * stretch);
    double p = negbin_at_most((long)floor(observed + 0.5), expected, size);
    return isfinite(p) ? fmin(fmax(p, 0), 1) : 1;
}

static void look(struct looking *l, const struct cut *cut, int symptom)
{
    const struct week_data *d = l->model->data;
    double stretch = week_expect_stretch(&l->model->lag[symptom], WEEK_FALL_WEEKS);
    week_expect_model_factor(l->model, cut, symptom, l->series);
    for (size_t i = 0; i < d->level_count; i++) {
        const struct week_series *s = &l->series[i];
        if (d->levels[i].cut != cut || s->rate <= 0 || sum_newest(s->expected) <= 0)
            continue;
        struct week_fall fall = {i, symptom, sum_newest(d->levels[i].counts[symptom]),
                                 sum_newest(s->expected), 1};
        fall.p = low_tail(s, stretch, fall.observed, fall.expected);
        l->falls[l->count++] = fall;
    }
}

static int by_p(const void *a, const void *b)
{
    const struct week_fall *x = a, *y = b;
    if (x->p != y->p)
        return x->p < y->p ? -1 : 1;
    if (x->level != y->level)
        return x->level < y->level ? -1 : 1;
    return x->symptom - y->symptom;
}

/* Those that are no chance stay, and of a symptom's all that of all together. */
static size_t keep(const struct week_data *d, struct week_fall *falls, size_t count)
{
    bool all[WEEK_SYMPTOMS] = {false};
    size_t kept = 0, sure = 0;
    double *q = xcalloc(count + 1, sizeof *q);
    for (size_t i = 0; i < count; i++)
        q[i] = falls[i].p;
    multiplicity_benjamini_hochberg(q, count, q);
    while (sure < count && q[sure] <= FALSE_FALLS)
        sure++;
    free(q);
    for (size_t i = 0; i < sure; i++)
        all[falls[i].symptom] |= !d->levels[falls[i].level].cut;
    for (size_t i = 0; i < sure; i++) {
        if (!d->levels[falls[i].level].cut || !all[falls[i].symptom])
            falls[kept++] = falls[i];
    }
    return kept;
}

struct week_fall *week_falls(const struct week_model *model, size_t *ret_count)
{
    size_t levels = model->data->level_count;
    struct looking l = {model, xcalloc(levels, sizeof *l.series),
                        xcalloc(levels * WEEK_SYMPTOMS, sizeof *l.falls), 0};
    for (int s = 0; s < WEEK_SYMPTOMS && model->recent >= WEEK_FALL_WEEKS; s++) {
        look(&l, NULL, s);
        for (const struct cut *cut = cuts_all(); cut->name; cut++) {
            if (cut->flags & CUT_JUDGED && !(cut->flags & CUT_MANY) && !cuts_fractional(cut))
                look(&l, cut, s);
        }
    }
    free(l.series);
    qsort(l.falls, l.count, sizeof *l.falls, by_p);
    *ret_count = keep(model->data, l.falls, l.count);
    return l.falls;
}

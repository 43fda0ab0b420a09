#include "patterns/trace_test.h"
#include "base/text.h"
#include "stats/mantel.h"
#include "stats/multiplicity.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define CONFIDENCE 0.95

struct weeks {
    int32_t *week;
    struct table2 *all; /* c and d: failed and other lots of the week */
    struct table2 *work;
    size_t count;
};

static void weeks_make(const struct trace_lots *t, struct weeks *w)
{
    *w = (struct weeks){0};
    w->week = xcalloc(t->count + 1, sizeof *w->week);
    w->all = xcalloc(t->count + 1, sizeof *w->all);
    w->work = xcalloc(t->count + 1, sizeof *w->work);
    for (size_t i = 0; i < t->count; i++) { /* lots are in order of packing */
        if (!w->count || w->week[w->count - 1] != t->lots[i].week)
            w->week[w->count++] = t->lots[i].week;
        if (t->lots[i].failed)
            w->all[w->count - 1].c++;
        else if (!t->lots[i].excluded)
            w->all[w->count - 1].d++;
    }
}

static void weeks_free(struct weeks *w)
{
    free(w->week);
    free(w->all);
    free(w->work);
}

static void expose(const struct trace_lots *t, struct weeks *w, const struct trace_level *level,
                   struct trace_result *result)
{
    size_t week = 0;
    memcpy(w->work, w->all, w->count * sizeof *w->all);
    for (size_t i = 0; i < level->count; i++) {
        const struct trace_lot *lot = &t->lots[level->lots[i]];
        while (w->week[week] != lot->week)
            week++;
        if (lot->failed) {
            w->work[week].a++;
            w->work[week].c--;
            result->failed_exposed++;
        } else if (!lot->excluded) {
            w->work[week].b++;
            w->work[week].d--;
            result->other_exposed++;
        }
    }
}

/* False if no week can tell: the level on all lots of a week, or on none. */
static bool test_level(struct weeks *w, struct trace_result *result)
{
    struct pvalue p;
    struct conditional_odds odds;
    struct mantel mantel;
    if (mantel_exact(w->work, w->count, CONFIDENCE, &p, &odds) == 0) {
        result->exact = true;
        result->p = p.midp_greater;
        result->odds_ratio = odds.ratio;
        result->limits = odds.midp;
        return true;
    }
    if (mantel_test(w->work, w->count, CONFIDENCE, &mantel))
        return false;
    double half = mantel.p / 2; /* two-sided to the side of harm */
    result->p = mantel.observed > mantel.expected ? half : 1 - half;
    result->odds_ratio = mantel.odds_ratio;
    result->limits = mantel.limits;
    return true;
}

static int by_significance(const void *a, const void *b)
{
    const struct trace_result *x = a, *y = b;
    if (x->p != y->p)
        return x->p < y->p ? -1 : 1;
    if (x->failed_exposed != y->failed_exposed)
        return x->failed_exposed > y->failed_exposed ? -1 : 1;
    return (x->level > y->level) - (x->level < y->level);
}

static int adjust(struct trace_result *results, size_t count)
{
    double *p = xcalloc(count + 1, sizeof *p);
    for (size_t i = 0; i < count; i++)
        p[i] = fmin(fmax(results[i].p, 0), 1);
    int rc = multiplicity_benjamini_hochberg(p, count, p);
    for (size_t i = 0; i < count && !rc; i++)
        results[i].q = p[i];
    free(p);
    return rc;
}

int trace_test_all(const struct trace_lots *t, struct trace_result **ret, size_t *ret_count,
                   struct error *err)
{
    struct weeks w;
    struct trace_result *results = xcalloc(t->level_count + 1, sizeof *results);
    long failed = 0, other = 0;
    size_t count = 0;
    weeks_make(t, &w);
    for (size_t i = 0; i < w.count; i++) {
        failed += w.all[i].c;
        other += w.all[i].d;
    }
    for (size_t i = 0; i < t->level_count; i++) {
        struct trace_result r = {.level = i, .failed = failed, .other = other};
        expose(t, &w, &t->levels[i], &r);
        if (test_level(&w, &r))
            results[count++] = r;
    }
    weeks_free(&w);
    int rc = adjust(results, count);
    if (rc) {
        free(results);
        return error_set(err, ERROR_INTERNAL, "cannot adjust the p-values of a trace");
    }
    qsort(results, count, sizeof *results, by_significance);
    *ret = results;
    *ret_count = count;
    return 0;
}

#include "patterns/trace_test.h"
#include "base/text.h"
#include "stats/mantel.h"
#include "stats/multiplicity.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define CONFIDENCE 0.95

enum {
    LOTS_LEAST = 2, /* one lot's own mix is no common factor */
    REST_MOST = 50  /* results that are also looked at with the first held fixed */
};

/* ---- strata ---- */

struct strata {
    size_t *of_lot;
    struct mantel_table *all; /* c and d: failed and other lots of the stratum */
    struct mantel_table *work;
    size_t count;
};

static void strata_make(const struct trace_lots *t, struct strata *s)
{
    int32_t week = INT32_MIN;
    *s = (struct strata){.of_lot = xcalloc(t->count + 1, sizeof *s->of_lot),
                         .all = xcalloc(2 * t->count + 2, sizeof *s->all),
                         .work = xcalloc(2 * t->count + 2, sizeof *s->work)};
    for (size_t i = 0; i < t->count; i++) { /* lots are in order of packing */
        if (t->lots[i].week != week || !s->count)
            s->count++;
        week = t->lots[i].week;
        s->of_lot[i] = s->count - 1;
    }
}

/* Lots with that level get strata of their own. */
static void strata_split(struct strata *s, const struct trace_level *level)
{
    for (size_t i = 0; i < level->count; i++)
        s->of_lot[level->lots[i]] += s->count;
    s->count *= 2;
}

static void strata_fill(const struct trace_lots *t, struct strata *s)
{
    memset(s->all, 0, s->count * sizeof *s->all);
    for (size_t i = 0; i < t->count; i++) {
        if (t->lots[i].failed)
            s->all[s->of_lot[i]].c++;
        else if (!t->lots[i].excluded)
            s->all[s->of_lot[i]].d++;
    }
}

static void strata_free(struct strata *s)
{
    free(s->of_lot);
    free(s->all);
    free(s->work);
}

static void expose(const struct trace_lots *t, struct strata *s, const struct trace_level *level,
                   struct trace_result *result)
{
    memcpy(s->work, s->all, s->count * sizeof *s->all);
    result->failed_exposed = result->other_exposed = 0;
    for (size_t i = 0; i < level->count; i++) {
        const struct trace_lot *lot = &t->lots[level->lots[i]];
        struct mantel_table *table = &s->work[s->of_lot[level->lots[i]]];
        if (lot->failed) {
            table->a++;
            table->c--;
            result->failed_exposed++;
        } else if (!lot->excluded) {
            table->b++;
            table->d--;
            result->other_exposed++;
        }
    }
}

/* False if no stratum can tell: the level on all its lots, or on none. */
static bool test(const struct strata *s, struct trace_odds *ret)
{
    struct pvalue p;
    struct conditional_odds odds;
    struct mantel mantel;
    if (mantel_exact(s->work, s->count, CONFIDENCE, &p, &odds) == 0) {
        *ret = (struct trace_odds){odds.ratio, odds.midp, fmin(fmax(p.midp_greater, 0), 1), true};
        return true;
    }
    if (mantel_test(s->work, s->count, CONFIDENCE, &mantel))
        return false;
    double half = mantel.p / 2; /* two-sided to the side of harm */
    double p_harm = mantel.observed > mantel.expected ? half : 1 - half;
    *ret = (struct trace_odds){mantel.odds_ratio, mantel.limits, fmin(fmax(p_harm, 0), 1), false};
    return true;
}

/* ---- levels on the same lots ---- */

struct footprint {
    uint64_t hash;
    size_t level;
};

static int by_hash(const void *a, const void *b)
{
    const struct footprint *x = a, *y = b;
    if (x->hash != y->hash)
        return x->hash < y->hash ? -1 : 1;
    return (x->level > y->level) - (x->level < y->level);
}

static bool same_lots(const struct trace_level *a, const struct trace_level *b)
{
    return a->count == b->count && memcmp(a->lots, b->lots, a->count * sizeof *a->lots) == 0;
}

static void find_same(struct trace_lots *t)
{
    struct footprint *prints = xcalloc(t->level_count + 1, sizeof *prints);
    for (size_t i = 0; i < t->level_count; i++) {
        uint64_t hash = UINT64_C(14695981039346656037);
        for (size_t k = 0; k < t->levels[i].count; k++)
            hash = (hash ^ t->levels[i].lots[k]) * UINT64_C(1099511628211);
        prints[i] = (struct footprint){hash, i};
        t->levels[i].same = i;
    }
    qsort(prints, t->level_count, sizeof *prints, by_hash);
    for (size_t i = 1; i < t->level_count; i++) {
        struct trace_level *before = &t->levels[prints[i - 1].level];
        struct trace_level *level = &t->levels[prints[i].level];
        if (prints[i].hash == prints[i - 1].hash && same_lots(before, level))
            level->same = before->same;
    }
    free(prints);
}

/* ---- all of them ---- */

static int by_significance(const void *a, const void *b)
{
    const struct trace_result *x = a, *y = b;
    if (x->odds.p != y->odds.p)
        return x->odds.p < y->odds.p ? -1 : 1;
    if (x->failed_exposed != y->failed_exposed)
        return x->failed_exposed > y->failed_exposed ? -1 : 1;
    return (x->level > y->level) - (x->level < y->level);
}

static int adjust(struct trace_result *results, size_t count)
{
    double *p = xcalloc(count + 1, sizeof *p);
    for (size_t i = 0; i < count; i++)
        p[i] = results[i].odds.p;
    int rc = count ? multiplicity_benjamini_hochberg(p, count, p) : 0;
    for (size_t i = 0; i < count && !rc; i++)
        results[i].q = p[i];
    free(p);
    return rc;
}

int trace_test_all(struct trace_lots *t, struct trace_result **ret, size_t *ret_count,
                   struct error *err)
{
    struct strata s;
    struct trace_result *results = xcalloc(t->level_count + 1, sizeof *results);
    long failed = 0, other = 0;
    size_t count = 0;
    strata_make(t, &s);
    strata_fill(t, &s);
    find_same(t);
    for (size_t i = 0; i < s.count; i++) {
        failed += s.all[i].c;
        other += s.all[i].d;
    }
    for (size_t i = 0; i < t->level_count; i++) {
        struct trace_result r = {.level = i, .failed = failed, .other = other};
        if (t->levels[i].same != i || t->levels[i].count < LOTS_LEAST)
            continue;
        expose(t, &s, &t->levels[i], &r);
        if (test(&s, &r.odds))
            results[count++] = r;
    }
    int rc = adjust(results, count);
    qsort(results, count, sizeof *results, by_significance);
    strata_free(&s);
    if (rc) {
        free(results);
        return error_set(err, ERROR_INTERNAL, "cannot adjust the p-values of a trace");
    }
    *ret = results;
    *ret_count = count;
    return 0;
}

static void rename_same(struct trace_lots *t, size_t from, size_t to)
{
    for (size_t i = 0; i < t->level_count; i++)
        t->levels[i].same = t->levels[i].same == from ? to : t->levels[i].same;
}

/* On all lots, or in each week on all of them or none: lots cannot tell it, callers can. */
static struct trace_result untested(const struct trace_lots *t, size_t level)
{
    const struct trace_level *l = &t->levels[level];
    const struct interval none = {NAN, NAN};
    struct trace_result r = {.level = level, .odds = {NAN, none, 1, false}, .q = 1};
    for (size_t i = 0; i < t->count; i++) {
        r.failed += t->lots[i].failed;
        r.other += !t->lots[i].failed && !t->lots[i].excluded;
    }
    for (size_t i = 0; i < l->count; i++) {
        r.failed_exposed += t->lots[l->lots[i]].failed;
        r.other_exposed += !t->lots[l->lots[i]].failed && !t->lots[l->lots[i]].excluded;
    }
    return r;
}

size_t trace_test_lead(struct trace_lots *t, struct trace_result *results, size_t *count, size_t at,
                       size_t level)
{
    size_t found = 0, tested = t->levels[level].same;
    while (found < *count && results[found].level != tested)
        found++;
    if (found < at)
        return at;
    if (found == *count)
        results[(*count)++] = untested(t, level);
    struct trace_result leader = results[found];
    memmove(&results[at + 1], &results[at], (found - at) * sizeof *results);
    leader.level = level;
    results[at] = leader;
    rename_same(t, tested, level);
    return at + 1;
}

void trace_test_beside(const struct trace_lots *t, struct trace_result *results, size_t count)
{
    struct strata s;
    if (count < 2)
        return;
    strata_make(t, &s);
    strata_split(&s, &t->levels[results[0].level]);
    strata_fill(t, &s);
    for (size_t i = 1; i < count && i <= REST_MOST; i++) {
        struct trace_result r = results[i];
        expose(t, &s, &t->levels[r.level], &r);
        results[i].has_rest = test(&s, &results[i].rest);
    }
    strata_free(&s);
}

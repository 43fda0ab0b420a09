#include "patterns/week_aside.h"
#include "base/text.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

static int keep_id(void *arg, int64_t complaint_id)
{
    struct week_aside *a = arg;
    if (a->count == a->capacity) {
        a->capacity = a->capacity ? 2 * a->capacity : 16;
        a->ids = xrealloc(a->ids, a->capacity * sizeof *a->ids);
    }
    a->ids[a->count++] = complaint_id;
    return 0;
}

int week_aside_read(struct store *store, const struct pattern_scope *scope, struct week_aside *ret,
                    struct error *err)
{
    *ret = (struct week_aside){0};
    int rc = pattern_span_harm(store, scope, keep_id, ret, err);
    if (rc)
        week_aside_free(ret);
    return rc;
}

void week_aside_free(struct week_aside *aside)
{
    free(aside->ids);
    *aside = (struct week_aside){0};
}

static int by_id(const void *a, const void *b)
{
    int64_t x = *(const int64_t *)a, y = *(const int64_t *)b;
    return (x > y) - (x < y);
}

bool week_aside_has(const struct week_aside *aside, int64_t complaint_id)
{
    return aside->count &&
           bsearch(&complaint_id, aside->ids, aside->count, sizeof *aside->ids, by_id) != NULL;
}

/* ---- signals of causes ---- */

/* Of one signal. */
struct taking {
    const struct week_aside *aside;
    const struct week_level *level;
    double n;
};

static int take_part(void *arg, const struct pattern_part *row)
{
    struct taking *t = arg;
    if (week_data_is_of(t->level, row) && week_aside_has(t->aside, row->complaint_id))
        t->n += (double)row->n / PATTERN_MILLION;
    return 0;
}

static bool is_cause(const struct week_data *d, const struct week_signal *s)
{
    const struct cut *cut = d->levels[s->level].cut;
    return cut && cuts_fractional(cut);
}

static int take_off(struct store *store, const struct week_data *d, struct week_signal *s,
                    struct error *err)
{
    struct week_aside aside = {0};
    struct taking t = {.aside = &aside, .level = &d->levels[s->level]};
    const struct when_span span = {
        d->shown.from_ms - (int64_t)(WEEK_SPAN - 1 - s->since) * 7 * WHEN_DAY_MS, d->shown.to_ms};
    const struct pattern_scope scope = {.plant = d->plant,
                                        .symptom = symptom_name(s->symptom),
                                        .span = when_span_until(span, d->now_ms)};
    int rc = week_aside_read(store, &scope, &aside, err);
    if (!rc && aside.count)
        rc = pattern_span_parts(store, &scope, take_part, &t, err);
    week_aside_free(&aside);
    s->observed = fmax(0, s->observed - t.n);
    return rc;
}

int week_aside_signals(struct store *store, const struct week_data *d, struct week_signal *signals,
                       size_t *count, struct error *err)
{
    size_t kept = 0;
    int rc = 0;
    for (size_t i = 0; i < *count && !rc; i++) {
        struct week_signal s = signals[i];
        if (is_cause(d, &s))
            rc = take_off(store, d, &s, err);
        if (s.observed >= WEEK_RISE_LEAST)
            signals[kept++] = s;
    }
    *count = kept;
    return rc;
}

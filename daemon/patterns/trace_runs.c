#include "patterns/trace_runs.h"
#include "base/plant_level.h"
#include "base/text.h"
#include "stats/scan.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum {
    DRAWS = 999,
    SEED = 20261, /* fixed: the same question gets the same answer */
    RUNS_MOST = 3,
    LONGEST_HOURS = 168,
    LONGEST_CELLS = 96
};
#define RUN_P 0.05 /* common practice, no source */

struct cells {
    const struct trace_lots *t;
    size_t *lot; /* of each cell */
    long *counts;
    double *exposure;
    int *group;
    size_t count, longest;
};

/* Their lines: a line is its plant's. */
static int compare(const struct trace_lot *a, const struct trace_lot *b)
{
    int plants = strcmp(a->plant, b->plant);
    return plants ? plants : strcmp(a->line, b->line);
}

static int by_line(const void *a, const void *b, void *arg)
{
    const struct trace_lots *t = arg;
    size_t x = *(const size_t *)a, y = *(const size_t *)b;
    int lines = compare(&t->lots[x], &t->lots[y]);
    return lines ? lines : (x > y) - (x < y);
}

static void cells_make(const struct trace_lots *t, struct cells *c)
{
    size_t n = t->count;
    *c = (struct cells){.t = t,
                        .lot = xcalloc(n + 1, sizeof *c->lot),
                        .counts = xcalloc(n + 1, sizeof *c->counts),
                        .exposure = xcalloc(n + 1, sizeof *c->exposure),
                        .group = xcalloc(n + 1, sizeof *c->group),
                        .count = n,
                        .longest = 1};
    for (size_t i = 0; i < n; i++)
        c->lot[i] = i;
    qsort_r(c->lot, n, sizeof *c->lot, by_line, (void *)t);
    size_t start = 0;
    for (size_t i = 0; i < n; i++) {
        const struct trace_lot *lot = &t->lots[c->lot[i]];
        bool next = i && compare(lot, &t->lots[c->lot[i - 1]]) != 0;
        c->group[i] = i ? c->group[i - 1] + next : 0;
        c->counts[i] = lot->failed ? lot->complaints : 0;
        c->exposure[i] = lot->excluded ? 0 : (double)lot->units;
        if (next)
            start = i;
        while (lot->packed_from_ms - t->lots[c->lot[start]].packed_from_ms >
               LONGEST_HOURS * WHEN_HOUR_MS)
            start++;
        if (i - start + 1 > c->longest)
            c->longest = i - start + 1;
    }
    if (c->longest > LONGEST_CELLS)
        c->longest = LONGEST_CELLS;
}

static void cells_free(struct cells *c)
{
    free(c->lot);
    free(c->counts);
    free(c->exposure);
    free(c->group);
}

static json_t *run_json(const struct cells *c, const struct tz *tz, const struct scan_result *r)
{
    const struct trace_lot *first = &c->t->lots[c->lot[r->first]];
    const struct trace_lot *last = &c->t->lots[c->lot[r->last]];
    char from[40], to[40];
    json_t *lots = json_array();
    for (size_t i = r->first; i <= r->last; i++)
        json_array_append_new(lots, json_string(c->t->lots[c->lot[i]].lot));
    json_t *row = json_pack("{s:s, s:s, s:s, s:o, s:I, s:f, s:f, s:f}", "line", first->line, "from",
                            when_format(tz, first->packed_from_ms, from), "to",
                            when_format(tz, last->packed_to_ms, to), "lots", lots, "observed",
                            (json_int_t)r->observed, "expected", r->expected, "ratio",
                            r->expected > 0 ? r->observed / r->expected : 0, "p", r->p);
    plant_level_set(row, first->plant);
    return row;
}

json_t *trace_runs_json(const struct trace_lots *t, const struct tz *tz)
{
    struct cells c;
    json_t *runs = json_array();
    cells_make(t, &c);
    for (int i = 0; i < RUNS_MOST && c.count; i++) {
        struct scan_series series = {c.counts, c.exposure, c.group, c.count, c.longest};
        struct scan_result r;
        if (scan_intervals(&series, DRAWS, SEED, &r) || r.log_ratio <= 0 || r.p > RUN_P)
            break;
        json_array_append_new(runs, run_json(&c, tz, &r));
        for (size_t k = r.first; k <= r.last; k++) { /* what is found is taken out of the next */
            c.counts[k] = 0;
            c.exposure[k] = 0;
        }
    }
    cells_free(&c);
    return runs;
}

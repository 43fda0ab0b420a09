/* A store is on one route, as likely as the route got units before anything is known. Each lot that
 * callers name of it, whatever about, is as likely as the part of it that went by the route is
 * large beside the route's part of all lots (Bayes). A lot counts once: who complains of one lot
 * tells no more of the route than one does. */
#include "patterns/trace_leans.h"
#include "base/text.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* So much of what is named never went by the store's route: codes are misread, packs are moved
 * (common practice, no source). */
#define ASTRAY 0.02
#define LEAN_LEAST 0.001

struct named {
    size_t store, lot;
};

struct trace_leans {
    struct trace_lots *t;
    struct named *named;
    size_t count, capacity;
    size_t *first;  /* of a lot's dispatches; one more at the end */
    size_t *routes; /* levels */
    size_t route_count;
    double *all;  /* by route: its part of all units */
    double *part; /* … of one lot's */
};

struct trace_leans *trace_leans_new(struct trace_lots *t)
{
    struct trace_leans *x = xcalloc(1, sizeof *x);
    x->t = t;
    return x;
}

void trace_leans_free(struct trace_leans *x)
{
    if (!x)
        return;
    free(x->named);
    free(x->first);
    free(x->routes);
    free(x->all);
    free(x->part);
    free(x);
}

void trace_leans_name(struct trace_leans *x, size_t store, size_t lot)
{
    if (x->count == x->capacity) {
        x->capacity = x->capacity ? 2 * x->capacity : 64;
        x->named = xrealloc(x->named, x->capacity * sizeof *x->named);
    }
    x->named[x->count++] = (struct named){store, lot};
}

/* ---- routes ---- */

static size_t route_at(const struct trace_leans *x, size_t level)
{
    size_t r = 0;
    while (r < x->route_count && x->routes[r] + 1 != level)
        r++;
    return r;
}

static void take_routes(struct trace_leans *x)
{
    const struct trace_lots *t = x->t;
    const struct trace_trips *sent = &t->sent;
    double units = 0;
    size_t at = 0;
    x->routes = xcalloc(t->level_count + 1, sizeof *x->routes);
    x->first = xcalloc(t->count + 1, sizeof *x->first);
    for (size_t i = 0; i < t->level_count; i++) {
        if (strcmp(t->levels[i].factor, "route") == 0)
            x->routes[x->route_count++] = i;
    }
    x->all = xcalloc(x->route_count + 1, sizeof *x->all);
    x->part = xcalloc(x->route_count + 1, sizeof *x->part);
    for (size_t i = 0; i <= t->count; i++) {
        x->first[i] = at;
        while (i < t->count && at < sent->count && sent->rows[at].lot == i)
            at++;
    }
    for (size_t k = 0; k < sent->count; k++) {
        size_t r = route_at(x, sent->rows[k].route);
        x->all[r] += r < x->route_count ? sent->rows[k].units : 0;
        units += r < x->route_count ? sent->rows[k].units : 0;
    }
    for (size_t r = 0; r < x->route_count && units > 0; r++)
        x->all[r] /= units;
}

/* False where it is not known how the lot went. */
static bool take_parts(struct trace_leans *x, size_t lot)
{
    double units = 0;
    memset(x->part, 0, x->route_count * sizeof *x->part);
    for (size_t k = x->first[lot]; k < x->first[lot + 1]; k++) {
        size_t r = route_at(x, x->t->sent.rows[k].route);
        if (r == x->route_count)
            return false;
        x->part[r] += x->t->sent.rows[k].units;
        units += x->t->sent.rows[k].units;
    }
    for (size_t r = 0; r < x->route_count && units > 0; r++)
        x->part[r] /= units;
    return units > 0;
}

/* ---- stores ---- */

static int by_store(const void *a, const void *b)
{
    const struct named *x = a, *y = b;
    if (x->store != y->store)
        return x->store < y->store ? -1 : 1;
    return (x->lot > y->lot) - (x->lot < y->lot);
}

static void weigh(struct trace_leans *x, size_t from, size_t to, double *log_weight)
{
    for (size_t r = 0; r < x->route_count; r++)
        log_weight[r] = x->all[r] > 0 ? log(x->all[r]) : -INFINITY;
    for (size_t i = from; i < to; i++) {
        if ((i > from && x->named[i].lot == x->named[i - 1].lot) || !take_parts(x, x->named[i].lot))
            continue;
        for (size_t r = 0; r < x->route_count; r++) {
            if (x->all[r] > 0)
                log_weight[r] += log((1 - ASTRAY) * x->part[r] / x->all[r] + ASTRAY);
        }
    }
}

static void set_leans(struct trace_leans *x, size_t from, size_t to)
{
    struct trace_level *store = &x->t->levels[x->named[from].store - 1];
    double *log_weight = xcalloc(x->route_count + 1, sizeof *log_weight);
    double most = -INFINITY, total = 0;
    weigh(x, from, to, log_weight);
    for (size_t r = 0; r < x->route_count; r++)
        most = fmax(most, log_weight[r]);
    for (size_t r = 0; r < x->route_count && isfinite(most); r++)
        total += exp(log_weight[r] - most);
    store->leans = xcalloc(x->route_count + 1, sizeof *store->leans);
    for (size_t r = 0; r < x->route_count && total > 0; r++) {
        double share = exp(log_weight[r] - most) / total;
        if (share >= LEAN_LEAST)
            store->leans[store->lean_count++] = (struct trace_lean){x->routes[r] + 1, share};
    }
    free(log_weight);
}

void trace_leans_set(struct trace_leans *x)
{
    take_routes(x);
    if (x->count)
        qsort(x->named, x->count, sizeof *x->named, by_store);
    for (size_t i = 0; i < x->t->level_count; i++) {
        free(x->t->levels[i].leans);
        x->t->levels[i].leans = NULL;
        x->t->levels[i].lean_count = 0;
    }
    for (size_t from = 0, to; from < x->count; from = to) {
        for (to = from; to < x->count && x->named[to].store == x->named[from].store;)
            to++;
        if (x->route_count && x->t->levels[x->named[from].store - 1].only_named)
            set_leans(x, from, to);
    }
}

double trace_leans_of(const struct trace_lots *t, size_t store, size_t route)
{
    const struct trace_level *level = &t->levels[store - 1];
    for (size_t i = 0; i < level->lean_count; i++) {
        if (level->leans[i].route == route)
            return level->leans[i].share;
    }
    return 0;
}

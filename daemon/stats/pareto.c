#include "stats/pareto.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/error.h"

/* Sums of shares may miss the cut by the last bit. */
#define TIE 1e-12

static int by_size(const void *a, const void *b)
{
    const struct pareto_row *x = a, *y = b;
    if (x->count != y->count)
        return x->count < y->count ? 1 : -1;
    return strcmp(x->name, y->name);
}

int pareto_order(struct pareto_row *rows, size_t n, const char *other, double cut)
{
    assert(cut >= 0 && cut <= 1);
    double total = 0, running = 0;
    for (size_t i = 0; i < n; i++) {
        if (!(rows[i].count >= 0) || !isfinite(rows[i].count))
            return ERROR_INVALID;
        total += rows[i].count;
    }
    size_t sorted = n;
    for (size_t i = 0; other && i < n; i++)
        if (strcmp(rows[i].name, other) == 0) {
            struct pareto_row last = rows[i];
            rows[i] = rows[n - 1];
            rows[n - 1] = last;
            sorted = n - 1;
            break;
        }
    qsort(rows, sorted, sizeof *rows, by_size);
    for (size_t i = 0; i < n; i++) {
        rows[i].vital = total > 0 && running < cut * total * (1.0 - TIE);
        running += rows[i].count;
        rows[i].share = total > 0 ? rows[i].count / total : 0.0;
        rows[i].cumulative = total > 0 ? running / total : 0.0;
    }
    return 0;
}

#include "stats/multiplicity.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>

#include "base/error.h"
#include "base/text.h"

struct ranked {
    double p;
    size_t at;
};

static int by_p(const void *a, const void *b)
{
    double x = ((const struct ranked *)a)->p, y = ((const struct ranked *)b)->p;
    return (x > y) - (x < y);
}

/* Sorted copy, or NULL if a value is no probability. The caller frees it. */
static struct ranked *rank(const double *p, size_t n)
{
    for (size_t i = 0; i < n; i++)
        if (!(p[i] >= 0 && p[i] <= 1))
            return NULL;
    struct ranked *sorted = xcalloc(n + 1, sizeof *sorted);
    for (size_t i = 0; i < n; i++)
        sorted[i] = (struct ranked){p[i], i};
    qsort(sorted, n, sizeof *sorted, by_p);
    return sorted;
}

int multiplicity_benjamini_hochberg(const double *p, size_t n, double *ret_q)
{
    struct ranked *sorted = rank(p, n);
    if (!sorted)
        return ERROR_INVALID;
    assert(n == 0 || sorted[0].p <= sorted[n - 1].p);
    double least = 1.0;
    for (size_t i = n; i-- > 0;) { /* step up: from the largest p down */
        least = fmin(least, sorted[i].p * (double)n / (double)(i + 1));
        assert(sorted[i].at < n && least >= 0 && least <= 1);
        ret_q[sorted[i].at] = least;
    }
    free(sorted);
    return 0;
}

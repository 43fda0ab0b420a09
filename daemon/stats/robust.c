#include "stats/robust.h"

#include <assert.h>
#include <math.h>

static void swap(double *a, double *b)
{
    double t = *a;
    *a = *b;
    *b = t;
}

/* Hoare's selection: afterwards values[k] is the k-th smallest, smaller ones to its left. */
static void select_rank(double *values, size_t n, size_t k)
{
    assert(n > 0 && k < n);
    size_t low = 0, high = n - 1;
    while (low < high) {
        double pivot = values[low + (high - low) / 2];
        size_t i = low, j = high;
        for (;;) {
            while (values[i] < pivot)
                i++;
            while (values[j] > pivot)
                j--;
            if (i >= j)
                break;
            swap(&values[i++], &values[j--]);
        }
        if (k <= j)
            high = j;
        else
            low = j + 1;
    }
}

double robust_quantile(double *values, size_t n, double p)
{
    if (n == 0 || !(p >= 0 && p <= 1))
        return NAN;
    double place = (double)(n - 1) * p;
    size_t k = (size_t)floor(place);
    select_rank(values, n, k);
    assert(k < n);
    double share = place - (double)k;
    if (share == 0 || k + 1 >= n)
        return values[k];
    double next = values[k + 1];
    for (size_t i = k + 2; i < n; i++)
        next = fmin(next, values[i]);
    return values[k] + share * (next - values[k]);
}

double robust_median(double *values, size_t n)
{
    return robust_quantile(values, n, 0.5);
}

struct robust_scale robust_measure(double *values, size_t n)
{
    struct robust_scale s = {.median = robust_median(values, n)};
    for (size_t i = 0; i < n; i++)
        values[i] = fabs(values[i] - s.median);
    s.deviation = ROBUST_NORMAL * robust_median(values, n);
    return s;
}

double robust_z(double value, struct robust_scale scale, double floor)
{
    double off = value - scale.median, spread = fmax(scale.deviation, floor);
    if (spread > 0)
        return off / spread;
    return off == 0 ? 0.0 : copysign(INFINITY, off);
}

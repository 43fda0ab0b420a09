#include "stats/score.h"

#include <assert.h>
#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

#include "base/error.h"
#include "base/text.h"

static bool statements_ok(const double *p, const int *y, size_t n)
{
    for (size_t i = 0; i < n; i++)
        if (!(p[i] >= 0 && p[i] <= 1) || (y[i] != 0 && y[i] != 1))
            return false;
    return true;
}

/* Sums into a bin; finish_bins() makes means of them. */
static void add_to_bin(struct score_bin *bin, double p, int y)
{
    assert(p >= 0 && p <= 1 && (y == 0 || y == 1));
    bin->said += p;
    bin->n++;
    bin->hits += (size_t)y;
}

static void finish_bins(struct score_bin *bins, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        double n = (double)bins[i].n;
        bins[i].said = bins[i].n ? bins[i].said / n : NAN;
        bins[i].was = bins[i].n ? (double)bins[i].hits / n : NAN;
    }
}

int score_calibration(const double *p, const int *y, size_t n, size_t bins,
                      struct score_bin *ret_bins)
{
    if (bins == 0 || !statements_ok(p, y, n))
        return ERROR_INVALID;
    for (size_t i = 0; i < bins; i++)
        ret_bins[i] = (struct score_bin){0};
    for (size_t i = 0; i < n; i++) {
        size_t at = (size_t)(p[i] * (double)bins);
        add_to_bin(&ret_bins[at < bins ? at : bins - 1], p[i], y[i]);
    }
    finish_bins(ret_bins, bins);
    return 0;
}

double score_calibration_error(const struct score_bin *bins, size_t count)
{
    double sum = 0;
    size_t n = 0;
    for (size_t i = 0; i < count; i++) {
        if (bins[i].n == 0)
            continue;
        sum += (double)bins[i].n * fabs(bins[i].said - bins[i].was);
        n += bins[i].n;
    }
    return n ? sum / (double)n : NAN;
}

struct statement {
    double p;
    int y;
};

static int by_probability(const void *a, const void *b)
{
    double x = ((const struct statement *)a)->p, y = ((const struct statement *)b)->p;
    return (x > y) - (x < y);
}

/* One bin a distinct stated value; returns how many. */
static size_t bins_of_values(const double *p, const int *y, size_t n, struct score_bin *bins)
{
    struct statement *sorted = xcalloc(n, sizeof *sorted);
    size_t count = 0;
    for (size_t i = 0; i < n; i++)
        sorted[i] = (struct statement){p[i], y[i]};
    qsort(sorted, n, sizeof *sorted, by_probability);
    for (size_t i = 0; i < n; i++) {
        if (i == 0 || sorted[i].p != sorted[i - 1].p)
            bins[count++] = (struct score_bin){0};
        add_to_bin(&bins[count - 1], sorted[i].p, sorted[i].y);
    }
    assert(count <= n);
    free(sorted);
    finish_bins(bins, count);
    return count;
}

int score_brier(const double *p, const int *y, size_t n, size_t bins, struct score_brier *ret)
{
    if (n == 0 || !statements_ok(p, y, n))
        return ERROR_INVALID;
    size_t count = bins ? bins : n;
    struct score_bin *table = xcalloc(count, sizeof *table);
    if (bins)
        (void)score_calibration(p, y, n, bins, table);
    else
        count = bins_of_values(p, y, n, table);
    struct score_brier b = {0};
    double hits = 0;
    for (size_t i = 0; i < n; i++) {
        b.score += (p[i] - y[i]) * (p[i] - y[i]) / (double)n;
        hits += y[i];
    }
    double base = hits / (double)n;
    for (size_t i = 0; i < count; i++) {
        if (table[i].n == 0)
            continue;
        double share = (double)table[i].n / (double)n;
        b.reliability += share * (table[i].said - table[i].was) * (table[i].said - table[i].was);
        b.resolution += share * (table[i].was - base) * (table[i].was - base);
    }
    free(table);
    b.uncertainty = base * (1.0 - base);
    b.within = b.score - (b.reliability - b.resolution + b.uncertainty);
    b.skill = b.uncertainty > 0 ? 1.0 - b.score / b.uncertainty : NAN;
    *ret = b;
    return 0;
}

double score_case_brier(const double *p, size_t n, size_t confirmed)
{
    double sum = 0;
    for (size_t i = 0; i < n; i++) {
        double off = p[i] - (i == confirmed ? 1.0 : 0.0);
        sum += off * off;
    }
    return sum;
}

double score_case_log(const double *p, size_t n, size_t confirmed, double floor, size_t *floored)
{
    assert(floor > 0);
    double happened = confirmed < n ? p[confirmed] : 0.0;
    if (happened >= floor)
        return -log(happened);
    if (floored)
        ++*floored;
    return -log(floor);
}

size_t score_case_rank(const double *p, size_t n, size_t confirmed)
{
    size_t rank = 1;
    if (confirmed >= n)
        return n + 1;
    for (size_t i = 0; i < n; i++)
        rank += i != confirmed && p[i] >= p[confirmed];
    return rank;
}

/* Median, MAD and quantiles against a plain sort. */
#include "checks.h"

#include <stdlib.h>

#include "stats/robust.h"

static int ascending(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static void quantiles_match_a_sort(void **state)
{
    (void)state;
    unsigned seed = 12345;
    double values[200], sorted[200];
    for (size_t n = 1; n <= 200; n++)
        for (int shape = 0; shape < 3; shape++) {
            for (size_t i = 0; i < n; i++) {
                seed = seed * 1103515245u + 12345u;
                unsigned r = seed >> 16;
                sorted[i] = shape == 0 ? r % 1000 : shape == 1 ? r % 3 : (double)i;
            }
            memcpy(values, sorted, sizeof sorted);
            qsort(sorted, n, sizeof *sorted, ascending);
            for (int k = 0; k <= 20; k++) {
                double place = (double)(n - 1) * k / 20.0;
                size_t low = (size_t)place;
                double high = low + 1 < n ? sorted[low + 1] : sorted[low];
                double want = sorted[low] + (place - (double)low) * (high - sorted[low]);
                near_value("quantile", robust_quantile(values, n, k / 20.0), want, 1e-12, 1e-12);
            }
        }
}

static void scale_and_z(void **state)
{
    (void)state;
    /* R: x <- c(36.9,37.2,36.4,38,37.1,47.5); median 37.15, mad 0.7413 */
    double x[] = {36.9, 37.2, 36.4, 38, 37.1, 47.5};
    struct robust_scale s = robust_measure(x, 6);
    near_value("median", s.median, 37.15, 1e-14, 0);
    near_value("mad", s.deviation, 0.7413, 1e-5, 0);
    assert_true(robust_z(47.5, s, 0) > 13.9);
    double flat[] = {5, 5, 5, 5, 9};
    s = robust_measure(flat, 5);
    assert_true(s.deviation == 0 && robust_z(5.05, s, 0.1) < 0.51);
    assert_true(isinf(robust_z(5.05, s, 0)) && robust_z(5, s, 0) == 0);
    assert_true(isnan(robust_measure(flat, 0).median));
    assert_true(isnan(robust_quantile(flat, 5, 1.5)));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(quantiles_match_a_sort),
        cmocka_unit_test(scale_and_z),
    };
    return cmocka_run_group_tests(tests, checks_open, checks_close);
}

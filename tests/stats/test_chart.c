/* Control charts against the NIST/SEMATECH e-Handbook of Statistical Methods (6.3.2, 6.3.3), the
 * handbook's data files, and D. B. Laney (2002). */
#include "checks.h"

#include <stdlib.h>

#include "base/error.h"
#include "stats/chart.h"

/* Positions (from 1) of the signals against expected[key]. */
static void want_signals(const char *id, const char *key, const struct chart_point *points,
                         size_t n)
{
    double want[CHECKS_MAX];
    size_t count = wanted_numbers(id, key, want), found = 0;
    for (size_t i = 0; i < n; i++)
        if (points[i].signal) {
            assert_true(found < count);
            assert_int_equal(i + 1, (size_t)want[found]);
            found++;
        }
    assert_int_equal(found, count);
}

static void c_charts(void **state)
{
    (void)state;
    double x[CHECKS_MAX];
    struct chart_point points[CHECKS_MAX];
    struct chart_summary s;
    size_t n = input_numbers("C3-C-NIST", "counts", x);
    assert_int_equal(
        chart_counts(&(struct chart_data){CHART_C, x, NULL, n, 0}, CHART_PLAIN, 3, &s, points), 0);
    want_value("C3-C-NIST", "cbar", s.center);
    want_value("C3-C-NIST", "ucl", points[0].high);
    want_value("C3-C-NIST", "lcl", points[0].low);
    want_signals("C3-C-NIST", "points_strictly_above", points, n); /* not point 3, which is 28 */
    want_value("C3-C-NIST", "dispersion_chi2", s.chi_square);
    want_value("C3-C-NIST", "dispersion_df", s.df);
    want_value("C3-C-NIST", "dispersion_p", s.p);
    n = input_numbers("C3-C-SURF", "counts", x);
    assert_int_equal(
        chart_counts(&(struct chart_data){CHART_C, x, NULL, n, 0}, CHART_PLAIN, 3, &s, points), 0);
    want_value("C3-C-SURF", "cbar", s.center);
    want_value("C3-C-SURF", "ucl", points[0].high);
    want_value("C3-C-SURF", "lcl", points[0].low);
    want_signals("C3-C-SURF", "out", points, n);
}

static void p_chart(void **state)
{
    (void)state;
    const char *id = "C3-P-NIST";
    double x[CHECKS_MAX], sizes[CHECKS_MAX];
    struct chart_point points[CHECKS_MAX];
    struct chart_summary s;
    size_t n = input_numbers(id, "fractions", x);
    for (size_t i = 0; i < n; i++) {
        sizes[i] = input_number(id, "n");
        x[i] = round(x[i] * sizes[i]);
    }
    assert_int_equal(
        chart_counts(&(struct chart_data){CHART_P, x, sizes, n, 0}, CHART_PLAIN, 3, &s, points), 0);
    want_value(id, "pbar", s.center);
    want_value(id, "ucl", points[0].high);
    want_value(id, "lcl", points[0].low);
    want_signals(id, "out", points, n);
}

static void u_chart(void **state)
{
    (void)state;
    const char *id = "C3-U-WIRE", *size;
    double x[CHECKS_MAX], sizes[CHECKS_MAX], want[CHECKS_MAX];
    struct chart_point points[CHECKS_MAX];
    struct chart_summary s;
    size_t n = input_numbers(id, "defects", x);
    input_numbers(id, "size", sizes);
    assert_int_equal(
        chart_counts(&(struct chart_data){CHART_U, x, sizes, n, 0}, CHART_PLAIN, 3, &s, points), 0);
    want_value(id, "ubar", s.center);
    want_signals(id, "out", points, n);
    json_t *limits = check_wanted(id, "limits"), *pair;
    json_object_foreach(limits, size, pair)
    {
        numbers(pair, want);
        for (size_t i = 0; i < n; i++)
            if (sizes[i] == strtod(size, NULL)) {
                near_value("low", points[i].low, want[0], 1e-10, 0);
                near_value("high", points[i].high, want[1], 1e-10, 0);
            }
    }
}

static void laney_p(void **state)
{
    (void)state;
    const char *id = "C3-PPRIME";
    double x[CHECKS_MAX], sizes[CHECKS_MAX], got[3][CHECKS_MAX] = {{0}};
    struct chart_point points[CHECKS_MAX];
    struct chart_summary s;
    size_t n = input_numbers(id, "defectives", x);
    input_numbers(id, "n", sizes);
    assert_int_equal(
        chart_counts(&(struct chart_data){CHART_P, x, sizes, n, 0}, CHART_PLAIN, 3, &s, points), 0);
    want_value(id, "pbar", s.center);
    for (size_t i = 0; i < n; i++) {
        got[0][i] = points[i].z;
        got[1][i] = points[i].high;
        got[2][i] = points[i].low;
    }
    want_series(id, "z", got[0], n, 1e-9, 0);
    want_series(id, "p_ucl", got[1], n, 1e-9, 0);
    want_series(id, "p_lcl", got[2], n, 1e-9, 0);
    assert_int_equal(points[13].signal, 1); /* lot 14 is flagged by p, not by p' */
    assert_int_equal(
        chart_counts(&(struct chart_data){CHART_P, x, sizes, n, 0}, CHART_LANEY, 3, &s, points), 0);
    want_value(id, "sigma_z", s.sigma_z);
    for (size_t i = 0; i < n; i++)
        assert_int_equal(points[i].signal, 0);
    near_value("limit 14", points[13].high, 0.186842, 1e-5, 0);
}

static void laney_u(void **state)
{
    (void)state;
    const char *id = "C3-UPRIME";
    double x[CHECKS_MAX], sizes[CHECKS_MAX], got[3][CHECKS_MAX] = {{0}};
    struct chart_point points[CHECKS_MAX];
    struct chart_summary s;
    size_t n = input_numbers(id, "complaints", x);
    input_numbers(id, "million_units", sizes);
    assert_int_equal(
        chart_counts(&(struct chart_data){CHART_U, x, sizes, n, 0}, CHART_PLAIN, 3, &s, points), 0);
    want_value(id, "ubar", s.center);
    for (size_t i = 0; i < n; i++) {
        got[0][i] = points[i].z;
        got[1][i] = points[i].high;
        got[2][i] = points[i].low;
    }
    want_series(id, "z", got[0], n, 1e-9, 0);
    want_series(id, "u_ucl", got[1], n, 1e-9, 0);
    want_series(id, "u_lcl", got[2], n, 1e-9, 0);
    near_value("dispersion", s.chi_square, 15.58754028, 1e-8, 0);
    near_value("p", s.p, 0.157147, 1e-5, 0);
    assert_int_equal(
        chart_counts(&(struct chart_data){CHART_U, x, sizes, n, 0}, CHART_LANEY, 3, &s, points), 0);
    want_value(id, "sigma_z", s.sigma_z);
    for (size_t i = 0; i < n; i++)
        got[0][i] = points[i].high;
    want_series(id, "uprime_ucl", got[0], n, 1e-9, 0);
    /* the dispersion test does not ask for it here */
    assert_int_equal(chart_counts(&(struct chart_data){CHART_U, x, sizes, n, 0},
                                  CHART_LANEY_IF_NEEDED, 3, &s, points),
                     0);
    assert_true(s.sigma_z == 1.0);
}

static void chart_edges(void **state)
{
    (void)state;
    double x[] = {4, 0, 5, 3, 12}, sizes[] = {2, 0, 2, 2, 2};
    struct chart_point points[5];
    struct chart_summary s;
    assert_int_equal(
        chart_counts(&(struct chart_data){CHART_U, x, sizes, 5, 4}, CHART_LANEY, 3, &s, points), 0);
    near_value("baseline only", s.center, 2, 1e-15, 0);
    assert_true(isnan(points[1].value) && points[1].signal == 0 && points[4].signal == 1);
    x[1] = 1; /* a complaint about nothing made */
    assert_int_equal(
        chart_counts(&(struct chart_data){CHART_U, x, sizes, 5, 0}, CHART_PLAIN, 3, &s, points),
        ERROR_INVALID);
    x[1] = 0;
    assert_int_equal(
        chart_counts(&(struct chart_data){CHART_U, x, sizes, 5, 0}, CHART_PLAIN, 0, &s, points),
        ERROR_INVALID); /* limits of no width */
    double none[] = {0, 0}, no_size[] = {0, 0};
    assert_int_equal(chart_counts(&(struct chart_data){CHART_U, none, no_size, 2, 0}, CHART_PLAIN,
                                  3, &s, points),
                     ERROR_INVALID);
    assert_int_equal(
        chart_counts(&(struct chart_data){CHART_U, none, NULL, 2, 0}, CHART_PLAIN, 3, &s, points),
        ERROR_INVALID);
    assert_int_equal(
        chart_counts(&(struct chart_data){CHART_C, none, NULL, 2, 0}, CHART_LANEY, 3, &s, points),
        0);
    assert_true(points[0].signal == 0 && points[0].high == 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(c_charts), cmocka_unit_test(p_chart), cmocka_unit_test(u_chart),
        cmocka_unit_test(laney_p),  cmocka_unit_test(laney_u), cmocka_unit_test(chart_edges),
    };
    return cmocka_run_group_tests(tests, checks_open, checks_close);
}

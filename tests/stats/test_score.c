/* Scores: A. H. Murphy's partition (1973), Brier (1950); values recomputed with SciPy. */
#include "checks.h"

#include "base/error.h"
#include "stats/score.h"

static size_t statements(double *p, int *y)
{
    double truth[CHECKS_MAX];
    size_t n = input_numbers("B7-BRIER", "p", p);
    input_numbers("B7-BRIER", "y", truth);
    for (size_t i = 0; i < n; i++)
        y[i] = (int)truth[i];
    return n;
}

static void brier_and_its_parts(void **state)
{
    (void)state;
    double p[CHECKS_MAX];
    int y[CHECKS_MAX];
    size_t n = statements(p, y);
    for (size_t bins = 0; bins <= 5; bins += 5) { /* one stated value a bin either way */
        struct score_brier b;
        assert_int_equal(score_brier(p, y, n, bins, &b), 0);
        want_value("B7-BRIER", "brier", b.score);
        want_value("B7-BRIER", "reliability", b.reliability);
        want_value("B7-BRIER", "resolution", b.resolution);
        want_value("B7-BRIER", "uncertainty", b.uncertainty);
        want_value("B7-BRIER", "skill", b.skill);
        near_value("identity", b.within, 0, 0, 1e-15);
    }
    struct score_brier coarse;
    assert_int_equal(score_brier(p, y, n, 2, &coarse), 0);
    want_value("B7-BRIER", "brier", coarse.score);
    assert_true(fabs(coarse.within) > 1e-3);
}

static void calibration_table(void **state)
{
    (void)state;
    double p[CHECKS_MAX], want[CHECKS_MAX];
    int y[CHECKS_MAX];
    size_t n = statements(p, y);
    struct score_bin bins[5];
    assert_int_equal(score_calibration(p, y, n, 5, bins), 0);
    for (size_t i = 0; i < 5; i++) {
        numbers(json_array_get(check_wanted("B7-BRIER", "bins_[p,n,events]"), i), want);
        near_value("said", bins[i].said, want[0], 1e-12, 0);
        assert_true(bins[i].n == (size_t)want[1] && bins[i].hits == (size_t)want[2]);
    }
    want_value("B7-BRIER", "ece", score_calibration_error(bins, 5));
    double sure[] = {1.0, 0.0};
    int truth[] = {1, 0};
    assert_int_equal(score_calibration(sure, truth, 2, 4, bins), 0);
    assert_true(bins[3].n == 1 && bins[0].n == 1 && isnan(bins[1].said));
    assert_true(score_calibration_error(bins, 4) == 0);
    sure[0] = 1.5;
    assert_int_equal(score_calibration(sure, truth, 2, 4, bins), ERROR_INVALID);
}

static void rankings(void **state)
{
    (void)state;
    static const double p[][3] = {{.7, .2, .1}, {.1, .6, .3}, {.3, .3, .4}, {.2, .5, .3}};
    static const size_t confirmed[] = {0, 1, 2, 0};
    double brier = 0, nats = 0;
    size_t floored = 0;
    for (size_t i = 0; i < 4; i++) {
        brier += score_case_brier(p[i], 3, confirmed[i]) / 4;
        nats += score_case_log(p[i], 3, confirmed[i], 1e-6, &floored) / 4;
    }
    want_value("B7-MULTI", "brier_sum_over_classes", brier);
    want_value("B7-MULTI", "log_score_nats", nats);
    assert_int_equal(score_case_rank(p[0], 3, 0), 1);
    assert_int_equal(score_case_rank(p[3], 3, 0), 3);
    assert_int_equal(score_case_rank(p[2], 3, 0), 3); /* tied with another: ranked behind it */
    assert_int_equal(score_case_rank(p[2], 3, 7), 4);
    double none[] = {0, 1};
    near_value("floor", score_case_log(none, 2, 0, 1e-3, &floored), log(1e3), 1e-12, 0);
    assert_int_equal(floored, 1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(brier_and_its_parts),
        cmocka_unit_test(calibration_table),
        cmocka_unit_test(rankings),
    };
    return cmocka_run_group_tests(tests, checks_open, checks_close);
}

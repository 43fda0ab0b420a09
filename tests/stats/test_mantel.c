/* Two-by-two tables: Fisher's tea and twins (single tables are one stratum), Oswego 1940 (CDC case
 * study 401-303, data object `oswego` of R package epitools), Berkeley admissions (P. J. Bickel et
 * al., Science 187 (1975)), the thrombolysis p-values of Benjamini & Hochberg (1995). */
#include "checks.h"

#include "base/error.h"
#include "stats/mantel.h"
#include "stats/multiplicity.h"

static struct mantel_table table_from(const json_t *rows)
{
    long cells[4];
    for (size_t i = 0; i < 4; i++)
        cells[i] = (long)json_integer_value(json_array_get(json_array_get(rows, i / 2), i % 2));
    return (struct mantel_table){cells[0], cells[1], cells[2], cells[3]};
}

static size_t strata_from(const json_t *array, struct mantel_table *out)
{
    for (size_t i = 0; i < json_array_size(array); i++)
        out[i] = table_from(json_array_get(array, i));
    return json_array_size(array);
}

/* Chocolate looked protective only because those who ate it ate less vanilla. */
static void oswego_chocolate_within_vanilla(void **state)
{
    (void)state;
    const char *id = "T2-OSW-CONF";
    struct mantel_table strata[2] = {table_from(check_input(id, "vanilla_yes")),
                                     table_from(check_input(id, "vanilla_no"))};
    struct mantel m;
    struct pvalue p;
    struct conditional_odds odds;
    assert_int_equal(mantel_test(strata, 2, 0.95, &m), 0);
    want_value(id, "or_mh", m.odds_ratio);
    want_interval(id, "ci95", m.limits);
    want_value(id, "chi2_nocc", m.chi_square);
    want_value(id, "p_nocc", m.p);
    assert_int_equal(mantel_exact(strata, 2, 0.95, &p, &odds), 0);
    want_value(id, "p_exact", p.two_sided);
    want_value(id, "or_exact_cmle", odds.ratio);
    want_interval(id, "ci95_exact", odds.exact);
}

static void admissions(void **state)
{
    (void)state;
    const char *id = "T2-UCB";
    struct mantel_table strata[8];
    size_t n = strata_from(check_input(id, "strata_2x2"), strata);
    struct mantel m;
    struct pvalue p;
    struct conditional_odds odds;
    assert_int_equal(mantel_test(strata, n, 0.95, &m), 0);
    want_value(id, "chi2_cc", m.chi_square_corrected);
    want_value(id, "p_cc", m.p_corrected);
    want_value(id, "chi2_nocc", m.chi_square);
    want_value(id, "p_nocc", m.p);
    want_value(id, "or_mh", m.odds_ratio);
    want_interval(id, "ci95_rbg", m.limits);
    assert_int_equal(mantel_exact(strata, n, 0.95, &p, &odds), 0);
    want_value(id, "or_exact_cmle", odds.ratio);
    want_interval(id, "ci95_exact", odds.exact);
    want_value(id, "p_exact", p.two_sided);
    for (int sure = 0; sure < 2; sure++)
        assert_int_equal(mantel_exact(strata, n, sure, &p, &odds), ERROR_INVALID);
}

static void complaints_by_week(void **state)
{
    (void)state;
    const char *id = "T2-CMHWEEK";
    struct mantel_table strata[8];
    size_t n = strata_from(check_input(id, "strata_2x2"), strata);
    strata[n] = (struct mantel_table){0, 0, 3, 40}; /* a week without the factor changes nothing */
    struct mantel m;
    struct pvalue p;
    struct conditional_odds odds;
    assert_int_equal(mantel_test(strata, n + 1, 0.95, &m), 0);
    assert_int_equal(m.strata, n);
    want_value(id, "sum_a", m.observed);
    want_value(id, "sum_E", m.expected);
    want_value(id, "sum_V", m.variance);
    want_value(id, "chi2_nocc", m.chi_square);
    want_value(id, "p_nocc", m.p);
    want_value(id, "chi2_cc", m.chi_square_corrected);
    want_value(id, "p_cc", m.p_corrected);
    want_value(id, "or_mh", m.odds_ratio);
    want_value(id, "se_log_rbg", m.log_se);
    want_interval(id, "ci95_rbg", m.limits);
    want_value(id, "rr_mh", m.risk_ratio);
    want_interval(id, "rr_ci95_greenland_robins", m.risk_limits);
    want_value(id, "breslow_day", m.breslow_day);
    want_value(id, "breslow_day_p", m.breslow_day_p);
    assert_int_equal(mantel_exact(strata, n + 1, 0.95, &p, &odds), 0);
    want_value(id, "p_exact", p.two_sided);
    want_value(id, "or_exact_cmle", odds.ratio);
    want_interval(id, "ci95_exact", odds.exact);
}

static void strata_edges(void **state)
{
    (void)state;
    struct mantel_table empty[] = {{0, 0, 3, 4}, {2, 0, 5, 0}}, minus[] = {{1, -1, 2, 3}};
    struct mantel_table sure[] = {{5, 0, 0, 7}, {3, 0, 0, 9}};
    struct mantel m;
    assert_int_equal(mantel_test(empty, 2, 0.95, &m), ERROR_INVALID);
    assert_int_equal(mantel_exact(empty, 2, 0.95, NULL, NULL), ERROR_INVALID);
    assert_int_equal(mantel_test(minus, 1, 0.95, &m), ERROR_INVALID);
    assert_int_equal(mantel_test(sure, 2, 0.95, &m), 0);
    assert_true(isinf(m.odds_ratio) && isnan(m.limits.low) && m.p < 1e-4);
    assert_true(isinf(m.risk_ratio) && isnan(m.risk_limits.low) && isnan(m.risk_limits.high));
    struct pvalue q;
    struct mantel_table huge = {30000, 30000, 30000, 30000};
    assert_int_equal(mantel_exact(&huge, 1, 0.9, &q, NULL), ERROR_TOO_LARGE);
}

/* A single table is one stratum: Fisher's own examples, and where a margin is empty. */
static void one_table(void **state)
{
    (void)state;
    static const char *const ids[] = {"T2-TEA", "T2-TWINS"};
    for (size_t i = 0; i < 2; i++) {
        struct mantel_table t = table_from(check_input(ids[i], "table"));
        struct pvalue p;
        struct conditional_odds odds;
        assert_int_equal(mantel_exact(&t, 1, 0.95, &p, &odds), 0);
        want_value(ids[i], "p_two_sided", p.two_sided);
        want_value(ids[i], i ? "p_less" : "p_greater", i ? p.less : p.greater);
        want_value(ids[i], "or_cmle", odds.ratio);
        want_interval(ids[i], "ci95", odds.exact);
    }
}

static void false_discoveries(void **state)
{
    (void)state;
    double p[CHECKS_MAX], adjusted[CHECKS_MAX];
    size_t n = input_numbers("T2-BH95", "p", p);
    assert_int_equal(multiplicity_benjamini_hochberg(p, n, adjusted), 0);
    want_series("T2-BH95", "bh_adjusted", adjusted, n, 1e-9, 0);
    n = input_numbers("T2-BHSTEPUP", "p", p);
    assert_int_equal(multiplicity_benjamini_hochberg(p, n, p), 0); /* in place */
    want_series("T2-BHSTEPUP", "bh_adjusted", p, n, 1e-12, 0);
    static const double BAD[] = {NAN, -0.01, 1.01};
    for (size_t i = 0; i < sizeof BAD / sizeof *BAD; i++) {
        p[0] = BAD[i];
        assert_int_equal(multiplicity_benjamini_hochberg(p, n, adjusted), ERROR_INVALID);
    }
    static const double EDGES[] = {0, 1};
    assert_int_equal(multiplicity_benjamini_hochberg(EDGES, 2, adjusted), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(oswego_chocolate_within_vanilla),
        cmocka_unit_test(admissions),
        cmocka_unit_test(complaints_by_week),
        cmocka_unit_test(one_table),
        cmocka_unit_test(strata_edges),
        cmocka_unit_test(false_discoveries),
    };
    return cmocka_run_group_tests(tests, checks_open, checks_close);
}

/* Two-by-two tables: Fisher's tea and twins, Oswego 1940 (CDC case study 401-303, data object
 * `oswego` of R package epitools), Berkeley admissions (P. J. Bickel et al., Science 187 (1975)),
 * the thrombolysis p-values of Benjamini & Hochberg (1995). */
#include "checks.h"

#include "base/error.h"
#include "stats/mantel.h"
#include "stats/multiplicity.h"
#include "stats/table2.h"

static struct table2 table_from(const json_t *rows)
{
    long cells[4];
    for (size_t i = 0; i < 4; i++)
        cells[i] = (long)json_integer_value(json_array_get(json_array_get(rows, i / 2), i % 2));
    return (struct table2){cells[0], cells[1], cells[2], cells[3]};
}

static size_t strata_from(const json_t *array, struct table2 *out)
{
    for (size_t i = 0; i < json_array_size(array); i++)
        out[i] = table_from(json_array_get(array, i));
    return json_array_size(array);
}

static void tea_and_twins(void **state)
{
    (void)state;
    struct table2 tea = table_from(check_input("T2-TEA", "table"));
    struct table2 twins = table_from(check_input("T2-TWINS", "table"));
    struct pvalue p;
    struct conditional_odds odds, one_sided;
    assert_int_equal(table2_test(&tea, &p), 0);
    want_value("T2-TEA", "p_greater", p.greater);
    want_value("T2-TEA", "p_two_sided", p.two_sided);
    assert_int_equal(table2_odds(&tea, 0.95, &odds), 0);
    want_value("T2-TEA", "or_cmle", odds.ratio);
    want_interval("T2-TEA", "ci95", odds.exact);
    assert_int_equal(table2_odds(&tea, 0.90, &one_sided), 0);
    want_value("T2-TEA", "lower_one_sided_95", one_sided.exact.low);
    assert_int_equal(table2_test(&twins, &p), 0);
    want_value("T2-TWINS", "p_less", p.less);
    want_value("T2-TWINS", "p_two_sided", p.two_sided);
    assert_int_equal(table2_odds(&twins, 0.95, &odds), 0);
    want_value("T2-TWINS", "or_cmle", odds.ratio);
    want_interval("T2-TWINS", "ci95", odds.exact);
    assert_int_equal(table2_odds(&twins, 0.90, &one_sided), 0);
    want_value("T2-TWINS", "upper_one_sided_95", one_sided.exact.high);
}

static void enrichment(void **state)
{
    (void)state;
    const char *id = "T2-ENRICH";
    struct pvalue p;
    assert_int_equal(table2_enrichment((long)input_number(id, "population"),
                                       (long)input_number(id, "with_factor"),
                                       (long)input_number(id, "drawn"),
                                       (long)input_number(id, "hits"), &p),
                     0);
    want_value(id, "p_greater", p.greater);
    want_value(id, "midp_greater", p.midp_greater);
    struct table2 t = table_from(check_input(id, "table"));
    struct conditional_odds odds;
    struct table2_ratio woolf;
    assert_int_equal(table2_odds(&t, 0.95, &odds), 0);
    want_value(id, "or_cmle", odds.ratio);
    want_interval(id, "ci95_exact", odds.exact);
    want_interval(id, "ci95_midp", odds.midp);
    assert_int_equal(table2_woolf(&t, 0.95, 0, &woolf), 0);
    want_value(id, "or_sample", woolf.ratio);
    want_interval(id, "ci95_woolf", woolf.limits);
    assert_int_equal(table2_woolf(&t, 0.95, 1, &woolf), 0);
    want_value(id, "haldane_anscombe_or", woolf.ratio);
    want_interval(id, "haldane_anscombe_ci95", woolf.limits);
    assert_int_equal(table2_enrichment(10, 3, 4, 5, &p), ERROR_INVALID);
}

static void empty_cells(void **state)
{
    (void)state;
    struct table2 t = table_from(check_input("T2-ZEROCELL", "table"));
    struct table2_ratio woolf;
    assert_int_equal(table2_woolf(&t, 0.95, 0, &woolf), 0);
    want_value("T2-ZEROCELL", "or", woolf.ratio);
    want_interval("T2-ZEROCELL", "ci95", woolf.limits);
    struct conditional_odds odds;
    assert_int_equal(table2_odds(&t, 0.95, &odds), 0);
    assert_true(odds.ratio == 0 && odds.exact.low == 0 && odds.exact.high > 1);
    struct table2 fixed = {0, 0, 4, 9}, none = {0, 0, 0, 0}, minus = {-1, 2, 3, 4};
    assert_int_equal(table2_odds(&fixed, 0.95, &odds), 0);
    assert_true(isnan(odds.ratio) && odds.exact.low == 0 && isinf(odds.exact.high));
    struct pvalue p;
    assert_int_equal(table2_test(&fixed, &p), 0);
    assert_true(p.two_sided == 1 && p.less == 1 && p.greater == 1);
    assert_int_equal(table2_test(&none, &p), ERROR_INVALID);
    assert_int_equal(table2_test(&minus, &p), ERROR_INVALID);
    assert_true(table2_chi_square(&fixed) == 0);
}

/* Far tails and large tables stay finite. */
static void large_tables(void **state)
{
    (void)state;
    struct table2 t = {400, 200, 300, 99100};
    struct pvalue p;
    struct conditional_odds odds;
    assert_int_equal(table2_test(&t, &p), 0);
    assert_true(p.greater >= 0 && p.greater < 1e-100 && p.less == 1);
    assert_int_equal(table2_odds(&t, 0.95, &odds), 0);
    assert_true(odds.exact.low > 500 && odds.exact.high < 850 && odds.ratio > odds.midp.low);
}

static void oswego_food(const char *id, double *p_two_sided)
{
    struct table2 t = {(long)input_number(id, "a"), (long)input_number(id, "b"),
                       (long)input_number(id, "c"), (long)input_number(id, "d")};
    struct pvalue p;
    struct conditional_odds odds;
    struct table2_ratio risk, woolf;
    assert_int_equal(table2_test(&t, &p), 0);
    assert_int_equal(table2_odds(&t, 0.95, &odds), 0);
    assert_int_equal(table2_risk_ratio(&t, 0.95, &risk), 0);
    assert_int_equal(table2_woolf(&t, 0.95, 0, &woolf), 0);
    want_value(id, "rr", risk.ratio);
    want_value(id, "rr_lo", risk.limits.low);
    want_value(id, "rr_hi", risk.limits.high);
    want_value(id, "or_sample", woolf.ratio);
    want_value(id, "or_cmle", odds.ratio);
    want_value(id, "or_lo", odds.exact.low);
    want_value(id, "or_hi", odds.exact.high);
    want_value(id, "or_midp_lo", odds.midp.low);
    want_value(id, "or_midp_hi", odds.midp.high);
    want_value(id, "p_fisher", p.two_sided);
    want_value(id, "p_greater", p.greater);
    want_value(id, "chi2", table2_chi_square(&t));
    want_value(id, "log10_bf", table2_log_bayes_factor(&t) / M_LN10);
    *p_two_sided = p.two_sided;
}

/* One food's table counted from the line list. */
static struct table2 table_of_food(size_t food)
{
    struct table2 t = {0};
    size_t i;
    json_t *rows = check_input("DS-OSWEGO", "rows"), *row;
    json_array_foreach(rows, i, row)
    {
        bool ill = strcmp(json_string_value(json_array_get(row, 3)), "Y") == 0;
        switch (json_string_value(json_array_get(row, 6))[food]) {
        case '1':
            *(ill ? &t.a : &t.b) += 1;
            break;
        case '0':
            *(ill ? &t.c : &t.d) += 1;
            break;
        default: /* not known */
            break;
        }
    }
    return t;
}

static void oswego_line_list(void **state)
{
    (void)state;
    size_t i;
    json_t *foods = check_input("DS-OSWEGO", "foods"), *food;
    json_array_foreach(foods, i, food)
    {
        char id[64];
        snprintf(id, sizeof id, "T2-OSW-%s", json_string_value(food));
        struct table2 t = table_of_food(i);
        assert_int_equal(t.a, (long)input_number(id, "a"));
        assert_int_equal(t.b, (long)input_number(id, "b"));
        assert_int_equal(t.c, (long)input_number(id, "c"));
        assert_int_equal(t.d, (long)input_number(id, "d"));
    }
}

/* The food everybody knows must come first, and nothing else may. */
static void oswego_supper(void **state)
{
    (void)state;
    double p[CHECKS_MAX], q[CHECKS_MAX];
    const char *ids[CHECKS_MAX];
    size_t i, n = 0;
    json_t *check;
    json_array_foreach(checks_all, i, check)
    {
        const char *id = json_string_value(json_object_get(check, "id"));
        if (strncmp(id, "T2-OSW-", 7) != 0 ||
            !json_object_get(json_object_get(check, "inputs"), "food"))
            continue;
        ids[n] = id;
        oswego_food(id, &p[n]);
        n++;
    }
    assert_int_equal(n, 14);
    assert_int_equal(multiplicity_benjamini_hochberg(p, n, q), 0);
    for (i = 0; i < n; i++) {
        want_value(ids[i], "bh", q[i]);
        assert_true((q[i] < 0.05) == (strstr(ids[i], "vanilla") != NULL));
    }
}

/* Chocolate looked protective only because those who ate it ate less vanilla. */
static void oswego_chocolate_within_vanilla(void **state)
{
    (void)state;
    const char *id = "T2-OSW-CONF";
    struct table2 strata[2] = {table_from(check_input(id, "vanilla_yes")),
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
    struct table2 strata[8];
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
    double each[8];
    for (size_t i = 0; i < n; i++) {
        struct table2_ratio woolf;
        assert_int_equal(table2_woolf(&strata[i], 0.95, 0, &woolf), 0);
        each[i] = woolf.ratio;
    }
    want_series(id, "stratum_or", each, n, 1e-9, 0);
}

static void complaints_by_week(void **state)
{
    (void)state;
    const char *id = "T2-CMHWEEK";
    struct table2 strata[8];
    size_t n = strata_from(check_input(id, "strata_2x2"), strata);
    strata[n] = (struct table2){0, 0, 3, 40}; /* a week without the factor changes nothing */
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
    struct table2 empty[] = {{0, 0, 3, 4}, {2, 0, 5, 0}}, minus[] = {{1, -1, 2, 3}};
    struct table2 sure[] = {{5, 0, 0, 7}, {3, 0, 0, 9}};
    struct mantel m;
    assert_int_equal(mantel_test(empty, 2, 0.95, &m), ERROR_INVALID);
    assert_int_equal(mantel_exact(empty, 2, 0.95, NULL, NULL), ERROR_INVALID);
    assert_int_equal(mantel_test(minus, 1, 0.95, &m), ERROR_INVALID);
    assert_int_equal(mantel_test(sure, 2, 0.95, &m), 0);
    assert_true(isinf(m.odds_ratio) && isnan(m.limits.low) && m.p < 1e-4);
    /* one stratum alone is the single table */
    struct table2 one = {6, 4, 9, 101};
    struct conditional_odds single, joint;
    struct pvalue p, q;
    assert_int_equal(table2_odds(&one, 0.9, &single), 0);
    assert_int_equal(table2_test(&one, &p), 0);
    assert_int_equal(mantel_exact(&one, 1, 0.9, &q, &joint), 0);
    near_value("ratio", joint.ratio, single.ratio, 1e-9, 0);
    near_value("mid-P low", joint.midp.low, single.midp.low, 1e-9, 0);
    near_value("p", q.two_sided, p.two_sided, 1e-9, 0);
    struct table2 huge = {30000, 30000, 30000, 30000};
    assert_int_equal(mantel_exact(&huge, 1, 0.9, &q, NULL), ERROR_TOO_LARGE);
}

static void false_discoveries(void **state)
{
    (void)state;
    double p[CHECKS_MAX], adjusted[CHECKS_MAX];
    size_t n = input_numbers("T2-BH95", "p", p);
    assert_int_equal(multiplicity_benjamini_hochberg(p, n, adjusted), 0);
    want_series("T2-BH95", "bh_adjusted", adjusted, n, 1e-9, 0);
    assert_int_equal(multiplicity_holm(p, n, adjusted), 0);
    want_series("T2-BH95", "holm", adjusted, n, 1e-9, 0);
    n = input_numbers("T2-BHSTEPUP", "p", p);
    assert_int_equal(multiplicity_benjamini_hochberg(p, n, p), 0); /* in place */
    want_series("T2-BHSTEPUP", "bh_adjusted", p, n, 1e-12, 0);
    p[0] = NAN;
    assert_int_equal(multiplicity_benjamini_hochberg(p, n, adjusted), ERROR_INVALID);
    assert_int_equal(multiplicity_holm(p, 0, adjusted), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(tea_and_twins),
        cmocka_unit_test(enrichment),
        cmocka_unit_test(empty_cells),
        cmocka_unit_test(large_tables),
        cmocka_unit_test(oswego_line_list),
        cmocka_unit_test(oswego_supper),
        cmocka_unit_test(oswego_chocolate_within_vanilla),
        cmocka_unit_test(admissions),
        cmocka_unit_test(complaints_by_week),
        cmocka_unit_test(strata_edges),
        cmocka_unit_test(false_discoveries),
    };
    return cmocka_run_group_tests(tests, checks_open, checks_close);
}

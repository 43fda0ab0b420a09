/* A share's interval beside published ones and SciPy's. */
#include "check.h"
#include "stats/proportion.h"
#include <math.h>

/* R. G. Newcombe, "Two-sided confidence intervals for the single proportion: comparison of seven
 * methods", Statistics in Medicine 17 (1998) 857-872, Table I, method 3 (from memory); the last
 * three by SciPy 1.10, scipy.stats.binomtest(x, n).proportion_ci(method="wilson"), and R 4.2,
 * prop.test(x, n, correct=FALSE). */
static void limits_as_published(void **state)
{
    static const struct {
        double x, n, low, high;
    } ROWS[] = {{81, 263, 0.2553, 0.3662},   {15, 148, 0.0624, 0.1605},  {0, 20, 0, 0.1611},
                {1, 29, 0.0061, 0.1718},     {5, 5, 0.565518, 1.000000}, {3, 7, 0.158220, 0.749542},
                {12, 13, 0.666860, 0.986290}};
    (void)state;
    for (size_t i = 0; i < sizeof ROWS / sizeof ROWS[0]; i++) {
        struct interval got = proportion_wilson(ROWS[i].x, ROWS[i].n, 0.95);
        assert_true(fabs(got.low - ROWS[i].low) < 5e-5);
        assert_true(fabs(got.high - ROWS[i].high) < 5e-5);
    }
}

static void of_none_nothing_is_known(void **state)
{
    (void)state;
    struct interval got = proportion_wilson(0, 0, 0.95);
    assert_true(isnan(got.low) && isnan(got.high));
}

int main(void)
{
    static const struct CMUnitTest tests[] = {
        cmocka_unit_test(limits_as_published),
        cmocka_unit_test(of_none_nothing_is_known),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

/* Dirichlet updating. */
#include "checks.h"

#include "base/error.h"
#include "stats/dirichlet.h"

static void counts_add_to_the_prior(void **state)
{
    (void)state;
    double prior[CHECKS_MAX], counts[CHECKS_MAX], a[3];
    input_numbers("B7-DIRMULT", "prior", prior);
    input_numbers("B7-DIRMULT", "counts", counts);
    assert_int_equal(dirichlet_update(prior, counts, 3, a), 0);
    want_series("B7-DIRMULT", "posterior", a, 3, 0, 0);
}

static void nonsense(void **state)
{
    (void)state;
    double prior[] = {1, 0}, counts[] = {1, 1}, good[] = {1, 2}, minus[] = {1, -1}, out[2];
    assert_int_equal(dirichlet_update(prior, counts, 2, out), ERROR_INVALID);
    assert_int_equal(dirichlet_update(good, minus, 2, out), ERROR_INVALID);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(counts_add_to_the_prior),
        cmocka_unit_test(nonsense),
    };
    return cmocka_run_group_tests(tests, checks_open, checks_close);
}

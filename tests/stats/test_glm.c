/* Log-linear models of two groups, whose answers can be written down: means of groups, and what
 * lies behind the rows that were given is never read. */
#include "base/error.h"
#include "checks.h"
#include "stats/glm.h"
#include <math.h>

enum { ROWS = 4, POISON = 1 };

/* Group A has 2 and 4, group B 9 and 3. */
static const double X[(ROWS + POISON) * 2] = {1, 0, 1, 0, 1, 1, 1, 1, 1, NAN};
static const double Y[ROWS + POISON] = {2, 4, 9, 3, -1e9};

static struct glm_data groups(void)
{
    return (struct glm_data){.x = X, .y = Y, .n = ROWS, .p = 2};
}

static void means_of_two_groups(void **state)
{
    struct glm g;
    const struct glm_data d = groups();
    double deviance = 0, se;
    (void)state;
    assert_int_equal(glm_poisson(&d, &g), 0);
    near_value("", g.coefficient[0], log(3), 1e-9, 0);
    near_value("", g.coefficient[1], log(2), 1e-9, 0);
    near_value("", g.covariance[0][0], 1.0 / 6, 1e-9, 0);
    near_value("", g.covariance[1][1], 1.0 / 6 + 1.0 / 12, 1e-9, 0);
    near_value("", g.covariance[0][1], -1.0 / 6, 1e-9, 0);
    for (int i = 0; i < ROWS; i++)
        deviance += 2 * (Y[i] * log(Y[i] / (i < 2 ? 3 : 6)) - (Y[i] - (i < 2 ? 3 : 6)));
    near_value("", g.deviance, deviance, 1e-9, 0);
    near_value("", g.df, 2, 0, 0);
    near_value("", g.dispersion, ((1.0 + 1.0) / 3 + (9.0 + 9.0) / 6) / 2, 1e-9, 0);
    near_value("", glm_predict(&g, (const double[]){1, 1}, &se), log(6), 1e-9, 0);
    near_value("", se, sqrt(1.0 / 12), 1e-9, 0);
}

static void means_and_leverages_at_the_rows(void **state)
{
    struct glm g;
    const struct glm_data d = groups();
    double mean[ROWS + POISON] = {0, 0, 0, 0, -1}, leverage[ROWS + POISON] = {0, 0, 0, 0, -1};
    (void)state;
    assert_int_equal(glm_poisson(&d, &g), 0);
    glm_fitted(&g, &d, mean, NULL);
    glm_fitted(&g, &d, NULL, leverage);
    for (int i = 0; i < ROWS; i++) {
        near_value("", mean[i], i < 2 ? 3 : 6, 1e-9, 0);
        near_value("", leverage[i], 0.5, 1e-9, 0);
    }
    near_value("", mean[ROWS], -1, 0, 0);
    near_value("", leverage[ROWS], -1, 0, 0);
}

/* Twice the exposure halves a rate; a row of weight two stands twice. */
static void exposure_and_weights(void **state)
{
    static const double OFFSET[ROWS + POISON] = {0, 0.6931471805599453, 0, 0, 99};
    static const double WEIGHT[ROWS + POISON] = {1, 1, 2, 1, 1e9};
    struct glm g;
    struct glm_data d = groups();
    (void)state;
    d.offset = OFFSET;
    assert_int_equal(glm_poisson(&d, &g), 0);
    near_value("", g.coefficient[0], log(6.0 / 3), 1e-9, 0);
    d.offset = NULL;
    d.weights = WEIGHT;
    assert_int_equal(glm_poisson(&d, &g), 0);
    near_value("", g.coefficient[0] + g.coefficient[1], log(21.0 / 3), 1e-9, 0);
}

static void what_has_no_answer(void **state)
{
    static const double SAME[] = {1, 2, 1, 2, 1, 2, 1, 2}, NONE[] = {0, 0, 0, 0},
                        LESS[] = {2, -1, 9, 3};
    struct glm g;
    (void)state;
    struct glm_data d = groups();
    d.p = 0;
    assert_int_equal(glm_poisson(&d, &g), ERROR_INVALID);
    d.p = GLM_MOST + 1;
    assert_int_equal(glm_poisson(&d, &g), ERROR_INVALID);
    d = groups();
    d.n = 1;
    assert_int_equal(glm_poisson(&d, &g), ERROR_INVALID);
    d.n = 2; /* as many rows as coefficients, of one group */
    assert_int_equal(glm_poisson(&d, &g), ERROR_INVALID);
    d = groups();
    d.x = SAME;
    assert_int_equal(glm_poisson(&d, &g), ERROR_INVALID);
    d = groups();
    d.y = NONE;
    assert_int_equal(glm_poisson(&d, &g), ERROR_INVALID);
    d.y = LESS;
    assert_int_equal(glm_poisson(&d, &g), ERROR_INVALID);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(means_of_two_groups),
        cmocka_unit_test(means_and_leverages_at_the_rows),
        cmocka_unit_test(exposure_and_weights),
        cmocka_unit_test(what_has_no_answer),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

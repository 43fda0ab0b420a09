/* Evidence arithmetic: Jaynes (2003) ch. 4, Quinlan's weather table (1986). */
#include "checks.h"

#include <stdlib.h>

#include "base/error.h"
#include "stats/evidence.h"

static double fraction(const json_t *value)
{
    if (json_is_number(value))
        return json_number_value(value);
    char *rest;
    double over = strtod(json_string_value(value), &rest);
    return *rest == '/' ? over / strtod(rest + 1, NULL) : over;
}

/* The hypothesis nobody listed wakes up when the listed ones keep failing. */
static void three_machines(void **state)
{
    (void)state;
    const char *id = "B7-JAYNES3";
    double prior[CHECKS_MAX], bad[3], want[CHECKS_MAX], weights[3], p[3];
    input_numbers(id, "prior", prior);
    for (size_t c = 0; c < 3; c++)
        bad[c] = fraction(json_array_get(check_input(id, "p_bad"), c));
    size_t i;
    json_t *rows = check_wanted(id, "rows_[m,dbA,dbB,dbC,pA,pB,pC]"), *row;
    json_array_foreach(rows, i, row)
    {
        numbers(row, want);
        for (size_t c = 0; c < 3; c++)
            weights[c] = log(prior[c]) + want[0] * log(bad[c]);
        assert_int_equal(evidence_normalise(weights, 3, p, NULL), 0);
        for (size_t c = 0; c < 3; c++) {
            near_value("p", p[c], want[4 + c], 1e-8, 1e-15);
            double others = 0; /* 1 - p has no digits when p is nearly 1 */
            for (size_t o = 0; o < 3; o++)
                others += o == c ? 0 : p[o];
            near_value("dB", 10 * log10(p[c] / others), want[1 + c], 1e-8, 1e-8);
        }
    }
}

static void naive_bayes_skips_the_unknown(void **state)
{
    (void)state;
    double weights[CHECKS_MAX], row[CHECKS_MAX], p[3], log_evidence;
    input_numbers("B7-NB3", "prior", weights);
    for (size_t c = 0; c < 3; c++)
        weights[c] = log(weights[c]);
    size_t i;
    json_t *rows = check_input("B7-NB3", "likelihood_rows_per_clue"), *clue;
    json_array_foreach(rows, i, clue)
    {
        numbers(clue, row);
        for (size_t c = 0; c < 3; c++)
            weights[c] += log(row[c]);
    }
    assert_int_equal(evidence_normalise(weights, 3, p, &log_evidence), 0);
    want_series("B7-NB3", "posterior", p, 3, 1e-9, 0);
    want_value("B7-NB3", "log_evidence", log_evidence);
}

static void no_underflow(void **state)
{
    (void)state;
    double weights[CHECKS_MAX], p[CHECKS_MAX];
    size_t n = input_numbers("B7-LSE", "log_weights", weights);
    want_value("B7-LSE", "logsumexp", evidence_log_sum(weights, n));
    assert_int_equal(evidence_normalise(weights, n, weights, NULL), 0);
    want_series("B7-LSE", "p", weights, n, 0, 1e-8);
    double dead[] = {-INFINITY, -INFINITY}, one[] = {-INFINITY, -2000, -INFINITY}, bad[] = {0, NAN};
    assert_int_equal(evidence_normalise(dead, 2, p, NULL), ERROR_INVALID);
    assert_int_equal(evidence_normalise(bad, 2, p, NULL), ERROR_INVALID);
    assert_int_equal(evidence_normalise(one, 3, p, NULL), 0);
    assert_true(p[0] == 0 && p[1] == 1 && p[2] == 0);
    assert_true(evidence_log_sum(NULL, 0) == -INFINITY);
}

static void gain_of_questions(void **state)
{
    (void)state;
    const char *id = "B7-EIG", *name;
    double prior[CHECKS_MAX], likelihood[CHECKS_MAX];
    size_t causes = input_numbers(id, "prior", prior);
    json_t *questions = check_input(id, "questions_rows=answers,cols=causes"), *rows;
    json_object_foreach(questions, name, rows)
    {
        size_t answers = json_array_size(rows);
        for (size_t a = 0; a < answers; a++)
            numbers(json_array_get(rows, a), likelihood + a * causes);
        double gain;
        assert_int_equal(evidence_gain_bits(prior, causes, likelihood, answers, &gain), 0);
        near_value(name, gain, json_number_value(json_object_get(check_wanted(id, "eig"), name)), 0,
                   1e-10);
    }
    double never[] = {0, 1, 0, 1}, gain;
    assert_int_equal(evidence_gain_bits(prior, 2, never, 2, &gain), ERROR_INVALID);
    double minus[] = {1.5, 0.5, -0.5, 0.5};
    assert_int_equal(evidence_gain_bits(prior, 2, minus, 2, &gain), ERROR_INVALID);
}

/* Three causes at .5, .3, .2. An answer that comes in .9 of the second's cases and .1 of the
 * others': yes names the second (.3 x .9), no the first (.5 x .9), .27 + .45 - .5 (computed). Twice
 * as often instead of nine times: the first stands whatever is answered, though it tells something.
 */
static void gain_in_being_right(void **state)
{
    (void)state;
    const double prior[] = {.5, .3, .2};
    const double tells[] = {.1, .9, .1, .9, .1, .9}, leaves[] = {.2, .3, .2, .8, .7, .8};
    const double scaled[] = {1, 9, 1, 9, 1, 9}, minus[] = {1.5, .5, .5, -.5, .5, .5};
    double gain = -1, bits = 0;
    assert_int_equal(evidence_gain_first(prior, 3, tells, 2, &gain), 0);
    assert_true(fabs(gain - .22) < 1e-12);
    assert_int_equal(evidence_gain_first(prior, 3, scaled, 2, &gain), 0);
    assert_true(fabs(gain - .22) < 1e-12);
    assert_int_equal(evidence_gain_first(prior, 3, leaves, 2, &gain), 0);
    assert_true(gain == 0);
    assert_int_equal(evidence_gain_bits(prior, 3, leaves, 2, &bits), 0);
    assert_true(bits > 0.005);
    /* one entry for the likeliest of many that answer alike: they need not sum to 1 */
    const double some[] = {.3, .2};
    const double halves[] = {.5, 1, .5, 0};
    assert_int_equal(evidence_gain_first(some, 2, halves, 2, &gain), 0);
    assert_true(fabs(gain - .05) < 1e-12); /* .2 + .15 - .3 */
    assert_int_equal(evidence_gain_first(prior, 3, minus, 2, &gain), ERROR_INVALID);
}

/* P(value | class) from the 14 rows makes the attribute a question about the class. */
static double weather_gain(json_t *rows, size_t column)
{
    const char *values[8];
    double counts[16] = {0}, prior[2] = {0};
    size_t answers = 0, i;
    json_t *row;
    json_array_foreach(rows, i, row)
    {
        const char *value = json_string_value(json_array_get(row, column));
        size_t class = strcmp(json_string_value(json_array_get(row, 4)), "yes") == 0, a = 0;
        while (a < answers && strcmp(values[a], value) != 0)
            a++;
        if (a == answers)
            values[answers++] = value;
        counts[2 * a + class] += 1;
        prior[class] += 1.0 / 14.0;
    }
    double gain;
    assert_int_equal(evidence_gain_bits(prior, 2, counts, answers, &gain), 0);
    return gain;
}

static void weather_table(void **state)
{
    (void)state;
    json_t *rows = check_input("B7-ID3", "rows"), *gains = check_wanted("B7-ID3", "gain");
    static const char *const names[] = {"outlook", "temperature", "humidity", "wind"};
    for (size_t i = 0; i < 4; i++) {
        double gain = weather_gain(rows, i);
        near_value(names[i], gain, json_number_value(json_object_get(gains, names[i])), 1e-9, 0);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(three_machines),      cmocka_unit_test(naive_bayes_skips_the_unknown),
        cmocka_unit_test(no_underflow),        cmocka_unit_test(gain_of_questions),
        cmocka_unit_test(gain_in_being_right), cmocka_unit_test(weather_table),
    };
    return cmocka_run_group_tests(tests, checks_open, checks_close);
}

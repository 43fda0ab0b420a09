/* Reading the published and recomputed check values of tests/reference/statistics_checks.json:
 * one object a check with id, inputs, expected, tolerance, source and mark. */
#ifndef ODDLOAF_TESTS_STATS_CHECKS_H
#define ODDLOAF_TESTS_STATS_CHECKS_H

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <gsl/gsl_errno.h>
#include <jansson.h>
#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <string.h>

#include "stats/interval.h"

#define CHECKS_FILE ODDLOAF_SOURCE_DIR "/tests/reference/statistics_checks.json"
#define CHECKS_MAX 512

static json_t *checks_all;

static inline int checks_open(void **state)
{
    (void)state;
    gsl_set_error_handler_off();
    json_error_t error;
    checks_all = json_load_file(CHECKS_FILE, 0, &error);
    if (!checks_all)
        fprintf(stderr, "%s:%d: %s\n", CHECKS_FILE, error.line, error.text);
    return checks_all ? 0 : -1;
}

static inline int checks_close(void **state)
{
    (void)state;
    json_decref(checks_all);
    return 0;
}

static inline json_t *check_find(const char *id)
{
    size_t i;
    json_t *check;
    json_array_foreach(checks_all, i,
                       check) if (strcmp(json_string_value(json_object_get(check, "id")), id) ==
                                  0) return check;
    fail_msg("no check %s in %s", id, CHECKS_FILE);
    return NULL;
}

static inline json_t *check_input(const char *id, const char *key)
{
    json_t *value = json_object_get(json_object_get(check_find(id), "inputs"), key);
    if (!value)
        fail_msg("check %s has no input %s", id, key);
    return value;
}

static inline json_t *check_wanted(const char *id, const char *key)
{
    json_t *value = json_object_get(json_object_get(check_find(id), "expected"), key);
    if (!value)
        fail_msg("check %s expects no %s", id, key);
    return value;
}

static inline double input_number(const char *id, const char *key)
{
    return json_number_value(check_input(id, key));
}

/* Fills `out` (CHECKS_MAX) with an array of numbers; returns how many. */
static inline size_t numbers(const json_t *array, double *out)
{
    size_t n = json_array_size(array);
    assert_true(n <= CHECKS_MAX);
    for (size_t i = 0; i < n; i++)
        out[i] = json_number_value(json_array_get(array, i));
    return n;
}

static inline size_t input_numbers(const char *id, const char *key, double *out)
{
    return numbers(check_input(id, key), out);
}

static inline size_t wanted_numbers(const char *id, const char *key, double *out)
{
    return numbers(check_wanted(id, key), out);
}

static inline void near_value(const char *what, double got, double want, double rel, double abs)
{
    if (got == want || (isnan(got) && isnan(want)))
        return;
    if (!(fabs(got - want) <= abs + rel * fabs(want)))
        fail_msg("%s: got %.15g, want %.15g (rel %g, abs %g)", what, got, want, rel, abs);
}

/* `got` against expected[key] with the check's own tolerance. */
static inline void want_value(const char *id, const char *key, double got)
{
    json_t *tolerance = json_object_get(check_find(id), "tolerance");
    char what[160];
    snprintf(what, sizeof what, "%s %s", id, key);
    double rel = json_number_value(json_object_get(tolerance, "rel"));
    double abs = json_number_value(json_object_get(tolerance, "abs"));
    /* the file prints 12 digits: nothing can agree better than that */
    near_value(what, got, json_number_value(check_wanted(id, key)), fmax(rel, 1e-11), abs + 1e-13);
}

static inline void want_interval(const char *id, const char *key, struct interval got)
{
    json_t *tolerance = json_object_get(check_find(id), "tolerance");
    double rel = fmax(json_number_value(json_object_get(tolerance, "rel")), 1e-11),
           want[CHECKS_MAX];
    assert_int_equal(wanted_numbers(id, key, want), 2);
    char what[160];
    snprintf(what, sizeof what, "%s %s low", id, key);
    near_value(what, got.low, want[0], rel, 1e-13);
    snprintf(what, sizeof what, "%s %s high", id, key);
    near_value(what, got.high, want[1], rel, 1e-13);
}

static inline void want_series(const char *id, const char *key, const double *got, size_t n,
                               double rel, double abs)
{
    double want[CHECKS_MAX];
    char what[160];
    assert_int_equal(wanted_numbers(id, key, want), n);
    for (size_t i = 0; i < n; i++) {
        snprintf(what, sizeof what, "%s %s[%zu]", id, key, i);
        near_value(what, got[i], want[i], rel, abs);
    }
}

#endif

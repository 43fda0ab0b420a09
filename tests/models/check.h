/* What the model tests share: cmocka in the order it asks for, and comparing numbers. */
#ifndef ODDLOAF_TESTS_MODELS_CHECK_H
#define ODDLOAF_TESTS_MODELS_CHECK_H

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
/* after the four above */
#include <cmocka.h>
#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <string.h>

#include "models/predict.h"
#include "product.h"

#define COUNT_OF(array) (sizeof(array) / sizeof *(array))

static inline void check_near(const char *what, double got, double want, double tolerance)
{
    if (!(fabs(got - want) <= tolerance)) {
        fail_msg("%s: got %.10g, want %.10g within %g", what, got, want, tolerance);
    }
}

static inline void check_between(const char *what, double got, double low, double high)
{
    if (!(got >= low && got <= high)) {
        fail_msg("%s: got %.10g, want %.10g to %.10g", what, got, low, high);
    }
}

/* A lot with one dose on flour and nothing else known. */
static inline struct lot_conditions lot_with_dose(const char *product, double dose_pct_flour)
{
    struct lot_conditions lot;
    lot_conditions_unknown(&lot);
    lot.doses_known = true;
    if (dose_pct_flour > 0) {
        lot.dose_count = 1;
        lot.doses[0] = (struct acid_dose){acid_product_find(product), dose_pct_flour, NAN, NAN};
    }
    return lot;
}

static inline struct lot_conditions *lot_kept_at(struct lot_conditions *lot, double temp_c)
{
    lot->segment_count = 1;
    lot->segments[0] = (struct mold_segment){24, temp_c};
    return lot;
}

static inline double days_of_lot(const struct lot_conditions *lot)
{
    struct models_parameters parameters;
    struct mold_course course;
    parameters_default(&parameters);
    predict_mold_course(lot, NULL, &parameters, &course);
    return mold_free_days(&course, NAN);
}

#endif

/* Rates by level, and causes in order of size. Inside patterns/. */
#ifndef ODDLOAF_PATTERNS_WEEK_RATES_H
#define ODDLOAF_PATTERNS_WEEK_RATES_H

#include "patterns/week_expect.h"
#include <jansson.h>

struct triage;
struct targets;

struct week_rates {
    const struct week_data *data;
    const struct week_model *model;  /* of the same; NULL for days: no weeks around them are told */
    const struct week_data *against; /* another time to compare with; or NULL */
    unsigned cuts;                   /* a set */
    const struct targets *targets;   /* of lines; or NULL */
};

/* {"line":[{"level",…}],…}: complaints over what was packed, exact 95 % limits, the last quarter's
 * weeks, the same by week of make as far as it is in, how they compare, and of lines that have a
 * target whether it is met. New reference. */
json_t *week_rates_by_json(const struct week_rates *what, const struct triage *triage);
/* {"line":{"mold":3},…}: how many of `complaints` ({"mold":22,…}) are in no row of `by`, since
 * their line, product, shift or route is not known; where there are any. New reference. */
json_t *week_rates_unplaced_json(const json_t *by, const json_t *complaints);
/* {"complaints","units","per_million","ratio","low","high"}: what it was, and the ratio of the
 * rates with its 95 % limits, as if complaints came one by one; null where there is none. `was` may
 * be NULL: nothing. New reference. */
json_t *week_rates_compare_json(const struct week_level *now, const struct week_level *was,
                                int symptom);
/* Expected complaints of each cause, of one symptom after the other, with running shares. */
json_t *week_rates_causes_json(const struct week_data *data, const struct triage *triage);

#endif

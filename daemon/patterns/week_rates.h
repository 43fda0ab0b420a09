/* Rates by level, causes in order of size, and how right the rankings were. Inside patterns/. */
#ifndef ODDLOAF_PATTERNS_WEEK_RATES_H
#define ODDLOAF_PATTERNS_WEEK_RATES_H

#include "patterns/week_expect.h"
#include <jansson.h>

struct triage;

/* `by`: a set of cuts. {"line":[{"level",…}],…}: complaints of the
 * week over what it packed, exact 95 % limits, the last quarter's weeks, and the same by week of
 * make as far as it is in. New references. */
json_t *week_rates_by_json(const struct week_model *model, const struct triage *triage,
                           unsigned by);
/* Expected complaints of each cause, of one symptom after the other, with running shares. */
json_t *week_rates_causes_json(const struct week_model *model, const struct triage *triage);

#endif

/* Did a corrective action work? Rates of complaints on lots made before and after it. */
#ifndef ODDLOAF_PATTERNS_EFFECT_H
#define ODDLOAF_PATTERNS_EFFECT_H

#include "base/error.h"
#include "base/when.h"
#include "store/store.h"
#include <jansson.h>

/* {"action":…, "before":{…}, "after":{…}, "ratio":{…}, "verdict":"too early to tell" …}; `days` to
 * each side. New reference. */
int effect_report(struct store *store, const struct tz *tz, int64_t action_id, int days,
                  int64_t now_ms, json_t **ret, struct error *err);

#endif

/* Did a corrective action work? Rates of complaints on lots made before and after it: of one
 * plant's action on that plant's alone, and by how late its complaints come. */
#ifndef ODDLOAF_PATTERNS_EFFECT_H
#define ODDLOAF_PATTERNS_EFFECT_H

#include "base/error.h"
#include "base/when.h"
#include "store/store.h"
#include <jansson.h>

struct effect_query {
    int64_t action_id;
    int days;       /* compared, to each side of the action */
    int64_t now_ms; /* what came later is left out */
};
/* {"action":…, "before":{"from","to",…}, "after":{…}, "ratio":{…}, "verdict":"too early to tell",
 * "compared":"Lots packed 2026-10-05 to …", …}. New
 * reference. */
int effect_report(struct store *store, const struct tz *tz, const struct effect_query *query,
                  json_t **ret, struct error *err);

#endif

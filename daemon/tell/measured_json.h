/* Results of laboratories and retained samples as JSON. */
#ifndef ODDLOAF_TELL_MEASURED_JSON_H
#define ODDLOAF_TELL_MEASURED_JSON_H

#include "rank/triage.h"
#include "store/measured.h"

/* One result: common.schema.json#/$defs/result. New reference. */
json_t *measured_json(const struct triage *triage, const struct tz *tz,
                      const struct measured_row *row);
/* True: rules read the quantity only beside its target or what is usual of the lot's product, and
 * there is neither: they say nothing of any result (the models may reckon with it). */
bool measured_json_mute(struct triage *triage, struct store *store, int64_t lot_id,
                        const char *quantity);
/* Sets "measured" to those of a lot that stand, none if nothing can be read or `lot_id` is 0. */
void measured_json_add(const struct triage *triage, struct store *store, int64_t lot_id,
                       json_t *into);

#endif

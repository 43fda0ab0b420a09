/* A lot as the models know it: as made and as specified, and with a cause's change. */
#ifndef ODDLOAF_FACTS_MODEL_LOT_H
#define ODDLOAF_FACTS_MODEL_LOT_H

#include "facts/facts.h"
#include "models/predict.h"

struct model_lot {
    struct lot_conditions made, specified;
};

/* From the records until `as_of_ms`; what has no target is taken from the recent lots. */
void model_lot_of(const struct rules *rules, const struct lot_record *record,
                  const struct fact_baseline *baseline, int64_t as_of_ms, struct model_lot *ret);
/* The specification with a cause's change:
 *   {"recorded":["dose","ph","water","packing","baking","storage","softener","leaks","spores"]}
 *   {"set":{"core_at_pack_c":46,…}}  {"times":{"dose":0.5,"spores":20,"softener":0.3}}
 *   {"kept_c":32}  from packing on  */
void model_lot_change(const struct model_lot *lot, const json_t *change,
                      struct lot_conditions *ret);
/* Why a change cannot be understood (static text) and at which member, or NULL. */
const char *model_change_fault(const json_t *change, const char **ret_member);

#endif

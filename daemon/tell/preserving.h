/* What a lot holds against mold, ingredient by ingredient, told. */
#ifndef ODDLOAF_TELL_PRESERVING_H
#define ODDLOAF_TELL_PRESERVING_H

#include "models/parameters.h"
#include "rules/rules.h"

struct lot_conditions;

/* Of a filled or unfilled lot, one row an acid an ingredient brings:
 *   [{"kind","title","applied","acid","pct_flour","strength_pct":{"low","typical","high","told"},
 *     "mmol_l"}]
 * strength: of active substance, `told` by a certificate or an assay, else between what it may lie;
 * mmol_l: undissociated, in the crumb's water, or in that of the layer that a spray went into.
 * Empty where nothing is known. New reference. */
json_t *preserving_json(const struct rules *rules, const struct lot_conditions *lot,
                        const struct models_values *values);

#endif

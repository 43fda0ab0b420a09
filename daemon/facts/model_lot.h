/* A lot as the models know it: as made and as specified. */
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

/* Whether the models read that quantity of a lot. */
bool model_lot_reads(const char *quantity);

#endif

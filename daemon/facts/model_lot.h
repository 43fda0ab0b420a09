/* A lot as the models know it: as made and as specified. */
#ifndef ODDLOAF_FACTS_MODEL_LOT_H
#define ODDLOAF_FACTS_MODEL_LOT_H

#include "facts/facts.h"
#include "models/predict.h"

struct model_lot {
    struct lot_conditions made, specified;
    bool dose_compared; /* all that it holds against mold is specified, by target or by usual */
};

/* What is taken otherwise than the records have it: of what a lot was made with. */
struct model_change {
    const char *quantity;
    double value;
};
struct model_changes {
    const struct model_change *row;
    size_t count;
    bool nothing_read; /* of the lot's own records nothing: it is made as specified but for these */
    int64_t as_of_ms;  /* records until then; 0: all */
};

/* From the records until `as_of_ms`; what has no target is taken from the recent lots. */
void model_lot_of(const struct rules *rules, const struct lot_record *record,
                  const struct fact_baseline *baseline, int64_t as_of_ms, struct model_lot *ret);

/* The same with changes. What followed from what is changed is forgotten: an assay of propionate
 * with the dose, a core at packing that was read with the cooling. */
void model_lot_changed(const struct rules *rules, const struct lot_record *record,
                       const struct fact_baseline *baseline, const struct model_changes *changes,
                       struct model_lot *ret);
/* What is on record of a quantity that the models take: of the lot, else its target, else the
 * usual; NAN if nothing is. */
double model_lot_value(const struct lot_record *record, const struct fact_baseline *baseline,
                       const char *quantity, bool nothing_read);

/* Is it a sourdough by what it is called, of whose own acids no record tells? Then the models take
 * it for bread without them. */
bool model_lot_sours(const struct lot_record *record, const struct lot_conditions *made);

/* Whether the models read that quantity of a lot as a number of its own. */
bool model_lot_reads(const char *quantity);
/* Whether a quantity may be changed, by the name that lots have it under: what the models read, the
 * plant's own two, and whatever tells of a preserving ingredient. */
bool model_lot_takes(const struct catalogue *catalogue, const char *quantity);

#endif

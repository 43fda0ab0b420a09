/* What the models expect of a lot, or of a product, with something done otherwise, and what would
 * have held: the smallest change of one thing that keeps a stated share of packs without visible
 * mold for so many days. A model's answer: what it leaves out is tried at the bench. */
#ifndef ODDLOAF_TELL_WHATIF_H
#define ODDLOAF_TELL_WHATIF_H

#include "facts/model_lot.h"
#include "rank/triage.h"
#include "rules/limits.h"

enum { WHATIF_DAYS_MOST = 60, WHATIF_CHANGES = 12 };

/* All borrowed. */
struct whatif {
    int64_t lot_id;  /* whose records and targets are taken */
    bool of_product; /* what that lot read does not count: its product as specified */
    struct model_change changes[WHATIF_CHANGES]; /* model_lot_takes() them, each once */
    size_t change_count;
    int hold_days; /* 0: nothing is looked for */
    double share;  /* of packs without visible mold on that day, 0 to 1, ends not */
    const struct limits *limits;
};

/* answers/whatif.schema.json, but for what was asked of. New reference. ERROR_NOT_FOUND for an
 * unknown lot. */
int whatif_tell(struct triage *triage, struct store *store, const struct whatif *asked,
                json_t **ret, struct error *err);

#endif

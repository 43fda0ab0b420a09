/* What law allows of preservatives in a product, as the plant's limits have it, and which of what
 * is asked for lies above: told whatever is asked, for nobody else says it before it is baked.
 * Whose limit it is stands with it, and local law decides. */
#ifndef ODDLOAF_TELL_LAW_H
#define ODDLOAF_TELL_LAW_H

#include "facts/model_lot.h"
#include "models/parameters.h"
#include "rules/limits.h"

struct law_way {
    const char *way; /* "as changed" */
    const struct model_lot *lot;
};

/* [sentence, …]: what lies above the limit of that family at that plant, then the limit in force,
 * or that none is on record. New reference. */
json_t *law_json(const struct limits *limits, const struct evidence_lot *lot,
                 const struct law_way *ways, size_t count, const struct models_values *values);

#endif

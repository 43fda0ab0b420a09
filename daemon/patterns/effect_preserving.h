/* What lots were preserved with before a day and after it: a system swapped meanwhile is another
 * reason for rates to differ. Inside patterns/. */
#ifndef ODDLOAF_PATTERNS_EFFECT_PRESERVING_H
#define ODDLOAF_PATTERNS_EFFECT_PRESERVING_H

#include "base/error.h"
#include "base/when.h"
#include "store/evidence.h"
#include <jansson.h>

struct effect_preserving {
    struct evidence_line line;
    struct when_span before, after;
    double units_before, units_after; /* packed there then */
};
/* Ingredients whose share of the units moved by a fifth or more, as uses tell their kind:
 * [{"ingredient","before","after"}], shares of 1; none where no use of either side tells one. New
 * reference. */
int effect_preserving_json(struct store *store, const struct effect_preserving *query, json_t **ret,
                           struct error *err);

#endif

/* Complaints of no kind that is ranked, counted by what they are about (intake/other_kind.h). */
#ifndef ODDLOAF_PATTERNS_OTHERS_H
#define ODDLOAF_PATTERNS_OTHERS_H

#include "base/when.h"
#include "store/store.h"
#include <jansson.h>

/* Of those of the plant ("" all) received in the span: sets "other", their number, and
 * "other_kinds",
 * [{"kind","says","complaints"},…], the most first, in `into`. */
int others_add(struct store *store, struct when_span span, const char *plant, json_t *into,
               struct error *err);

#endif

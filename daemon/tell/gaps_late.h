/* Inside gaps: which records came late. */
#ifndef ODDLOAF_TELL_GAPS_LATE_H
#define ODDLOAF_TELL_GAPS_LATE_H

#include "base/when.h"
#include "store/record_gaps.h"
#include <jansson.h>

/* *ret: [{"kind","line","usual_h","weeks":[{"week","lots","late","after_complaint"}]}], new: of
 * the lots packed in the span, by kind and line, weeks in which a lot's first record came far later
 * after packing than is usual for them (usual_h: median hours; null: of too few), or only after a
 * complaint about the lot was logged. Lines and kinds of which none did are left out. */
int gaps_late_list(struct store *store, const struct tz *tz, const struct record_gaps_of *of,
                   json_t **ret, struct error *err);

#endif

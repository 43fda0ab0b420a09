/* What would have held: of the first ranked cause, the thing that speaks loudest for it and that
 * the models can take otherwise, put back to what was specified, or else is usual. */
#ifndef ODDLOAF_TELL_HELD_H
#define ODDLOAF_TELL_HELD_H

#include "rank/case_rank.h"

/* Sets "held", a sentence for people, and ends "actions" with it: "Packed at or below …, this lot
 * would have held 9 days without mold instead of 5". Nothing where there is nothing to say: of
 * another symptom than mold, beside harm, where the lot is unsure, where a value, or what it
 * should be, is unknown, where it makes no day. */
void held_add(struct triage *triage, struct store *store, const struct case_rank *ranked,
              json_t *into);

#endif

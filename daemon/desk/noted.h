/* What the note of a complaint says of it: by the lexicon, and the product and the store that the
 * plant's records know. */
#ifndef ODDLOAF_DESK_NOTED_H
#define ODDLOAF_DESK_NOTED_H

#include "desk/desk.h"

/* As lexicon_fill(), which this does too. What names several products or stores is taken as it was
 * said, and doubted (doubts.h) with a list to pick from. Who called is taken from the note where
 * nobody said (intake/caller.h), and not told in *ret_taken: it is kept apart. */
json_t *noted_fill(const struct desk *desk, struct store *store, const json_t *complaint,
                   int32_t today, json_t **ret_taken);

#endif

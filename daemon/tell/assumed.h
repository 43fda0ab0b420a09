/* What the models take a lot for that its records do not say, told beside every number of theirs
 * that rests on it. */
#ifndef ODDLOAF_TELL_ASSUMED_H
#define ODDLOAF_TELL_ASSUMED_H

#include "facts/model_lot.h"
#include "rank/triage.h"

/* [sentence, …], empty: nothing beyond what is told anyway. `shares`: of packs are told. New
 * reference. */
json_t *assumed_json(const struct triage *triage, const struct lot_record *record,
                     const struct model_lot *lot, bool shares);

#endif

/* What was written of a case beside its complaints that speaks of harm: results of its lot and what
 * follows it up. Read anew by the word lists each time: what is corrected speaks no more. */
#ifndef ODDLOAF_DESK_SPOKEN_H
#define ODDLOAF_DESK_SPOKEN_H

#include "base/when.h"
#include "desk/desk.h"
#include "store/hold.h"
#include <jansson.h>

/* [{"case","symptom","spoken": its words, "at", "by", "harm": [kinds, or none where it may]}], the
 * newest first; a laboratory's with "lab" and "sample". New reference. */
int spoken_of_case(const struct desk *desk, struct store *store, int64_t case_id, json_t **ret,
                   struct error *err);

/* [{"lot": `code`, "spoken","at","by","harm","lab","sample"}], of the results of a lot those that
 * say harm, or ("harm" empty) may: they stand until they are taken back, whatever its complaints
 * are corrected to. New reference. */
int spoken_of_lot(const struct desk *desk, struct store *store, const struct hold_of *lot,
                  json_t **ret, struct error *err);

/* The same of all lots, entered in the span, the newest first, each with "held", whether a hold
 * stands on its lot; of one plant's lots where `plant` is not "" or NULL. New reference. */
struct spoken_in {
    struct when_span entered;
    const char *plant;
};
int spoken_in(const struct desk *desk, struct store *store, const struct spoken_in *of,
              json_t **ret, struct error *err);
/* How many lots have such a result that nobody has decided about: the lot is not on hold, and no
 * hold of it has ended since the result came. Of the first MEASURED_PICKED such results, those of
 * lots on hold among them; further ones are read as these are decided about. A connection reads
 * each result once. */
int spoken_undecided(const struct desk *desk, struct store *store, int64_t *ret, struct error *err);

#endif

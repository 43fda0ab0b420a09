/* What was written of a case beside its complaints that speaks of harm: results of its lot and what
 * follows it up. Read anew by the word lists each time: what is corrected speaks no more. */
#ifndef ODDLOAF_DESK_SPOKEN_H
#define ODDLOAF_DESK_SPOKEN_H

#include "base/length.h"
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

/* The same of all lots, entered in the span, the newest first, each with "held" and "decided",
 * whether a hold stands on its lot, and whether one has ended since; of one plant's lots where
 * `plant` is not "" or NULL. New reference. */
struct spoken_in {
    struct when_span entered;
    const char *plant;
};
int spoken_in(const struct desk *desk, struct store *store, const struct spoken_in *of,
              json_t **ret, struct error *err);
/* Lots with such a result that nobody has decided about: the lot is not on hold, and no hold of it
 * has ended since the result came. `first`: the codes of the first, with commas between. A
 * connection reads each result once; of more than MEASURED_PICKS lots, those on hold among them,
 * "others" stands for those that were not read yet. */
enum { SPOKEN_NAMED = 5 };
struct spoken_lots {
    int64_t count;
    char first[SPOKEN_NAMED * (LENGTH_CODE + 2)];
};
int spoken_undecided(const struct desk *desk, struct store *store, struct spoken_lots *ret,
                     struct error *err);

#endif

/* Cases: the complaints of one symptom on one lot or, the lot open, one complaint. They come into
 * being and go with their complaints (store/complaint.h, complaint_place.h), which keep their
 * totals (store/move.h). */
#ifndef ODDLOAF_STORE_CASE_H
#define ODDLOAF_STORE_CASE_H

#include "base/length.h"
#include "store/store.h"

struct case_row {
    int64_t id, lot_id, opened_ms, as_of_ms; /* lot_id 0: open lot */
    int complaints, packs, revision;
    bool harm, settled;
    bool harm_unseen;                         /* harm was reported since it was settled */
    char symptom[16], plant[LENGTH_CODE + 1]; /* plant "": none is known */
    char top_cause[64];                       /* "" before the first ranking */
    double top_probability;
};
/* Follows a case whose complaints all moved to another one. ERROR_NOT_FOUND if unknown. */
int case_get(struct store *store, int64_t case_id, struct case_row *ret, struct error *err);
/* May words of it mean harm, which nobody has read, while none is reported? As its complaints say
 * now, weighed or not. true, too, of what cannot be read. */
bool case_may_harm(struct store *store, const struct case_row *row);
/* The cases whose complaints all moved to this one, oldest first. */
int case_moved_here(struct store *store, int64_t case_id, struct store_ids *ret, struct error *err);
/* Does a verdict stand on a case that has no complaints any more? */
int case_left_settled(struct store *store, int64_t case_id, bool *ret, struct error *err);
/* Harm is told of it: where a verdict stands, the case is listed and warned of until it is settled
 * anew. Writer's thread. */
int case_flag_harm(struct store *store, int64_t case_id, struct error *err);
/* The case of a complaint's uuid, joined ones included. */
int case_of_uuid(struct store *store, const char *uuid, int64_t *ret_case, struct error *err);

enum { CASE_PRODUCTS = 8 };

struct case_filter {
    const char *symptom, *plant, *line, *family, *cause; /* NULL any */
    int64_t product[CASE_PRODUCTS]; /* any of these; product[0] 0: any at all */
    const char
        *state; /* "open" (those with harm since they were settled, too), "settled", NULL all */
    const char *owner;  /* of any case of letters; NULL any */
    int32_t due_before; /* those that were due before that day; 0 any */
    int64_t since_ms;   /* of as_of; WHEN_UNKNOWN_MS any */
    bool urgent_first;  /* the most severe, then harm and many complaints; else newest as_of */
    int64_t after;      /* id of the last case of the page before, 0 first page */
    int limit;
};
typedef int (*case_each)(void *arg, const struct case_row *row);
int case_list(struct store *store, const struct case_filter *filter, case_each each, void *arg,
              struct error *err);
/* Those of a lot, oldest first. */
int case_of_lot(struct store *store, int64_t lot_id, case_each each, void *arg, struct error *err);
/* Ids ascending, for walking over all cases. */
int case_ids_after(struct store *store, int64_t after, struct store_ids *ret, struct error *err);
/* A walk over all cases in the order their lots were packed, those without a lot at the end, which
 * holds nothing of the store between two steps: a case that moves meanwhile may be missed or met
 * twice. All zero at first. */
struct case_walk {
    int64_t packed_ms, lot_id, case_id; /* where it is */
    bool begun, without_lot;
};
/* *ret_end: there are no more, and the walk is where it was. */
int case_walk_next(struct store *store, struct case_walk *walk, bool *ret_end, struct error *err);

#endif

/* What closes something although harm is open (store/open_harm.h): a lot given free, reworked or
 * diverted, of which harm is open, or a laboratory's result tells harm, or may, that nobody took
 * back, or which was held for a case that has it; a case settled; and a lot given free or reworked
 * although a case of it is open in which it is moldy or ropy by a fault that lies in the lot, more
 * likely than not. It is refused unless the person says why it is done all the same; that is kept
 * with their name, as a note of each case, and mailed as urgently as the harm was. What makes safer
 * is never refused: it is told what is open. Runs in the writer's transaction. */
#ifndef ODDLOAF_DESK_DESPITE_HARM_H
#define ODDLOAF_DESK_DESPITE_HARM_H

#include "desk/desk.h"
#include "store/hold.h"

/* All borrowed but `found`. */
struct despite_harm {
    const struct desk *desk;
    const char *did; /* "L1 6314 A0400 was released", "C12 was settled as rope" */
    const struct hold_of *lots;
    size_t lot_count;
    int64_t case_id;    /* of a verdict; 0: the lots' cases */
    bool safer;         /* the goods are gone: nobody gets them */
    bool reworked;      /* people eat them */
    bool freed;         /* so they do, unless another hold stands */
    const char *anyway; /* why all the same, without contact data; NULL: not said */
    const char *by, *user;
    int64_t now_ms;
    /* A new reference: [{"case","symptom","complaint","received_at","harm","note"}, or {"case",
     * "symptom","possible": true}, newest first, or {"case","symptom","unfit","probability"}], at
     * most 20, each case at least once; or {"lot","spoken","at","by","harm"} of a lot no case is
     * of. "unfit": the title of the likeliest cause in the lot. */
    json_t *found;
};
/* Finds it, and refuses (ERROR_CONFLICT, `found` says what is open) or records and queues the
 * mails. */
int despite_harm_pass(struct store *store, struct despite_harm *despite, struct error *err);

#endif

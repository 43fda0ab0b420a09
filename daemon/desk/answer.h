/* What whoever sent a complaint is answered. New references. */
#ifndef ODDLOAF_DESK_ANSWER_H
#define ODDLOAF_DESK_ANSWER_H

#include "desk/taking.h"

/* Of one that was logged: case, lot as understood, ranked causes, what to ask, cautions. `ranking`
 * of the case, NULL: not asked for. Of one that was refused: {"error": {…}}. */
json_t *answer_taken(const struct desk *desk, struct store *store, const struct taking *t,
                     const json_t *ranking);
/* Of one that became a plant's which who sent it does not see: desk/passed_on.h. */
json_t *answer_passed_on(const struct desk *desk, const struct taking *t);
/* As answer_taken() with nothing that would have to be looked up; `all`: the sender sees all
 * plants, else nothing of the lot. */
json_t *answer_busy(const struct desk *desk, const struct taking *t, bool all);
json_t *answer_preview(const struct desk *desk, struct store *store, const struct taking *t,
                       const json_t *ranking, int64_t now_ms);
/* What a complaint says now that was corrected or brought back, as of one that is logged: "harm",
 * "harm_possible", "cautions" and, if it tells of harm, what is to be read out and whether a mail
 * leaves. `came`: the change brought it, so that its mail was queued just now. */
struct answer_harm {
    const json_t *harm;            /* may be NULL: none */
    bool possible, came, gathered; /* gathered: it waits for others of the case */
    bool reachable;                /* a number or an address of who called is known */
};
void answer_changed_harm(const struct desk *desk, struct store *store,
                         const struct answer_harm *says, const json_t *ranking, int64_t now_ms,
                         json_t *answer);
/* Whether the urgent mail that was just queued leaves, for people; borrowed. */
const char *answer_alarm(const struct desk *desk, struct store *store, int64_t now_ms);
/* The same of one that may wait for others of its case. */
const char *answer_mailed(const struct desk *desk, struct store *store, bool gathered,
                          int64_t now_ms);
/* What a refused complaint says of harm, for a problem document; an empty object if nothing. */
json_t *answer_refused_harm(const struct desk *desk, const struct taking *t);

#endif

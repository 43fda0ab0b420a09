/* What is answered where harm is open: desk/despite_harm.h. */
#ifndef ODDLOAF_SERVE_DESPITE_TOLD_H
#define ODDLOAF_SERVE_DESPITE_TOLD_H

#include "desk/despite_harm.h"
#include "desk/overheard.h"
#include "serve/request.h"

/* The problem document, with "open_harm" where that is why. */
void despite_told_refuse(struct request *rq, int code, const struct error *err,
                         const struct despite_harm *despite);
/* "open_harm" of what was done, and with mail queued "alarm", whether it leaves; the outbox is
 * woken. */
void despite_told_done(const struct request *rq, struct store *store,
                       const struct despite_harm *despite, json_t *answer);
/* "heard": what was written with it says of harm; the outbox is woken. Nothing if it says none. */
void despite_told_heard(const struct request *rq, struct store *store,
                        const struct overheard *heard, json_t *answer);

#endif

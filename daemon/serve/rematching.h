/* Complaints whose lot is not exact are matched again when lots come or change: work rows (store/
 * work.h) taken up slice by slice on the background's thread. */
#ifndef ODDLOAF_SERVE_REMATCHING_H
#define ODDLOAF_SERVE_REMATCHING_H

#include "serve/app.h"

struct rematching;

/* `app` is borrowed. */
struct rematching *rematching_new(struct app *app);
void rematching_free(struct rematching *rematching); /* NULL is fine */
/* The next slice of what is due; begins anew after an error, which is logged. True if there is
 * more.
 */
bool rematching_round(struct rematching *rematching, struct setup *setup, struct store *store);

#endif

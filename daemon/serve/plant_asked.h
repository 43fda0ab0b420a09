/* Which plant of a company is asked about: "plant" of a request. */
#ifndef ODDLOAF_SERVE_PLANT_ASKED_H
#define ODDLOAF_SERVE_PLANT_ASKED_H

#include "serve/request.h"
#include "store/store.h"

/* *ret is borrowed from the request; NULL: all are. Who does not see all is answered of the one
 * plant that serve/plants.h left to see. ERROR_INVALID, which names those on record, of one that no
 * lot on record is of. */
int plant_asked(const struct request *rq, struct store *store, const char **ret, struct error *err);

#endif

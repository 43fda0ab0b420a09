/* The parameter "plant": one that the settings name or that lots on record bear, of those that are
 * seen. A name that is none would else be answered as a plant of which nobody complained. */
#ifndef ODDLOAF_SERVE_PLANT_ASKED_H
#define ODDLOAF_SERVE_PLANT_ASKED_H

#include "serve/request.h"
#include "serve/setup.h"
#include "store/store.h"

/* *ret is borrowed from the request; NULL: all are. Who does not see all is answered of the one
 * plant that serve/plants.h left to see. ERROR_INVALID names those there are. */
int plant_asked(const struct request *rq, const struct setup *setup, struct store *store,
                const char **ret, struct error *err);
/* May it be asked about by who asks? ERROR_INVALID in the same words whether there is such a plant
 * that is not seen, or none; "" is one that is missing. */
int plant_asked_check(const struct request *rq, const struct setup *setup, struct store *store,
                      const char *plant, struct error *err);

#endif

/* A case ranked anew, with all that stands beside its ranking: state, verdict, lot, what was
 * joined. */
#ifndef ODDLOAF_SERVE_CASE_TOLD_H
#define ODDLOAF_SERVE_CASE_TOLD_H

#include "serve/app.h"
#include "tell/tell.h"

/* *ret is a new document: answers/rank.schema.json. */
int case_told_json(struct setup *setup, struct store *store, int64_t case_id, json_t **ret,
                   struct error *err);
/* tell_reach(); while the case's lot is open with every lot that it may be. */
int case_told_reach(const struct desk *desk, struct store *store, const struct tell_asked *asked,
                    json_t **ret, struct error *err);

#endif

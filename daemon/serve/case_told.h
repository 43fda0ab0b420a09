/* A case ranked anew, with all that stands beside its ranking: state, verdict, lot, what was
 * joined. */
#ifndef ODDLOAF_SERVE_CASE_TOLD_H
#define ODDLOAF_SERVE_CASE_TOLD_H

#include "serve/app.h"

/* *ret is a new document: answers/rank.schema.json. */
int case_told_json(struct setup *setup, struct store *store, int64_t case_id, json_t **ret,
                   struct error *err);

#endif

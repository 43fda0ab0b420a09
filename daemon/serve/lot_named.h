/* The lot that somebody names, for what is put on record of it. */
#ifndef ODDLOAF_SERVE_LOT_NAMED_H
#define ODDLOAF_SERVE_LOT_NAMED_H

#include "serve/setup.h"
#include "store/hold.h"

/* A lot on record by its code as printed or as read, else the code: a hold is safety, and does not
 * wait for records. Only a code that reads as several lots is refused. */
int lot_named(const struct setup *setup, struct store *store, const char *text, int64_t now_ms,
              struct hold_of *ret, struct error *err);

#endif

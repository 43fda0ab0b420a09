/* What happened to a complaint, a case or a lot, from the rows that record it. */
#ifndef ODDLOAF_STORE_HISTORY_H
#define ODDLOAF_STORE_HISTORY_H

#include "store/store.h"

/* Text lives until the callback returns. */
struct history_row {
    int64_t at_ms;
    const char *by;    /* "" the program itself, or not known */
    const char *what;  /* "logged", "joined", "separated", "corrected", "withdrawn", "brought back",
                          "moved",  "contact erased", "mailed", "settled", "reopened", "held",
                          "released",  "action", "record changed", "measured", "result corrected",
                          "result taken back", "attached", "detached", "noted", "owner", "due",
                          "severity", "call-back", "answered" */
    const char *about; /* uuid of a complaint, a lot's code, the field of a change; or "" */
    const char *field; /* of a change */
    /* "" nothing. Of "record changed" the field is the kind of record, `was` the row before and
     * `is` the columns that changed, JSON; `is` of rows of old is not known */
    const char *was, *is, *why;
    int64_t change_id; /* store/change.h; 0 it is none of those */
};
typedef int (*history_each)(void *arg, const struct history_row *row);

enum history_of { HISTORY_CASE, HISTORY_COMPLAINT, HISTORY_LOT };

/* By the id of that row, oldest first. A callback's non-zero answer stops and is returned. */
int history_read(struct store *store, enum history_of of, int64_t id, history_each each, void *arg,
                 struct error *err);

#endif

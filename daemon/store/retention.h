/* What has been kept long enough, by kind. Complaints, cases, verdicts, changes, holds, actions,
 * how cases were followed up, and records are never dropped; nor is a case's newest ranking, the
 * newest that was mailed, one that a verdict stands on, or a mail that has not left. */
#ifndef ODDLOAF_STORE_RETENTION_H
#define ODDLOAF_STORE_RETENTION_H

#include "store/store.h"

/* Days each kind is kept; 0: for ever. */
struct retention {
    int64_t rankings_days; /* revisions that were mailed, but for the newest such of a case */
    int64_t mail_days;     /* mail that has left; of mail about harm its text */
    int64_t replaced_days; /* what rows of records were before a later load replaced them */
    int64_t loads_days;    /* which files were loaded, once they wait no more; not of readings */
    int64_t photos_days;   /* what was attached to complaints */
};
/* Inside the writer's transaction. At most `limit` rows of each kind; *ret_dropped 0: no more are
 * due. */
int retention_round(struct store *store, const struct retention *rule, int64_t now_ms, int limit,
                    int *ret_dropped, struct error *err);

#endif

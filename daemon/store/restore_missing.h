/* What came after a backup, and is lost by restoring it. Inside store/ only. */
#ifndef ODDLOAF_STORE_RESTORE_MISSING_H
#define ODDLOAF_STORE_RESTORE_MISSING_H

#include "store/restore.h"

/* Of what the database attached as `past` has and this one has not: all of struct restored's
 * `missing`. */
int restore_missing_count(struct store *store, struct restored *restored, struct error *err);
/* The same before it is restored, of a file that may be an older version's. */
int restore_missing_foresee(struct store *store, struct restore_foreseen *foreseen,
                            struct error *err);

#endif

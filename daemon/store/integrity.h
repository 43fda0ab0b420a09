/* Is the database whole? Every page, row and index entry is read and compared. */
#ifndef ODDLOAF_STORE_INTEGRITY_H
#define ODDLOAF_STORE_INTEGRITY_H

#include "store/store.h"
#include <stdatomic.h>

/* Table after table, each in a read of its own, so that the log can be written back meanwhile:
 * minutes for a large database. 0: sound. ERROR_BUSY: `stop` (NULL: nobody stops it) became true.
 * Else the first finding. */
int integrity_check(struct store *store, const atomic_bool *stop, struct error *err);

#endif

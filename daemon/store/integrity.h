/* Is the database whole? Every page of a table or an index, every row and index entry is read and
 * compared; not the bytes of attached files, which backup.h looks at. */
#ifndef ODDLOAF_STORE_INTEGRITY_H
#define ODDLOAF_STORE_INTEGRITY_H

#include "store/store.h"
#include <stdatomic.h>

/* Table after table, each in a read of its own, so that the log can be written back meanwhile:
 * minutes for a large database. 0: sound. ERROR_BUSY: `stop` (NULL: nobody stops it) became true.
 * ERROR_IO: the first finding. */
int integrity_check(struct store *store, const atomic_bool *stop, struct error *err);

#endif

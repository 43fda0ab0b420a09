/* Writing records: a row is new, the same as before, or replaces an older one, which is then kept
 * in replaced_row as JSON. Functions that write run inside the writer's transaction. */
#ifndef ODDLOAF_STORE_RECORD_WRITE_H
#define ODDLOAF_STORE_RECORD_WRITE_H

#include "base/record_kind.h"
#include "store/store.h"

enum record_outcome { RECORD_SAME, RECORD_NEW, RECORD_CHANGED };

/* One job's worth of writing rows of one kind. Must not outlive the transaction: it keeps ids that
 * a rollback takes back. */
struct record_writing;

/* `source` is named beside replaced rows; borrowed. */
struct record_writing *record_write_new(struct store *store, enum record_kind kind,
                                        const char *source, int64_t now_ms);
void record_write_free(struct record_writing *writing); /* NULL is fine */
int record_write(struct record_writing *writing, const struct record_cell *cells,
                 enum record_outcome *ret, struct error *err);
/* What record_write() would do; writes nothing, so a reading connection will do. */
int record_write_compare(struct record_writing *writing, const struct record_cell *cells,
                         enum record_outcome *ret, struct error *err);

#endif

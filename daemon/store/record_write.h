/* Writing records: a row is new, the same as before, or replaces an older one, which is then kept
 * in replaced_row as JSON. Counts by week and by lot follow. Cells are those of the kind's table
 * (base/record_kind.h), in its order, checked by the importer: lots and products as ids, quantities
 * as names. */
#ifndef ODDLOAF_STORE_RECORD_WRITE_H
#define ODDLOAF_STORE_RECORD_WRITE_H

#include "base/record_kind.h"
#include "store/store.h"

enum record_outcome { RECORD_SAME, RECORD_NEW, RECORD_CHANGED };

/* One job's worth of writing rows of one kind. Must not outlive the transaction: it keeps ids that
 * a rollback takes back. */
struct record_writing;

/* `source` is named beside replaced rows; borrowed, as is the store. */
struct record_writing *record_write_new(struct store *store, enum record_kind kind,
                                        const char *source, int64_t now_ms);
void record_write_free(struct record_writing *writing); /* NULL is fine */
/* In the writer's transaction. *ret is set on success only. */
int record_write(struct record_writing *writing, const struct record_cell *cells,
                 enum record_outcome *ret, struct error *err);
/* What record_write() would do; writes nothing, so a reading connection will do. */
int record_write_compare(struct record_writing *writing, const struct record_cell *cells,
                         enum record_outcome *ret, struct error *err);

#endif

/* Inside store/ only. */
#ifndef ODDLOAF_STORE_COMPLAINT_INSIDE_H
#define ODDLOAF_STORE_COMPLAINT_INSIDE_H

#include "store/complaint.h"

int complaint_insert_lots(struct store *store, int64_t complaint_id,
                          const struct complaint_lots *lots, struct error *err);
int complaint_delete_lots(struct store *store, int64_t complaint_id, struct error *err);

/* 1 found, 0 none. */
int case_find(struct store *store, const char *symptom, int64_t lot_id, int64_t *ret_id,
              struct error *err);
/* The case a complaint belongs to: that of its lot (0), or one of its own, opened now (1). */
int case_for(struct store *store, const char *symptom, int64_t lot_id, int64_t received_ms,
             int64_t *ret_id, struct error *err);

#endif

/* Inside store/ only. */
#ifndef ODDLOAF_STORE_COMPLAINT_INSIDE_H
#define ODDLOAF_STORE_COMPLAINT_INSIDE_H

#include "store/complaint.h"

int complaint_insert_lots(struct store *store, int64_t complaint_id,
                          const struct complaint_lots *lots, struct error *err);
int complaint_delete_lots(struct store *store, int64_t complaint_id, struct error *err);

#endif

/* Inside store/ only. */
#ifndef ODDLOAF_STORE_COMPLAINT_INSIDE_H
#define ODDLOAF_STORE_COMPLAINT_INSIDE_H

#include "store/complaint.h"

/* Where a complaint stands, and what its case counts of it. */
struct complaint_where {
    int64_t case_id, lot_id, received_ms;
    int packs;
    bool harm;
    enum lot_state state;
    char symptom[16], uuid[UUID_TEXT];
};
/* ERROR_NOT_FOUND if there is no such complaint. */
int complaint_where_of(struct store *store, int64_t complaint_id, struct complaint_where *ret,
                       struct error *err);
int complaint_insert_lots(struct store *store, int64_t complaint_id,
                          const struct complaint_lots *lots, struct error *err);
int complaint_delete_lots(struct store *store, int64_t complaint_id, struct error *err);

/* 1 found, 0 none. */
int case_find(struct store *store, const char *symptom, int64_t lot_id, int64_t *ret_id,
              struct error *err);
/* The case a complaint belongs to: that of its lot, or one of its own. */
int case_for(struct store *store, const char *symptom, int64_t lot_id, int64_t received_ms,
             int64_t *ret_id, bool *ret_new, struct error *err);
int case_add(struct store *store, int64_t case_id, int64_t received_ms, int packs, bool harm,
             struct error *err);
/* Counts a case again from its complaints after one left; an empty case points to where it went. */
int case_recount(struct store *store, int64_t case_id, int64_t moved_to, struct error *err);

#endif

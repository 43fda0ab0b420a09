/* Holds on lots and their ends. */
#ifndef ODDLOAF_STORE_HOLD_H
#define ODDLOAF_STORE_HOLD_H

#include "store/store.h"

struct hold_row {
    char what[12], disposition[16], reason[256], by_name[64]; /* what: "hold" or "release" */
    int64_t at_ms;
};
int hold_add(struct store *store, int64_t lot_id, const char *what, const char *disposition,
             const char *reason, const char *by_name, int64_t now_ms, struct error *err);
/* The newest entry; ERROR_NOT_FOUND if none. */
int hold_of_lot(struct store *store, int64_t lot_id, struct hold_row *ret, struct error *err);

#endif

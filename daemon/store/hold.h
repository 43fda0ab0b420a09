/* Holds on lots and their ends; also on codes that no record bears yet, which become those of the
 * lot when it is loaded. */
#ifndef ODDLOAF_STORE_HOLD_H
#define ODDLOAF_STORE_HOLD_H

#include "base/length.h"
#include "store/store.h"

struct hold_row {
    char what[12], disposition[16], reason[LENGTH_REASON + 1],
        by_name[LENGTH_PERSON + 1]; /* what: "hold" or "release" */
    int64_t at_ms;
};
/* Whose: a lot on record, or (lot_id 0) a code that is on none. */
struct hold_of {
    int64_t lot_id;
    char code[80];
};
int hold_add(struct store *store, const struct hold_of *of, const struct hold_row *entry,
             struct error *err);
/* Lots whose newest entry is a hold, and codes on no record (no units, an unknown code date), the
 * longest held first. Text lives until the callback
 * returns; its non-zero answer stops and is returned. */
struct hold_standing {
    const char *lot, *reason, *by_name;
    int64_t units, at_ms;
    int32_t code_day;
};
typedef int (*hold_each)(void *arg, const struct hold_standing *row);
int hold_each_standing(struct store *store, int64_t until_ms, hold_each each, void *arg,
                       struct error *err);
/* The newest entry; ERROR_NOT_FOUND if none. */
int hold_of_lot(struct store *store, int64_t lot_id, struct hold_row *ret, struct error *err);
/* A lot was just put on record: what is held of its code becomes its own. */
int hold_take_code(struct store *store, int64_t lot_id, struct error *err);
int hold_of_code(struct store *store, const char *code, struct hold_row *ret, struct error *err);

#endif

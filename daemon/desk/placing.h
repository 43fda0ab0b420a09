/* Finding the lot of a complaint from what its form says. */
#ifndef ODDLOAF_DESK_PLACING_H
#define ODDLOAF_DESK_PLACING_H

#include "desk/desk.h"
#include "intake/complaint_form.h"
#include "store/complaint.h"
#include "store/writer.h"

struct placing {
    struct complaint_lot lots[COMPLAINT_LOTS];
    int lot_count;
    char code[COMPLAINT_LOTS][LOT_MATCH_CODE]; /* of the lots */
    int64_t product_id;                        /* of the product the form names, 0 if unknown */
};

int placing_find(const struct desk *desk, struct store *store, const struct complaint_form *form,
                 struct placing *ret, struct error *err);
/* Doubts what only the records can: a receipt long before there were any. */
void placing_doubt(struct store *store, const struct complaint_form *form);
/* The complaint as the store takes it. Borrows form and body; without contact data. */
void placing_complaint(const struct desk *desk, const struct complaint_form *form,
                       const struct placing *placing, const char *body, int64_t now_ms,
                       struct complaint_new *ret);

/* Matches complaints with open lots again (records came since) and places those whose candidates
 * changed. Runs on a reader thread. */
int placing_again(const struct desk *desk, struct writer *writer, struct store *store,
                  int64_t now_ms, struct error *err);

#endif

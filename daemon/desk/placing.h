/* Finding the lot of a complaint from what its form says. */
#ifndef ODDLOAF_DESK_PLACING_H
#define ODDLOAF_DESK_PLACING_H

#include "intake/complaint_form.h"
#include "lots/match.h"
#include "serve/app.h"
#include "store/complaint.h"

struct placing {
    struct complaint_lot lots[COMPLAINT_LOTS];
    int lot_count;
    char code[COMPLAINT_LOTS][LOT_MATCH_CODE]; /* of the lots */
    int64_t product_id;                        /* of the product the form names, 0 if unknown */
};

int placing_find(const struct setup *setup, struct store *store, const struct complaint_form *form,
                 struct placing *ret, struct error *err);
/* The complaint as the store takes it. Borrows form and body; without contact data. */
void placing_complaint(const struct setup *setup, const struct complaint_form *form,
                       const struct placing *placing, const char *body, int64_t now_ms,
                       struct complaint_new *ret);
/* A first candidate of at least this weight is taken as the lot. */
double placing_settled_at(const struct setup *setup);

/* Matches complaints with open lots again (records came since) and places those whose candidates
 * changed. Runs on a reader thread. */
int placing_again(struct app *app, struct setup *setup, struct store *store, struct error *err);

#endif

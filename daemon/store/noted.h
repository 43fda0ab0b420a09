/* What the plant itself wrote about a complaint's cases and lot: reasons of holds and of their
 * ends, notes of verdicts and of corrective actions, results with how they were got and why they
 * were taken back, names of attached files and why they were detached, and what was done to follow
 * a case up. In plain text: whoever rewrites it takes contact data out (desk/apart_past.h). */
#ifndef ODDLOAF_STORE_NOTED_H
#define ODDLOAF_STORE_NOTED_H

#include "store/store.h"

enum noted_of {
    NOTED_HOLD,
    NOTED_VERDICT,
    NOTED_ACTION,
    NOTED_RESULT,
    NOTED_METHOD,
    NOTED_FILE,
    NOTED_FOLLOW,
    NOTED_LAB
};

/* Text lives until the callback returns; "" nothing. */
struct noted_row {
    enum noted_of of;
    int64_t id;             /* of the hold, verdict, action, result, file or entry */
    const char *text, *end; /* end: why a hold or a result ended or a file was detached. A method:
                               the result as it was written, and how it was got. A laboratory: it,
                               and its sample */
};
typedef int (*noted_each)(void *arg, const struct noted_row *row);
/* Of the cases that the complaint is, or was once, in, of its lot and its own files, and holds of
 * its code ("" none) that wait for its lot; a callback may write. Its non-zero answer stops and is
 * returned. */
int noted_about(struct store *store, int64_t complaint_id, const char *code, noted_each each,
                void *arg, struct error *err);
/* Puts `text` and `end` in the place of what the row `of` and `id` says; what has no end gets none.
 * Neither is NULL. In the writer's transaction. */
int noted_rewrite(struct store *store, const struct noted_row *row, struct error *err);

#endif

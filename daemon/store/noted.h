/* What the plant itself wrote about a complaint's cases and lot: reasons of holds and of their
 * ends, notes of verdicts and of corrective actions, results with how they were got and why they
 * were taken back, names of attached files and why they were detached, and
 * what was done to follow a case up. */
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

/* Text lives until the callback returns. */
struct noted_row {
    enum noted_of of;
    int64_t id;
    const char *text, *end; /* end: why a hold or a result ended; of how a result was got: the
                               result itself and its method; of a
                               laboratory: it and its sample; "" nothing */
};
typedef int (*noted_each)(void *arg, const struct noted_row *row);
/* Of the cases that the complaint is, or was once, in; a callback may write. Its non-zero answer
 * stops and is returned. */
int noted_about(struct store *store, int64_t complaint_id, noted_each each, void *arg,
                struct error *err);
/* Other words, in the writer's transaction. */
int noted_rewrite(struct store *store, const struct noted_row *row, struct error *err);

#endif

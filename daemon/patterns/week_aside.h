/* Complaints that are left aside wherever a cause is named: those of cases that report harm, or
 * may. Inside patterns/. */
#ifndef ODDLOAF_PATTERNS_WEEK_ASIDE_H
#define ODDLOAF_PATTERNS_WEEK_ASIDE_H

#include "patterns/week_signals.h"

struct week_aside {
    int64_t *ids; /* ascending */
    size_t count, capacity;
};

int week_aside_read(struct store *store, const struct pattern_scope *scope, struct week_aside *ret,
                    struct error *err);
bool week_aside_has(const struct week_aside *aside, int64_t complaint_id);
void week_aside_free(struct week_aside *aside);

/* Takes what such complaints bring off what was observed of causes; a signal of which less than
 * WEEK_RISE_LEAST is left is none: the first *count stay signals, in their order. */
int week_aside_signals(struct store *store, const struct week_data *d, struct week_signal *signals,
                       size_t *count, struct error *err);

#endif

/* What rose, told by what the lots of its complaints share rather than by a level's own past: lots
 * of materials, stores, and any plant too young to have a past. Inside patterns/. */
#ifndef ODDLOAF_PATTERNS_WEEK_TRACED_H
#define ODDLOAF_PATTERNS_WEEK_TRACED_H

#include "patterns/week_signals.h"

struct week_traced {
    struct store *store;
    const struct tz *tz;
    const struct week_model *model;
    struct week_data *data; /* the model's; gets the levels that it had no counts of */
};

/* Traces the lots packed in the eight weeks up to the end of the one shown, complaints received
 * until then, of every symptom with three complaints or more in it. What is told and goes on is
 * marked in the signals (those with q <= WEEK_FALSE_SIGNALS alone), or added to them, near rivals
 * with it: the array is made anew, by p. ERROR_BUSY: whoever asked has gone. */
int week_traced(const struct week_traced *by, struct week_signal **signals, size_t *count,
                struct error *err);

#endif

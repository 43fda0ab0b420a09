/* What rose: every level of line, product, shift, route and cause against what it should have
 * brought, over the last week and the last two and four, with the false-discovery rate held
 * across all of them, and across all stores, of which there are many, at half of it. Inside
 * patterns/. */
#ifndef ODDLOAF_PATTERNS_WEEK_SIGNALS_H
#define ODDLOAF_PATTERNS_WEEK_SIGNALS_H

#include "patterns/week_expect.h"

#define WEEK_FALSE_SIGNALS 0.05 /* share of signals that may be false */
#define WEEK_RISE_LEAST 1.5     /* complaints: one is no rise, whatever is usual */

/* Where a rise stands: the newest week and the newest two by themselves say it. */
enum week_course {
    WEEK_UP,     /* both stand out: it goes on */
    WEEK_EASING, /* the newest week is back at its usual, or the two stand out no more */
    WEEK_OVER    /* both are at their usual or under it */
};

struct week_signal {
    size_t level; /* index of the data's levels */
    int symptom;
    int since; /* index of WEEK_SPAN: where the rise began */
    enum week_course course;
    double newest, newest_usual;         /* in the week shown, and what is usual there */
    double observed, expected;           /* since then */
    double ratio, ratio_low, ratio_high; /* of signals only */
    double phi;                          /* spread of their sum: variance over mean */
    double p, q;
    double evidence; /* log odds for what the lots of its complaints share; 0: not traced */
    bool leads;      /* … of which it is the likeliest */
    bool rival;      /* … or one of those that the lots do not tell from it */
};
/* "up", "easing", "over" */
const char *week_signals_course(enum week_course course);

/* All series that can be judged, the surest (least q) first; those with q <= WEEK_FALSE_SIGNALS are
 * signals. malloc'd. `ret_tested` is their number. */
struct week_signal *week_signals(const struct week_model *model, size_t *ret_tested);

/* Of a signal that was found otherwise: ratio and its limits; then all by their p. */
void week_signals_size_up(struct week_signal *signal);
void week_signals_sort(struct week_signal *signals, size_t count);

#endif

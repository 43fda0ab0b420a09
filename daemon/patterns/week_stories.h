/* One excess, one story: signals that share the same complaints belong together. Inside patterns/.
 */
#ifndef ODDLOAF_PATTERNS_WEEK_STORIES_H
#define ODDLOAF_PATTERNS_WEEK_STORIES_H

#include "patterns/week_signals.h"

enum { WEEK_STORY_SIGNALS = 24 };

struct week_story {
    const struct week_signal *led_by;                      /* what explains it best */
    const struct week_signal *beneath[WEEK_STORY_SIGNALS]; /* what else it shows in, surest first */
    int count;
    const struct week_signal
        *cause; /* a known one that half of the excess is held to be; or NULL */
};

struct week_risen {
    struct store *store;
    const struct week_data *data;
    const struct week_signal *signals; /* in the order of their p */
    size_t count;
};

/* Of every symptom at most WEEK_STORY_SIGNALS are looked at. malloc'd; what goes on comes first,
 * what eases next, what is over last. A story is led by what
 * tracing holds to be the one (week_traced.h); where nothing was traced, by the surest level of a
 * line, product, shift or route, or by all complaints together where no such level holds half of
 * what rose. Signals of which at least half of the complaints are the leader's are beneath it. */
int week_stories(const struct week_risen *risen, struct week_story **ret, size_t *ret_count,
                 struct error *err);

#endif

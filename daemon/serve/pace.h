/* How much of the machine the background takes while complaints pour in: priorities settle only who
 * runs where threads compete, and each ranking has the writer's time as well. */
#ifndef ODDLOAF_SERVE_PACE_H
#define ODDLOAF_SERVE_PACE_H

#include <stdbool.h>
#include <stdint.h>

/* Jobs of the writer at a monotonic time, as writer_counts() has them. */
struct pace {
    uint64_t jobs;
    int64_t at_ms;
};

/* Do others write so much between the two that they wait for each other? */
bool pace_is_busy(struct pace from, struct pace to);
/* How long to rest after a round between the two, ms; 0: nobody would be the better for it. */
int64_t pace_rest_ms(struct pace from, struct pace to);

#endif

#include "serve/pace.h"

enum {
    BUSY_PER_S = 100, /* no plant's desks log as fast; a program that sends one by one does */
    RESTS = 9, /* of ten parts of the time: what BACKGROUND_NICE gives where threads compete */
    REST_MOST_MS = 5000
};

bool pace_is_busy(struct pace from, struct pace to)
{
    int64_t ms = to.at_ms - from.at_ms, jobs = (int64_t)(to.jobs - from.jobs);
    return jobs * 1000 > (ms > 0 ? ms : 1) * BUSY_PER_S;
}

int64_t pace_rest_ms(struct pace from, struct pace to)
{
    int64_t rest_ms = pace_is_busy(from, to) ? RESTS * (to.at_ms - from.at_ms) : 0;
    return rest_ms < REST_MOST_MS ? rest_ms : REST_MOST_MS;
}

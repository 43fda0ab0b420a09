/* An interval: what every estimate carries with it. `high` may be INFINITY. */
#ifndef ODDLOAF_STATS_INTERVAL_H
#define ODDLOAF_STATS_INTERVAL_H

struct interval {
    double low, high;
};

#endif

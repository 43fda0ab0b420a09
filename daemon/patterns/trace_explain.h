/* What explains the complaints of a trace: troubles, each of one level of a factor, weighed beside
 * each other, so that what only goes along with another has nothing left to explain. Inside
 * patterns/.
 *
 * A sum of single effects (G. Wang, A. Sarkar, P. Carbonetto & M. Stephens, "A simple new approach
 * to variable selection in regression, with application to genetic fine mapping", Journal of the
 * Royal Statistical Society B 82 (2020) 1273-1300) with counts for its outcome. */
#ifndef ODDLOAF_PATTERNS_TRACE_EXPLAIN_H
#define ODDLOAF_PATTERNS_TRACE_EXPLAIN_H

#include "patterns/trace_lots.h"

enum { TRACE_STORIES = 6, TRACE_BLAMES = 6 };

/* One level that would explain a trouble. */
struct trace_blame {
    size_t level;
    double share;              /* how likely it is the one, of all that would do */
    double fit;                /* log of its Bayes factor: what its kind and number are aside */
    size_t first, last;        /* of the level's lots: when */
    bool throughout;           /* all of them */
    double ratio;              /* times the usual */
    double observed, expected; /* complaints then, and how many without this trouble */
};

struct trace_story {
    double evidence;                     /* log of the odds against nothing, the search counted */
    struct trace_blame of[TRACE_BLAMES]; /* the likeliest first */
    int count;
    bool told; /* sure enough to be told; others only say in what order to look */
};

/* Of marked lots; the surest trouble first. Where the likeliest by itself has less evidence than
 * `least`, no other is looked for beside it (-INFINITY: all are). False: nobody waits for it any
 * more (store_is_dropped()), it takes seconds of a year's lots. */
bool trace_explain(const struct trace_lots *t, double least, struct trace_story ret[TRACE_STORIES]);

#endif

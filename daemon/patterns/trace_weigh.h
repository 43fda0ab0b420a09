/* How much better complaints are explained if one level was in trouble, throughout or for a
 * stretch. Inside patterns/. */
#ifndef ODDLOAF_PATTERNS_TRACE_WEIGH_H
#define ODDLOAF_PATTERNS_TRACE_WEIGH_H

#include "patterns/trace_cells.h"

struct trace_weighed {
    double evidence;    /* log of the Bayes factor against nothing, over all stretches and sizes */
    size_t first, last; /* of the level's lots: the likeliest stretch */
    double ratio;       /* how many times the usual, over the sizes */
    bool throughout;
};

struct trace_weigher;
struct trace_weigher *trace_weigh_new(const struct trace_cells *c);
void trace_weigh_free(struct trace_weigher *w); /* NULL is fine */

/* What is expected of every cell with all else explained, from here on: kept, not copied. */
void trace_weigh_beside(struct trace_weigher *w, const double *now);
/* With `stretches` any stretch of the level's lots may be it, or all of them. */
void trace_weigh(struct trace_weigher *w, size_t level, bool stretches, struct trace_weighed *ret);

#endif

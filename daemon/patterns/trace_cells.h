/* The lots of a trace by where they went, and how many complaints each part is expected to bring
 * with nothing wrong. Inside patterns/. */
#ifndef ODDLOAF_PATTERNS_TRACE_CELLS_H
#define ODDLOAF_PATTERNS_TRACE_CELLS_H

#include "patterns/trace_lots.h"

/* What went of one lot to one store, or route (of one retailer); a lot of which nothing is known is
 * one. */
struct trace_cells {
    const struct trace_lots *t;
    struct trace_sent *cell; /* by lot; `units` are those the lot's are shared out by */
    double *usual;           /* complaints of a cell; of lots left out 0 */
    size_t count;
    size_t *first;  /* of a lot's cells; one more at the end */
    size_t *report; /* of a lot's reports, likewise */
    size_t *week;   /* of a lot, from 0 */
    size_t week_count;
    double *came; /* complaints of a week */
};

/* The usual is what every product, line and shift brings a unit, weeks that stand out left aside,
 * drawn towards what all bring; routes and stores bring by the units they got. Of marked lots
 * (failed, excluded). */
struct trace_cells *trace_cells_new(const struct trace_lots *t);
void trace_cells_free(struct trace_cells *c); /* NULL is fine */

/* Complaints of a lot that count: of one that failed at least one. */
long trace_cells_came(const struct trace_cells *c, size_t lot);
/* What part of a cell belongs to a level: of another factor than where it went all of it. */
double trace_cells_in(const struct trace_cells *c, const struct trace_sent *cell, size_t level,
                      bool sent);
/* Whether a level is a route, a store or a retailer: cells of a lot are in it, not all of the lot.
 */
bool trace_cells_is_sent(const struct trace_lots *t, size_t level);
/* What share of where a report may come from lies in a level, as `now` is expected of cells. NULL
 * for a report that names nothing. */
double trace_cells_share(const struct trace_cells *c, const double *now, size_t lot,
                         const struct trace_sent *report, size_t level);

#endif

/* What a manager must know in a minute: how each symptom stands, in the words of the signals;
 * reports of harm, lots on hold, cases overdue, actions and whether they worked; and all that as a
 * few plain sentences. Inside patterns/. */
#ifndef ODDLOAF_PATTERNS_WEEK_HEAD_H
#define ODDLOAF_PATTERNS_WEEK_HEAD_H

#include "patterns/week_signals.h"
#include <jansson.h>

struct triage;
struct targets;

/* All borrowed. */
struct week_head {
    struct store *store;
    const struct tz *tz;
    struct triage *triage; /* as of struct week_told */
    const struct week_model *model;
    const struct week_signal *signals;
    size_t signal_count;           /* those that are signals */
    const struct targets *targets; /* or NULL */
    const json_t *harm;            /* as of struct week_query */
    const struct desk *desk;       /* likewise */
};

/* Adds "headline", "standing", "stories", "fell", "before", "harm", "harm_since", "harm_in_lots",
 * "holds", "overdue", "overdue_count" and "actions" to a report that has its "charts". */
int week_head(const struct week_head *head, json_t *report, struct error *err);
/* Adds "cost", and a sentence of it, to a report that has its "complaints" and "other"; nothing
 * while nothing has a price. */
void week_head_cost(const struct week_head *head, json_t *report);

#endif

/* What rose and what fell, told: how each symptom stands, the stories, and a plain sentence each.
 * Page, terminal and mail show these words and this order. Inside patterns/. */
#ifndef ODDLOAF_PATTERNS_WEEK_TOLD_H
#define ODDLOAF_PATTERNS_WEEK_TOLD_H

#include "base/length.h"
#include "patterns/week_stories.h"
#include "store/action.h"
#include <jansson.h>

struct triage;
struct targets;

/* A corrective action of the last weeks, and what it changed. */
struct week_action {
    struct action_row row;
    char cause[64];      /* the action's, or that of its place */
    const char *verdict; /* owned by the report's "actions" */
    bool told;           /* in the sentence of what it is against */
};

/* All borrowed. */
struct week_told {
    struct store *store;
    const struct tz *tz;
    struct triage *triage; /* titles of causes, other lots at risk; or NULL */
    const struct week_model *model;
    const struct week_signal *signals;
    size_t signal_count;           /* those that are signals */
    const struct targets *targets; /* or NULL */
    const json_t *holds;           /* hold_json() of those that stand */
    struct week_action *actions;   /* the newest first; `told` is set */
    int action_count;
};

/* Adds "standing", "stories" and "fell" to a report that has its "charts", and their sentences to
 * its "headline". */
int week_told(const struct week_told *told, json_t *report, struct error *err);

/* "action of 20 November (second fan): too early to tell"; a long note is cut. */
void week_told_action(struct text_buffer *b, const struct tz *tz, const struct week_action *action);

#endif

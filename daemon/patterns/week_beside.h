/* What else the complaints of a story are about: what an earlier trouble leads may hold a new one.
 * Inside patterns/. */
#ifndef ODDLOAF_PATTERNS_WEEK_BESIDE_H
#define ODDLOAF_PATTERNS_WEEK_BESIDE_H

#include "patterns/week_data.h"
#include <jansson.h>

struct week_beside_of {
    const struct week_level *led;
    const struct week_level *cause; /* what the story is told as; NULL: nothing is */
    int symptom;
    int weeks_before; /* that it had before the one shown */
};

/* [{"cause", "complaints", "of", "before", "before_of"}], the most first: causes that at least two
 * of the story's complaints of the week shown most likely have, each by itself, and more of them
 * than of its complaints of the weeks before; of a story that began this week and is told as a
 * cause, twice as many as a week of the eight before had in all. Not the story's own, nor that none
 * is known. Complaints of cases that speak of harm are left aside. New reference. */
int week_beside(struct store *store, const struct week_data *d, const struct week_beside_of *of,
                json_t **ret, struct error *err);

#endif

/* Which of a lot's preserving ingredients a rule speaks of that names the inhibitor or the acid: a
 * lot may have several of either, each with a dose, a strength and a target of its own. */
#ifndef ODDLOAF_FACTS_INGREDIENT_H
#define ODDLOAF_FACTS_INGREDIENT_H

#include "facts/facts.h"

/* A lot as it is asked. All borrowed. */
struct ingredient_asked {
    const struct rules *rules;
    const struct lot_record *record;
    const struct fact_baseline *baseline;
    int symptom;
    int64_t as_of_ms;
};

/* The quantity that stands for the rule's: of those on record the one furthest from its target, or
 * from what is usual, below it where the case is of mold and above it elsewhere. The rule's own
 * name where the lot has no other. */
const char *ingredient_spoken_of(const struct ingredient_asked *asked,
                                 const struct fact_name *name);

/* Does the bread hold sorbate? 1: a use, a dose or a target on record says so; 0: they name what it
 * is preserved with, and no sorbate; -1: not known. A target or reading of propionate names it. */
int ingredient_sorbate(const struct rules *rules, const struct lot_record *record,
                       int64_t as_of_ms);

/* Does the recipe want none of it, a dose's quantity, and does no record tell of any? What is of
 * several kinds (the inhibitor, the acid) is wanted or on record if any of them is. */
bool ingredient_left_out(const struct rules *rules, const struct lot_record *record,
                         const char *dose, int64_t as_of_ms);

#endif

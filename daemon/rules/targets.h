/* rules/targets.json: complaints per million that the plant wants to stay under, by line and
 * symptom, of a company by plant, and what a complaint costs it. Values are the plant's. Immutable
 * once loaded. */
#ifndef ODDLOAF_RULES_TARGETS_H
#define ODDLOAF_RULES_TARGETS_H

#include "base/doc.h"

struct targets;

/* Every fault is reported (`report` may be NULL); the first is in `err`, too. No file is no fault:
 * nothing is wanted and nothing has a price. */
int targets_load(const char *path, doc_report report, void *arg, struct targets **ret,
                 struct error *err);
/* Whose target the row is, counted from 0 as in the file; "" of every plant; NULL: there are not so
 * many. */
const char *targets_plant(const struct targets *targets, size_t row);
void targets_free(struct targets *targets); /* NULL is fine */

/* Complaints per million units of a plant's line; NAN: none. What is wanted of that line there goes
 * before what is of all lines there, then what is of such a line anywhere, then of all. Plant "":
 * of lots that name none. `targets` may be NULL, here and below. */
double targets_per_million(const struct targets *targets, const char *plant, const char *line,
                           const char *symptom);

/* What one complaint of it costs; NAN: no price. */
double targets_cost(const struct targets *targets, const char *symptom);
/* "EUR"; NULL while nothing has a price. Borrowed. */
const char *targets_currency(const struct targets *targets);

#endif

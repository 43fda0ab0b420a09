/* rules/limits.json: the most that law allows in bread, by family of products, of a company whose
 * plants lie in several countries by plant. Values are the plant's; whoever prints one defers to
 * local law. Immutable once loaded. */
#ifndef ODDLOAF_RULES_LIMITS_H
#define ODDLOAF_RULES_LIMITS_H

#include "base/doc.h"

struct limit {
    const char *plant;      /* "": of each that has none of its own */
    const char *family;     /* of products, as the records have it */
    double propionic_mg_kg; /* as propionic acid, in bread */
    double sorbic_mg_kg;    /* as sorbic acid; NAN: not named */
    const char *what, *source;
};
struct limits;

/* Every fault is reported (`report` may be NULL); the first is in `err`, too. No file is no fault:
 * no limits. */
int limits_load(const char *path, doc_report report, void *arg, struct limits **ret,
                struct error *err);
void limits_free(struct limits *limits); /* NULL is fine */

/* Whose limit the row is, counted from 0 as in the file; "" of every plant; NULL: there are not so
 * many. */
const char *limits_plant(const struct limits *limits, size_t row);
/* NULL: the file names none for that family, or there are no `limits`. A plant that has any of its
 * own has those alone: law ends at the border. Borrowed. */
const struct limit *limits_of(const struct limits *limits, const char *plant, const char *family);

#endif

/* A fact in words, for people who do not write rules: "Core temperature at packing", "Slicer: swab,
 * next entry", "Complaints on the same line". */
#ifndef ODDLOAF_RULES_FACT_TITLE_H
#define ODDLOAF_RULES_FACT_TITLE_H

#include "rules/vocabulary.h"
#include <stddef.h>

enum { FACT_TITLE = 160 };
/* Never fails: a fact that nobody gave words keeps its name. Returns `out`. */
const char *fact_title(const struct vocabulary *vocabulary, const struct fact_name *name,
                       char out[FACT_TITLE]);

#endif

/* A fact of a ranking (answers/why.schema.json) in words, the same in a mail and on a page. */
#ifndef ODDLOAF_SHOW_FACT_TOLD_H
#define ODDLOAF_SHOW_FACT_TOLD_H

#include "base/text.h"
#include <jansson.h>

/* " °C"; nothing of a number without a unit. */
void fact_told_unit(struct text_buffer *out, const char *unit);
/* "51.9 °C, target 38"; of complaints that share something, how many and how many by chance. */
void fact_told_value(struct text_buffer *out, const json_t *fact);

#endif

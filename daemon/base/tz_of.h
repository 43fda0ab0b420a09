/* The zones of a company's plants: kept with the company's own handle, so that whoever has that and
 * knows a plant has the plant's. */
#ifndef ODDLOAF_BASE_TZ_OF_H
#define ODDLOAF_BASE_TZ_OF_H

#include "base/when.h"

/* That plant's, borrowed of `tz`; `tz` itself where none was added of that name, or it is NULL or
 * "". tz may be NULL: UTC. */
const struct tz *tz_of(const struct tz *tz, const char *plant);
/* That plant's name of its zone, where it is another than the company's, for those who read its
 * times elsewhere; NULL: it has no other. Borrowed. */
const char *tz_of_apart(const struct tz *tz, const char *plant);
/* Before the handle is shared. The zone of one that has the company's is none of its own. */
int tz_of_add(struct tz *tz, const char *plant, const char *zone, struct error *err);

#endif

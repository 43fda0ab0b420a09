/* The zones of a company's plants: kept with the company's own handle, so that whoever has that and
 * knows a plant has the plant's. */
#ifndef ODDLOAF_BASE_TZ_OF_H
#define ODDLOAF_BASE_TZ_OF_H

#include "base/when.h"

/* `tz` is the company's or any of its plants', NULL: UTC; all are borrowed of the company's. That
 * plant's: the company's where none was added of that name; `tz` itself where it is NULL or "". */
const struct tz *tz_of(const struct tz *tz, const char *plant);
/* That plant's name of its zone, where it is another than the company's, for those who read its
 * times elsewhere; NULL: it has no other. Borrowed. */
const char *tz_of_apart(const struct tz *tz, const char *plant);
/* The day there; where no plant is said, the latest that it is by any of the company's clocks: what
 * is of no plant known is not ahead as long as it is that day anywhere. */
int32_t tz_of_day(const struct tz *tz, const char *plant, int64_t ms);
const struct tz *tz_of_company(const struct tz *tz);
/* Before the handle is shared. The zone of one that has the company's is none of its own. */
int tz_of_add(struct tz *tz, const char *plant, const char *zone, struct error *err);
/* Each plant with a zone of its own; a non-zero answer stops and is returned. */
typedef int (*tz_of_one)(void *arg, const char *plant, const struct tz *of);
int tz_of_each(const struct tz *tz, tz_of_one each, void *arg);

#endif

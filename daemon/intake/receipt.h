/* When a complaint was received. Everything is counted by it, and whoever takes a complaint stamps
 * it by a clock that may be wrong: that costs no complaint. */
#ifndef ODDLOAF_INTAKE_RECEIPT_H
#define ODDLOAF_INTAKE_RECEIPT_H

#include "base/error.h"
#include "base/when.h"
#include <jansson.h>

/* Member of a body: what the sender's clock said, where that could not be. */
#define RECEIPT_SAID "received_said"

/* ERROR_INVALID says why nothing can have been received then: it is later than now (but for ten
 * minutes between two clocks; `now_ms` 0: not checked) or before the year 2000. */
int receipt_check(const struct tz *tz, int64_t received_ms, int64_t now_ms, struct error *err);
/* The complaint; where its "received_at" is a time that cannot be, with `now_ms` for it and what it
 * said under RECEIPT_SAID. New reference. */
json_t *receipt_mend(const json_t *complaint, const struct tz *tz, int64_t now_ms);

#endif

/* Holds as JSON. */
#ifndef ODDLOAF_TELL_HOLD_JSON_H
#define ODDLOAF_TELL_HOLD_JSON_H

#include "base/when.h"
#include "store/hold.h"
#include <jansson.h>

/* {"hold","lot","reason","by","user","at","case"}; "case" is null if there is none. New reference.
 */
json_t *hold_json(const struct tz *tz, const struct hold_row *row);
/* Those that stand on a lot or code, the longest held first: a new list, empty if there is none or
 * nothing can be read. */
json_t *hold_json_of(struct store *store, const struct tz *tz, const struct hold_of *of);
/* "holds", if any stands on that lot. */
void hold_json_mark(struct store *store, const struct tz *tz, int64_t lot_id, json_t *into);

#endif

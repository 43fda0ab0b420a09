/* Attached files in JSON: what each is, without its bytes. */
#ifndef ODDLOAF_DESK_ATTACHED_JSON_H
#define ODDLOAF_DESK_ATTACHED_JSON_H

#include "base/when.h"
#include "store/attached.h"
#include <jansson.h>

/* common.schema.json#/$defs/attachment. New reference. */
json_t *attached_json(const struct tz *tz, const struct attached_row *row);
/* Sets "attachments" to those of a case and its complaints, or of one complaint (the other id 0);
 * on an error to those read until then. */
int attached_json_add(struct store *store, const struct tz *tz, int64_t case_id,
                      int64_t complaint_id, json_t *into, struct error *err);

#endif

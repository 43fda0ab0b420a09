/* One complaint as it stands, with the reports that were joined to it. */
#ifndef ODDLOAF_DESK_WHOLE_H
#define ODDLOAF_DESK_WHOLE_H

#include "desk/desk.h"
#include "store/store.h"
#include <jansson.h>

/* By the id of the complaint or of a report joined to it.  New reference.
 * ERROR_NOT_FOUND. */
int whole_complaint(const struct desk *desk, struct store *store, const char *id, bool with_contact,
                    json_t **ret, struct error *err);

#endif

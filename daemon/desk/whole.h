/* One complaint as it stands, with the reports that were joined to it. */
#ifndef ODDLOAF_DESK_WHOLE_H
#define ODDLOAF_DESK_WHOLE_H

#include "desk/desk.h"
#include "store/store.h"
#include <jansson.h>

/* By what somebody calls the complaint or a report joined to it (desk/named.h): its fields as they
 * stand, beside "sent" (as it came), "taken" (what its note gave), who logged it and when, its lot,
 * "doubts", "changes" and "joined". New reference. ERROR_NOT_FOUND, ERROR_CONFLICT. */
int whole_complaint(const struct desk *desk, struct store *store, const char *id, bool with_contact,
                    json_t **ret, struct error *err);

#endif

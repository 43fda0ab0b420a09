/* One complaint whole, for people. */
#ifndef ODDLOAF_CLIENT_SHOW_COMPLAINT_SHOW_H
#define ODDLOAF_CLIENT_SHOW_COMPLAINT_SHOW_H

#include "show/view.h"
#include <jansson.h>

/* `complaint`: the answer to GET /v1/complaints/ID. */
void complaint_show(const struct view *v, const json_t *complaint);

#endif

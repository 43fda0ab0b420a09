/* What a report said when it came: the body it was first kept with, without what its note gave. */
#ifndef ODDLOAF_DESK_SENT_H
#define ODDLOAF_DESK_SENT_H

#include "store/entry.h"
#include <jansson.h>

/* New references. `taken` may be NULL: nothing. */
json_t *sent_of(const json_t *first_body, const json_t *taken);
/* The same of what is kept; an entry_each with a `json_t **`, left as it is if that is no JSON. */
int sent_read(void *arg, const struct entry_row *row);

#endif

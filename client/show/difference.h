/* How two JSON documents differ, member by member, for people who edit one of them. */
#ifndef ODDLOAF_CLIENT_SHOW_DIFFERENCE_H
#define ODDLOAF_CLIENT_SHOW_DIFFERENCE_H

#include "show/view.h"
#include <jansson.h>

/* [{"at":"/evidence/0/bits","was":2,"is":3}]: JSON pointers (RFC 6901) into `is`, of what is gone
 * into `was`; "was" or "is" is missing where there was, or is, nothing. Of lists of different
 * lengths what is equal at both ends is left out. `was` or `is` NULL: no document. New reference.
 */
json_t *difference_of(const json_t *was, const json_t *is);
/* A line each: "/evidence/0/bits: 2, now 3". */
void difference_show(const struct view *v, int indent, const json_t *differences);

#endif

/* What a phone number is found by, whichever way it is written. */
#ifndef ODDLOAF_BASE_PHONE_KEY_H
#define ODDLOAF_BASE_PHONE_KEY_H

#include <stdbool.h>
#include <stddef.h>

/* "#" and the last nine digits from the last to the first, so that writings with and without area
 * or country begin alike; zeros dialled before either are no part of it. `folded` as text_fold()
 * writes it. False, and `out` stays, if it has letters or fewer than five digits. */
bool phone_key(const char *folded, char *out, size_t size);

#endif

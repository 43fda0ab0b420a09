/* Inside intake/ only: phone numbers in free text, in any writing. Pure. */
#ifndef ODDLOAF_INTAKE_MASK_PHONE_H
#define ODDLOAF_INTAKE_MASK_PHONE_H

#include "intake/mask.h"

/* Bytes of the number that begins at `at` (a place in `text` where a word or number begins), 0 if
 * there is none. */
size_t mask_phone_at(const char *text, const char *at, const struct mask_options *options);
/* Bytes of a digit in words there, 0 if there is none. */
size_t mask_phone_spoken_at(const char *at, char *ret);
/* Bytes of a date or an article number there, which is none. */
size_t mask_phone_not_at(const char *at);

#endif

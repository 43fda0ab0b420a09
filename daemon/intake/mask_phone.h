/* Inside intake/ only: phone numbers in free text, in any writing. Pure. */
#ifndef ODDLOAF_INTAKE_MASK_PHONE_H
#define ODDLOAF_INTAKE_MASK_PHONE_H

#include "intake/mask.h"

/* Bytes of the number that begins at `at` (a place in `text` where a word or number begins), 0 if
 * there is none. */
size_t mask_phone_at(const char *text, const char *at, const struct mask_options *options);
enum { MASK_PHONE_SPOKEN = 4 };
/* Bytes of digits in English or Spanish words there ("five", "fifteen", "fifty-two", "double oh"),
 * 0 if there are none. `among`: digits stand before them, so that "hundred" and "o" are some. */
size_t mask_phone_spoken_at(const char *at, bool among, char digits[MASK_PHONE_SPOKEN]);
/* Bytes of a date or an article number there, which is none. */
size_t mask_phone_not_at(const char *at);

#endif

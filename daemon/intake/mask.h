/* Contact data that free text repeats: what a caller said is read by others than the desk, who is
 * not. Pure. */
#ifndef ODDLOAF_INTAKE_MASK_H
#define ODDLOAF_INTAKE_MASK_H

#include <jansson.h>

/* The text on one line, with mail addresses, phone numbers (seven digits or more that are no date,
 * or what is the caller's own) and the words of the caller's name made "[mail address]", "[phone]"
 * and "[name]". `contact` may be NULL. malloc'd. */
char *mask_contact(const char *text, const json_t *contact);

#endif

/* Words of the outside contract that the client and more than one of the daemon's folders use, each
 * list said once: "one two three". The words of a complaint stand in intake/fields.h. */
#ifndef ODDLOAF_BASE_WORDS_H
#define ODDLOAF_BASE_WORDS_H

#include "base/text.h"
#include <stdbool.h>

#define WORDS_CONFIRMED_BY "assay inspection reproduction judgement"
#define WORDS_CASE_STATES "open settled all"
#define WORDS_CASE_ORDERS "newest urgent"
#define WORDS_SEVERITIES "low usual high urgent" /* rising */
#define WORDS_DISPOSITIONS "release rework divert destroy"

/* Whether the list has it. */
bool words_has(const char *words, const char *word);
/* Its place in the list, from 0; -1: not there. */
int words_place(const char *words, const char *word);
/* The word at that place, borrowed of `buffer`; "" if there is none. */
const char *words_at(const char *words, int place, char *buffer, size_t size);
/* Appends "one, two or three". */
void words_or(const char *words, struct text_buffer *out);

/* Of a cause that no record and no other complaint speaks for, wherever its chance is told. */
#define WORDS_ALONE_SAYS                                                                           \
    "It rests on what one caller said: no record and no other complaint speaks for this cause."

#endif

/* Words of the sentences a week is told in. Inside patterns/. */
#ifndef ODDLOAF_PATTERNS_WEEK_WORDS_H
#define ODDLOAF_PATTERNS_WEEK_WORDS_H

#include "base/text.h"
#include <jansson.h>
#include <stdint.h>

/* "47 629 packs", "1 pack" */
void week_words_count(struct text_buffer *b, double n, const char *one, const char *many);
/* "EUR 1 250" */
void week_words_money(struct text_buffer *b, const char *currency, double amount);
/* "2 November" */
void week_words_day(struct text_buffer *b, int32_t day);
/* A title within a sentence: its first letter small, unless the word is all capitals ("PH"). */
void week_words_title(struct text_buffer *b, const char *title);
/* "; " before all but the first. */
void week_words_piece(struct text_buffer *b, const char *piece);
/* Adds the sentence to the headline, its first letter a capital, and frees it. */
void week_words_say(struct text_buffer *b, json_t *headline);

#endif

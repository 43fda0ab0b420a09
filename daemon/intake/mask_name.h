/* Inside intake/ only: the words of a caller's name in free text. Pure. */
#ifndef ODDLOAF_INTAKE_MASK_NAME_H
#define ODDLOAF_INTAKE_MASK_NAME_H

#include <stdbool.h>
#include <stddef.h>

struct mask_names;

/* The parts of one name or several; NULL is none. `prose`: what is looked through are sentences, in
 * which a capital tells a name from a word. Free with mask_name_free(). */
struct mask_names *mask_name_new(const char *name, bool prose);
void mask_name_free(struct mask_names *names);
/* Bytes of a part of the name (or of parts written as one word) that begins at `at`, a place in
 * `text`; 0 if there is none. A plural's or possessor's "s" is left. */
size_t mask_name_at(const struct mask_names *names, const char *text, const char *at);
/* Where a word or a number begins. */
bool mask_name_begins(const char *text, const char *at);
/* Bytes of the word there with the apostrophes in it, 0 if there is none. */
size_t mask_name_word_at(const char *at);
/* As of mask_spelled(). */
char *mask_name_spelled(const char *text);
/* As of mask_plain(). */
char *mask_name_plain(const char *text);
/* A name that is an ordinary word too: a colour, a month, what a loaf is or does. */
bool mask_words_common(const char *folded);
/* One that has a capital anyhow: a month, a day. */
bool mask_words_dates(const char *folded);

#endif

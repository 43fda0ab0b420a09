/* Contact data that free text repeats: what a caller said is read by others than the desk, who is
 * not. Pure. */
#ifndef ODDLOAF_INTAKE_MASK_H
#define ODDLOAF_INTAKE_MASK_H

#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>

enum mask_kind { MASK_MAIL, MASK_PHONE, MASK_NAME };

struct mask_options {
    const json_t *contact; /* the caller's name, phone, email; or NULL */
    const char *codes;     /* of lots, a line each: their digits are no phone number; or NULL */
    bool sure;             /* a ticket or a code: a bare number in it is not taken for a phone's */
    bool prose;            /* sentences: a capital within one tells a name from a word */
    bool one_line;         /* control characters become blanks */
    bool *unsure;          /* set where `sure` left what else is a phone number; or NULL */
};
/* What was found, as it stands in the text. */
typedef void (*mask_found)(void *arg, enum mask_kind kind, const char *at, size_t length);

/* The text with what is contact data made "[mail address]", "[phone]" and "[name]": mail addresses;
 * phone numbers, with blanks, dots, dashes and brackets of any kind between their digits, in digits
 * of other scripts or in English, Spanish or German words (seven digits or more that are no date,
 * no article number with its check digit and not of the code; what is the caller's own from five
 * on); the words of the caller's name, in any case, with or without accents (ü as "ue"), in any
 * alphabet, with any apostrophe, with an "s", written as one or with characters in them that are
 * not seen; one that is an ordinary word ("Brown") beside another of the name, beside a title, as a
 * possessor or, in prose, with a capital within a sentence only. In prose the names of others too,
 * where the text says whose they are ("my neighbour Petra Lind", mask_others.h), wherever they
 * stand in it. `found` may be NULL. malloc'd. */
char *mask_text(const char *text, const struct mask_options *options, mask_found found, void *arg);
/* The same of prose on one line, for mails. `contact` may be NULL. malloc'd. */
char *mask_contact(const char *text, const json_t *contact);
/* Bytes of the word there as names are looked for in it: apostrophes and characters that are not
 * seen belong to it. 0 if there is none. */
size_t mask_word_at(const char *at);
/* The text with one kind of apostrophe and without characters that are not seen, as a name is
 * looked up by. malloc'd. */
char *mask_plain(const char *text);
/* The text with ü as "ue", å as "aa" and so on, as some write a name; NULL if it has none of them.
 * malloc'd. */
char *mask_spelled(const char *text);
/* The digits of a phone number that was found, in ASCII. Returns `out`. */
char *mask_digits(const char *at, size_t length, char *out, size_t size);
/* "a phone number", "a mail address", "the caller's name". */
const char *mask_says(enum mask_kind kind);

#endif

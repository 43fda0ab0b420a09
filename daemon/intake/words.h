/* The words a complaint may use (the outside contract) and what each field is. */
#ifndef ODDLOAF_INTAKE_WORDS_H
#define ODDLOAF_INTAKE_WORDS_H

#include <stdbool.h>

enum field_type {
    FIELD_WORD,  /* one word of `words` */
    FIELD_WORDS, /* a list of words of `words` (a single string is taken as a list of one) */
    FIELD_TEXT,  /* at most `high` bytes */
    FIELD_WHOLE, /* a whole number in [low, high] */
    FIELD_BOOL,
    FIELD_DATE, /* YYYY-MM-DD */
    FIELD_TIME, /* RFC 3339 */
    FIELD_ID    /* a UUID */
};

struct field {
    const char *name; /* JSON pointer without the first slash: "observed/colour" */
    enum field_type type;
    const char *const *words; /* NULL-terminated; for FIELD_WORD and FIELD_WORDS */
    double low, high;
};

/* All fields but id, contact and measured. NULL-name terminated. */
const struct field *words_fields(void);
const struct field *words_field(const char *name);
bool words_has(const char *const *words, const char *word);
extern const char *const WORDS_SYMPTOM[];
extern const char *const WORDS_CHANNEL[];

#endif

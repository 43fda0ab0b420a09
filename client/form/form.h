/* The fields of a complaint as the desk meets them: one row a field gives its place in the JSON,
 * its option on the command line, the plain question and the words it takes. Flags, files and the
 * interview all set fields through form_set(). */
#ifndef ODDLOAF_CLIENT_FORM_FORM_H
#define ODDLOAF_CLIENT_FORM_FORM_H

#include "base/error.h"
#include <jansson.h>
#include <stdbool.h>
#include <stdint.h>

enum form_type {
    FORM_ID,
    FORM_INSTANT, /* RFC 3339, or a date as said (then the start of that day, local time) */
    FORM_TEXT,
    FORM_CHOICE,
    FORM_CHOICES, /* a list; "none" is the empty list */
    FORM_YESNO,
    FORM_COUNT,
    FORM_PAST,    /* a date */
    FORM_NEAR,    /* a code date */
    FORM_MEASURED /* "crumb_ph=5.9, crumb_aw=0.95" */
};

struct form_choice {
    const char *word;  /* as in the JSON */
    const char *say;   /* what it looks or smells like, or NULL */
    const char *other; /* "|"-separated words people use for it, or NULL */
};

struct form_field {
    const char *name; /* "symptom", "observed.colour", "contact.phone" */
    const char *flag; /* option without dashes */
    enum form_type type;
    const struct form_choice *choices;
    long least, most; /* FORM_COUNT */
    const char *ask;  /* the question */
    const char *hint; /* shown on "?", or NULL */
};

/* All fields in the order of the contract; a row without a name ends them. */
const struct form_field *form_fields(void);
/* By name, by flag, or by the last part of the name ("colour"); NULL if there is none. */
const struct form_field *form_find(const char *name);

struct form_day {
    int32_t today;
    bool full; /* from a file: only whole dates, see SAID_FULL */
};
struct form_day form_day_now(void);

/* Reads `text` and sets the field. Empty text unsets it. ERROR_INVALID carries field and value
 * (never the value of a contact field) and says what would be taken. */
int form_set(json_t *complaint, const struct form_field *field, const char *text,
             const struct form_day *day, struct error *err);
/* One quantity; empty text changes nothing. */
int form_set_measured(json_t *complaint, const char *quantity, const char *text, struct error *err);
void form_unset(json_t *complaint, const struct form_field *field);
/* Borrowed; NULL if not set. */
json_t *form_get(const json_t *complaint, const struct form_field *field);
/* As read back to a person: dates unambiguous, words with what they mean. Caller frees. */
char *form_show(const json_t *complaint, const struct form_field *field,
                const struct form_day *day);
/* "2026-11-20T09:14:00-05:00" for now. */
char *form_now(char buffer[static 40]);

#endif

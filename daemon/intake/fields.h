/* The fields of a complaint (the outside contract) and their words, said once: intake checks by
 * this table, the client asks and takes its options by it, rules speak of its words, and what is
 * told of a complaint is told by it. The rows stand in the order of the help and of the manual. */
#ifndef ODDLOAF_INTAKE_FIELDS_H
#define ODDLOAF_INTAKE_FIELDS_H

#include "base/text.h"
#include <jansson.h>
#include <stdbool.h>

enum field_type {
    FIELD_WORD,  /* one word of `words` */
    FIELD_WORDS, /* a list of words of `words` (a single string is taken as a list of one) */
    FIELD_TEXT,  /* at most `high` bytes */
    FIELD_WHOLE, /* a whole number in [low, high] */
    FIELD_BOOL,
    FIELD_PAST,    /* YYYY-MM-DD, a day gone by */
    FIELD_NEAR,    /* YYYY-MM-DD, before or after today: a code date */
    FIELD_TIME,    /* RFC 3339 */
    FIELD_ID,      /* a UUID */
    FIELD_MEASURED /* an object of quantities and numbers */
};

enum field_flag {
    FIELD_OWN = 1,    /* stays the complaint's when a report is joined to it */
    FIELD_TYPED = 2,  /* people type it: contact data in it are kept with the contact */
    FIELD_PERSON = 4, /* who the caller is: kept apart, shown to the desk alone */
    FIELD_OF_LOT = 8, /* the lot is found by it */
    FIELD_FACT = 16,  /* rules may speak of it; so they may of all that is observed */
    FIELD_ALARM = 32  /* an alarm about harm tells it */
};

struct field_word {
    const char *word;  /* as in the JSON; "unknown" says nothing; NULL ends a list */
    const char *say;   /* what it looks or smells like, or NULL */
    const char *other; /* "|"-separated words people use for it, or NULL */
};

struct field {
    const char *name;   /* JSON pointer without the first slash: "observed/colour"; NULL: the end */
    const char *option; /* of `oddloaf log`, without dashes */
    enum field_type type;
    unsigned flags;                 /* of enum field_flag */
    const struct field_word *words; /* of FIELD_WORD and FIELD_WORDS */
    const char *agree; /* words that go together, the one that says more first, as "dry firm|…";
                        * of numbers "<": the smaller holds; NULL: two are no answer */
    const char *kept;  /* of FIELD_TEXT: control characters that belong to it, or NULL */
    long low, high;
    const char *title; /* what people call it */
    const char *arg;   /* what the option takes, as help names it; NULL: as its type says */
    const char *help;  /* of the option; its words are said beside it; or NULL */
    const char *ask;   /* the question to the caller, NULL: never asked */
    const char *hint;  /* shown on "?", or NULL */
};

const struct field *fields_all(void);
/* By the whole name. NULL if there is none. */
const struct field *fields_find(const char *name);
/* One that people type, the lot's code among them: it may hold contact data. */
bool fields_is_typed(const char *name);
/* Sentences, as a note is: not the name of a place or of a product. */
bool fields_is_prose(const char *name);
/* The member of an object of the complaint, group "" for the complaint itself. */
const struct field *fields_member(const char *group, const char *member);
/* As people name it: by the whole name ("observed/colour" or "observed.colour"), by option, or by
 * the last part of the name. NULL if there is none. */
const struct field *fields_named(const char *name);
/* The name, option or title that may be meant by one that is none; NULL: nothing is near. */
const char *fields_near(const char *name);
/* What people call it, wherever it is told: "Smell" of "observed.odor", by any name that
 * fields_named() knows or that answers bear; what has no such title is told without its group,
 * "crumb_ph" of "measured/crumb_ph". Borrowed from `name` or static. */
const char *fields_title(const char *name);
/* What rules call by this name ("colour", "channel"). */
const struct field *fields_fact(const char *name);
/* "colour" of "observed/colour"; and the length of what stands before it, "observed/". */
const char *fields_leaf(const struct field *field);
size_t fields_group(const struct field *field);

/* NULL if it is none of them. */
const struct field_word *fields_word(const struct field_word *words, const char *word);
/* Of two words said of one field the one that says more, NULL if they don't go together. */
const char *fields_fuller(const struct field *field, const char *a, const char *b);
/* Appends "mold off-odor staling". */
void fields_list(const struct field_word *words, struct text_buffer *out);

/* The field's value in a complaint (borrowed), NULL if it has none. */
json_t *fields_get(const json_t *complaint, const struct field *field);
void fields_set_new(json_t *complaint, const struct field *field, json_t *value); /* takes value */
/* Leaves no empty object behind. */
void fields_unset(json_t *complaint, const struct field *field);
/* The value alone: of a list it is taken out, and another stays. */
void fields_take_off(json_t *complaint, const struct field *field, const json_t *value);

#endif

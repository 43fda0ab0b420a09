/* The cuts of the week: by what its complaints, and what was packed, are counted apart. Said once:
 * the store counts by this table, the report rates and judges by it, and the words of `--by` in
 * requests, help and pages are its names. */
#ifndef ODDLOAF_BASE_CUTS_H
#define ODDLOAF_BASE_CUTS_H

#include "base/error.h"
#include "base/text.h"
#include <stdbool.h>

/* Where a complaint's level stands. */
enum cut_source {
    CUT_LOT,       /* in a column of its lot; units are those packed */
    CUT_PLANT,     /* whose it is, known lot or not; units are those packed there */
    CUT_PRODUCT,   /* in one of its lot's product, else of the product it names; units likewise */
    CUT_COMPLAINT, /* in a column of its own, if it has one */
    CUT_CAUSE,     /* in the rankings: its share of every cause, a fraction of a complaint */
    CUT_PLACE      /* the same of causes that speak of a place of the plant */
};

enum cut_flag {
    CUT_SENT = 1,   /* units are those dispatched to the level: a column of dispatch by that name */
    CUT_JUDGED = 2, /* what rose is looked for among its levels */
    CUT_USUAL = 4,  /* shown without having been asked for */
    CUT_MANY = 16,  /* too many to share the false signals of the others: judged by themselves */
    CUT_OWN = 32,   /* a level is its plant's: line 1 of two plants is two */
    CUT_BY_STORE = 8 /* not told, or without a column: that of dispatch by which all of the lot went
                        to the store that is named */
};

struct cut {
    const char *name; /* the word of --by; NULL: the end */
    enum cut_source source;
    unsigned flags;     /* of enum cut_flag */
    const char *column; /* of lot, product or complaint; NULL: none */
    const char *where;  /* before a level in a sentence, "on line"; "": its title says what it is */
};

/* In the order of reports. At most as many as an unsigned has bits. */
const struct cut *cuts_all(void);
/* NULL if there is none. */
const struct cut *cuts_find(const char *name);
/* Counts are sums of probabilities. */
bool cuts_fractional(const struct cut *cut);
/* Of causes, places and ways to complain nothing is packed: rates are over all of the plant. */
bool cuts_lent_units(const struct cut *cut);

/* Sets of them: bit i is row i. */
unsigned cuts_set(unsigned flag); /* all that have the flag */
bool cuts_in(unsigned set, const struct cut *cut);
/* Reads "line, route"; NULL and "" are the empty set. ERROR_INVALID names the word that is none. */
int cuts_parse(const char *text, unsigned *ret, struct error *err);
/* Appends "line, product, …". */
void cuts_list(struct text_buffer *out);

#endif

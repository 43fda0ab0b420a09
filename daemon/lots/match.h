/* Which lot a complaint is about: what the caller read, understood, compared with the known lots.
 *
 * Every candidate's weight is a probability: how much of it was on sale at the time, times how
 * likely its code is read as the text (reading.h), times how well product, code date, store or
 * route and dates agree (agreement.h), over the sum of all, "none of these" among them.
 *
 * A whole code that no record bears has an explanation of its own: it was read right and its lot
 * is not on record (unrecorded.c). A neighbour's code misread must be likelier than that by
 * misread_odds (rules/lots.json) before anybody is told that it is the neighbour. */
#ifndef ODDLOAF_LOTS_MATCH_H
#define ODDLOAF_LOTS_MATCH_H

#include "base/error.h"
#include "base/length.h"
#include "base/when.h"
#include "store/lot_state.h"
#include "store/store.h"
#include <stddef.h>

enum {
    LOT_MATCH_CANDIDATES = 20,
    LOT_MATCH_WORD = LENGTH_CODE + 1,
    LOT_MATCH_CODE = 64,
    LOT_MATCH_TEXT = 256
};

struct lot_matcher; /* lot_rules.h */

/* The settle level where the plant sets none: a first candidate of at least this weight is taken as
 * the lot. */
#define LOT_SETTLE_AT 0.8

/* The settle level of a plant's lots, where it has one of its own. */
struct lot_settle {
    const char *plant; /* NULL: the end of the list */
    double at;
};

/* Texts are borrowed; NULL or "" is not given. */
struct lot_query {
    const char *lot_text;
    const char *plant;         /* only its patterns; lots of any plant are candidates */
    const char *product;       /* code or name, as said: product_named.h */
    const char *store, *route; /* likewise: outlet_named.h */
    int32_t code_day, bought_day, found_day; /* WHEN_UNKNOWN_DAY */
    int64_t received_ms;
    const struct tz *tz;
    double settle_at;                   /* settle level, 0: LOT_SETTLE_AT */
    const struct lot_settle *settle_of; /* of plants that have another, NULL: none has */
};

/* The text as understood, to be read back. */
struct lot_parsed {
    char text[LOT_MATCH_CODE];    /* the lot code in it; "" if there is none */
    char beside[LOT_MATCH_TEXT];  /* what else stands there, where a pattern took a part; "" */
    char code[LOT_MATCH_CODE];    /* as the plant prints it, if a pattern fits */
    char pattern[LOT_MATCH_WORD]; /* the pattern's name, "" if none fits */
    char plant[LOT_MATCH_WORD], line[LOT_MATCH_WORD], shift[LOT_MATCH_WORD];
    char product[LOT_MATCH_CODE]; /* product code from a GTIN, a pattern or a name, "" */
    char gtin[16];                /* 14 digits, "" */
    int32_t day;                  /* production day, WHEN_UNKNOWN_DAY */
    int minute;                   /* of the clock at which it was packed, -1 */
    int64_t at_ms;                /* that day and time, WHEN_UNKNOWN_MS */
    int32_t code_day;             /* a code date found in the text, WHEN_UNKNOWN_DAY */
    bool whole;                   /* a whole code: a pattern fits, or it was scanned */
    bool scanned;                 /* GS1 data with a right check digit */
    bool separator_missing;       /* the lot may have swallowed a date: see gs1.h */
    char problem[LOT_MATCH_TEXT]; /* why GS1 data could not be taken whole, "" */
    double alternatives;          /* codes such a text could be, about; 0 if no pattern fits */
    char wrong[LOT_MATCH_WORD];   /* a whole code but for what cannot be, "day 400"; "" */
};
/* Without looking at the lots: GS1 data, patterns, printed dates, words like "LOT" taken off. */
void match_understand(const struct lot_matcher *matcher, const char *lot_text, const char *plant,
                      int64_t received_ms, const struct tz *tz, struct lot_parsed *ret);

/* The plant whose pattern alone takes the text for a whole code; "" if none does, those of several
 * do, or its pattern is no plant's own. Returns `out`. */
char *match_plant(const struct lot_matcher *matcher, const char *lot_text, int64_t received_ms,
                  const struct tz *tz, char out[static LOT_MATCH_WORD]);

/* The whole text as a code, nothing read into it. */
void match_understand_whole(const char *lot_text, struct lot_parsed *ret);

struct lot_candidate {
    int64_t lot_id;
    char code[LOT_MATCH_CODE];
    double weight;
    int edits; /* characters that differ from the text, -1 without a text */
};
/* Where in the records a whole code that none of them bears would stand. */
enum lot_gap {
    LOT_GAP_NONE,  /* no such code */
    LOT_GAP_AMONG, /* among recorded lots, or its day can't be told */
    LOT_GAP_LINE,  /* of its line nothing is on record for months */
    LOT_GAP_DAY,   /* of its line and day nothing is on record */
    LOT_GAP_LATER  /* after the newest lot on record of its line */
};
struct lot_match_result {
    bool exact;             /* the text is the code of exactly one lot, blanks and case aside */
    int64_t read_lot_id;    /* … that lot, else 0 */
    enum lot_state state;   /* exact only where everything else agrees well enough */
    int64_t settled_lot_id; /* of the states exact and likely, else 0 */
    enum lot_gap gap;
    double unrecorded_weight; /* that it is the lot of that code, not on record */
    struct lot_candidate candidate[LOT_MATCH_CANDIDATES]; /* likeliest first */
    size_t count;
    double none_weight; /* that it is none of these, unrecorded_weight included; all weights and
                           this sum to 1 */
    struct lot_parsed parsed;
    int64_t product_id; /* of the one that the query names, or its text; 0 */
    char store[LENGTH_TRADE + 1], route[LENGTH_TRADE + 1]; /* as on record, "" */
    bool codes_hold_time;                                  /* a pattern of the plant does */
    int lookups; /* of the index of codes, to watch the cost */
};

/* `read` is any connection. A text that cannot be a code is no error: then there are few or no
 * candidates and none_weight is near 1. */
int match_lot(const struct lot_matcher *matcher, struct store *read, const struct lot_query *query,
              struct lot_match_result *ret, struct error *err);

enum { LOT_MATCH_ALL = 144 };
/* All that it may be, not only the likeliest of them: where harm lies in one of them, each counts.
 */
struct lot_match_all {
    struct lot_candidate candidate[LOT_MATCH_ALL]; /* likeliest first; weights as of the match */
    size_t count, left_out;                        /* so many more fit as well, and are not named */
};
int match_lot_all(const struct lot_matcher *matcher, struct store *read,
                  const struct lot_query *query, struct lot_match_all *ret, struct error *err);

#endif

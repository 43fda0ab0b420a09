/* Inside lots/ only: one search for a lot under way. */
#ifndef ODDLOAF_LOTS_MATCH_INSIDE_H
#define ODDLOAF_LOTS_MATCH_INSIDE_H

#include "lots/matcher.h"
#include "lots/product_named.h"
#include "lots/unrecorded.h"

enum { MATCH_CLOSEST = LOT_MATCH_ALL }; /* lots weighed */

struct match_close {
    int64_t lot_id;
    float cost; /* of reading its code as the text */
    float rank; /* the highest go when there are too many */
};

struct scored {
    const struct lot_find_row *row;
    double prior, text, rest; /* factors of its weight */
    double weight;
};

struct matching {
    const struct lot_matcher *matcher;
    struct store *store;
    const struct lot_query *query;
    struct lot_match_result *result;
    struct lot_match_all *all; /* NULL: not asked for */
    size_t left_out;           /* lots that fit as well as those kept */
    struct error *err;
    char fold[LOT_MATCH_CODE];
    struct reading_code text;
    struct product_named product; /* those it may be; count 0 unknown */
    bool product_scanned;
    bool store_guessed, route_guessed; /* meant, or another place whose name is like it */
    int32_t code_day;
    struct lot_find_volume volume;
    double units_on_sale; /* units weighted by how readily lots of their age are complained about */
    struct lot_find_rows rows;
    struct unrecorded_code record;
    bool recent;           /* all lots of the last weeks are among them */
    struct scored *scored; /* one a row */
    struct match_close close[MATCH_CLOSEST];
    size_t close_count;
    struct walk_kept *compared; /* of codes compared before */
    float cheapest;             /* of the codes compared */
    float worst_kept;           /* ranks from here on need not be offered */
    size_t favours;             /* so many keys to come are kept whatever their codes */
    float unseen;      /* cost from which on codes were not looked for; INFINITY: all were */
    bool says_nothing; /* the text is less likely a reading of any code than no code at all */
    double astray;     /* P(text) if it is not a reading of the lot's code */
    double missed;     /* P(text) if it is one of a lot that no look-up brought */
    double unrecorded; /* weight of: a lot of that very code, or of one like it, not on record */
    double none;       /* weight of: none of the rows, nor that one */
};

static inline bool match_given(const char *text)
{
    return text && *text;
}

/* What fits more than there is room for says nothing. */
static inline bool match_product_known(const struct matching *m)
{
    return m->product.count > 0 && !m->product.more;
}

/* Fills `rows` and `close`, in the same order. */
int match_gather(struct matching *m);
/* Fills `scored`, heaviest first, and `none`. */
int match_weigh(struct matching *m);
/* Have all lots of the product or code date been seen? */
bool match_is_complete(const struct matching *m);

#endif

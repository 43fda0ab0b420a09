/* How a complaint stands to the lots, and the words for it. Everything that names a lot takes both
 * from here: the answer to the desk, the interview, rank, cases, lot, why, reach, mails, the event
 * JSON of programs. One lot is named alone only where the state is exact or likely; what it was
 * told from, the code as read, always goes with it. */
#ifndef ODDLOAF_LOTS_STANDING_H
#define ODDLOAF_LOTS_STANDING_H

#include "lots/match.h"
#include <jansson.h>

struct standing_candidate {
    int64_t lot_id;
    double weight;
    char lot[LOT_MATCH_CODE], line[LOT_MATCH_WORD], product[LOT_MATCH_CODE];
    char plant[LOT_MATCH_WORD];
    int64_t packed_from_ms;
    int32_t code_day;
};
struct standing {
    enum lot_state state;
    enum lot_gap gap;
    char text[LOT_MATCH_TEXT]; /* as the caller read it, "" if nothing was */
    char code[LOT_MATCH_CODE]; /* a whole code on no record as the plant writes it, else "" */
    int32_t code_day;          /* … and its day of production, WHEN_UNKNOWN_DAY */
    int32_t newest_day; /* on which the newest lot on record was packed, WHEN_UNKNOWN_DAY none */
    int32_t first_day;  /* and the oldest */
    int64_t asked_ms;   /* of the query */
    int32_t asked_day;  /* … there: nothing was packed later */
    char wrong[LOT_MATCH_WORD]; /* what of the code as read cannot be, "day 400"; "" nothing */
    bool misread;               /* `code` is taken for another lot's, misread */
    int64_t read_lot_id; /* the code read is this lot's, but what else was said speaks against it;
                            0 no such lot, or the state is exact */
    struct standing_candidate candidate[LOT_MATCH_CANDIDATES]; /* likeliest first */
    size_t count;
    double elsewhere;                /* weight of those of plants that are not seen */
    bool codes_hold_time;            /* a code of the plant has the time of packing in it */
    bool has_product, has_code_date; /* were said: not asked for again */
    bool has_code;                   /* in the text: it may be a name and a date */
    const struct tz *tz;             /* borrowed from the query */
};

/* Of an answer of the matcher to a query. Lots of plants that are not seen (store/seen.h) are no
 * candidates; that there are such is said, and no lot is likely whose plant is not seen. */
int standing_of_match(struct store *store, const struct lot_query *query,
                      const struct lot_match_result *matched, struct standing *ret,
                      struct error *err);

/* What was decided when a complaint was placed, with the records as they are now. */
struct standing_kept {
    enum lot_state state;
    const int64_t *lot_id; /* candidates, likeliest first */
    const double *weight;
    size_t count;
};
/* Of the query, its text, plant, time of receipt and zone count. */
int standing_of_kept(const struct lot_matcher *matcher, struct store *store,
                     const struct lot_query *query, const struct standing_kept *kept,
                     struct standing *ret, struct error *err);

/* The lot's code where one may be named alone, else NULL. */
const char *standing_lot(const struct standing *standing);

/* Sets of `into`, for people and programs:
 *   "lot"         the lot's code, null below the settle level
 *   "lot_text"    the code as read, null if nothing was
 *   "lot_state"   lot_state_word()
 *   "lot_named"   in few words, where else a code would stand: "likely L2 6321 B0412"; holds
 * nothing but what records or the plant's own pattern vouch for "lot_says"    a sentence; the
 * candidates of "lots" go with it "lot_decides" what would settle it: ["the line (1, 2)", "a photo
 * of the code"] */
void standing_json(const struct standing *standing, json_t *into);
/* [{"lot","weight"}], likeliest first. */
json_t *standing_lots_json(const struct standing *standing);

#endif

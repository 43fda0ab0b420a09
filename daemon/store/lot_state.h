/* How sure it is which lot a complaint or a case is about. One word of it goes wherever a lot is
 * named; lots/standing.h decides it and puts it into sentences. */
#ifndef ODDLOAF_STORE_LOT_STATE_H
#define ODDLOAF_STORE_LOT_STATE_H

#include <stdbool.h>

enum lot_state {
    LOT_UNKNOWN,       /* nothing to go by */
    LOT_NOT_ON_RECORD, /* the code reads whole, no record bears it */
    LOT_SEVERAL,       /* candidates, none of them above the settle level */
    LOT_LIKELY,        /* one lot above it */
    LOT_EXACT          /* the code read is on record */
};

/* "unknown", "not-on-record", "several", "likely", "exact" */
const char *lot_state_word(enum lot_state state);
/* LOT_UNKNOWN for any other word, NULL included. */
enum lot_state lot_state_of(const char *word);
/* May one lot be named alone? */
bool lot_state_names_one(enum lot_state state);

#endif

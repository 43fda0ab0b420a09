/* A complaint that became another plant's: who sent it and sees one plant is told that, and nothing
 * of the lot. */
#ifndef ODDLOAF_DESK_PASSED_ON_H
#define ODDLOAF_DESK_PASSED_ON_H

#include <jansson.h>

/* Sets "passed_on", and what an answer says of case and lot to what is known of none. */
void passed_on_json(json_t *answer);

/* What is asked of a lot that is another plant's: that, and nothing else, as "elsewhere". */
void passed_on_lot(json_t *answer);
/* The same of one of which nobody could look up whose it became. */
void passed_on_unread(json_t *answer);

#endif

/* The lot that somebody names, for what is put on record of it. */
#ifndef ODDLOAF_SERVE_LOT_NAMED_H
#define ODDLOAF_SERVE_LOT_NAMED_H

#include "serve/request.h"
#include "serve/setup.h"
#include "store/hold.h"
#include <jansson.h>

/* A lot on record by its code as printed or as read, else the code: a hold is safety, and does not
 * wait for records. Only a code that reads as several lots is refused. */
int lot_named(const struct setup *setup, struct store *store, const char *text, int64_t now_ms,
              struct hold_of *ret, struct error *err);

/* A code that no lot bears which who asks sees: is it one of another plant's, as printed or as
 * read? Then *ret is that lot. What cannot be read is none. */
bool lot_named_elsewhere(const struct setup *setup, struct store *store, const char *text,
                         int64_t now_ms, struct hold_of *ret);
/* Whose a hold is of a code that no lot bears: the one plant's of whose people `rq` is, or that of
 * which alone the code can be; of the company's people else the company's: "". Of several plants'
 * people it is that of its case, or the first of theirs, so that who holds it sees it. */
void lot_named_plant(const struct request *rq, const struct setup *setup, struct store *store,
                     const char *text, int64_t case_id, char plant[static LENGTH_CODE + 1]);
/* ERROR_CONFLICT of it, where nobody passes on what is asked. */
int lot_named_refuse(const char *field, const char *text, struct error *err);

/* Are names that are no lots' the words of one code on record, which lost its quotes: "L1" "6326"
 * "B1846"? Then they are refused (ERROR_CONFLICT), with the code they make. `texts` are those that
 * lot_named() read into `of`. */
int lot_named_whole(struct store *store, const json_t *texts, const struct hold_of *of,
                    struct error *err);

#endif

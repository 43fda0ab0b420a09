/* What is kept of one who called (store/contact.h): who it is, and beside it all that a report's
 * texts repeat of contact data, as it was said. */
#ifndef ODDLOAF_DESK_APART_ROW_H
#define ODDLOAF_DESK_APART_ROW_H

#include "store/store.h"
#include <jansson.h>

struct apart_row {
    json_t *who;    /* {"name","phone","email"}; NULL nobody is known */
    json_t *texts;  /* {"note": "…"}: as they are said now; NULL none */
    json_t *past;   /* {"sent": {"note": "…"}, "changes": {"12": {"was","now"}}}: as they
                       were said before a correction, by the change's id; NULL none */
    json_t *former; /* ["…"]: names the caller went by before a correction; NULL none */
};

/* All NULL if nothing is kept. */
void apart_row_get(struct store *store, int64_t complaint_id, const char *report,
                   struct apart_row *ret);
void apart_row_parse(const char *body, struct apart_row *ret);
void apart_row_clear(struct apart_row *row);
/* What store/contact.h takes: NULL if there is nothing to keep; its keys, with the words of
 * `others` (names of other callers, "" none) that its texts repeat. malloc'd. */
char *apart_row_body(const struct apart_row *row);
char *apart_row_keys(const struct apart_row *row, const char *others);

/* By what to look for the caller: as a contact, with all names they go or went by, and `others`
 * besides ("" none). New reference. */
json_t *apart_row_caller(const struct apart_row *row, const char *others);

/* The first time that each is kept counts. */
void apart_row_keep_name(struct apart_row *row, const char *name);
void apart_row_keep_sent(struct apart_row *row, const char *field, const char *said);
/* `name`: "was", "now". */
void apart_row_keep_change(struct apart_row *row, int64_t change_id, const char *name,
                           const char *said);
/* Borrowed; NULL where nothing was kept. */
const json_t *apart_row_change(const struct apart_row *row, int64_t change_id);

#endif

/* Inside store/ only: the case that a complaint belongs to. Writer's transaction. */
#ifndef ODDLOAF_STORE_CASE_INSIDE_H
#define ODDLOAF_STORE_CASE_INSIDE_H

#include "store/store.h"

/* Of a row `c` of complaint: words of it may mean harm, and nobody has read them. As the body is
 * written: no text in it can hold the quotes bare. */
#define CASE_COMPLAINT_MAY_HARM(c) "instr(" c ".body, '\"harm_possible\":true') > 0"

/* 1 found, 0 none. */
int case_find(struct store *store, const char *symptom, int64_t lot_id, int64_t *ret_id,
              struct error *err);
/* The case a complaint belongs to: that of its lot (0), or one of its own, opened now (1). */
int case_for(struct store *store, const char *symptom, int64_t lot_id, int64_t received_ms,
             int64_t *ret_id, struct error *err);

#endif

/* Harm that is open: reported, or possibly meant, in a case that waits for its verdict, or reported
 * since that was given. What was withdrawn, or taken back, is none. */
#ifndef ODDLOAF_STORE_OPEN_HARM_H
#define ODDLOAF_STORE_OPEN_HARM_H

#include "store/hold.h"

/* One complaint that speaks of it. Text lives until the callback returns. */
struct open_harm_row {
    int64_t case_id, lot_id, received_ms; /* lot_id 0: its lot is open */
    bool possible; /* words of the case may mean harm; which complaint's is not kept */
    const char *symptom, *uuid, *body;
};
/* May ask the database itself; its non-zero answer stops and is returned. */
typedef int (*open_harm_each)(void *arg, const struct open_harm_row *row);

/* Of a lot: of all its cases, of complaints whose lot is open and may be it, however unlikely, and
 * of the cases it was ever held for; of a code that is on no record: of complaints that name it,
 * and of those cases. Newest first. */
int open_harm_of_lot(struct store *store, const struct hold_of *of, open_harm_each each, void *arg,
                     struct error *err);
int open_harm_of_case(struct store *store, int64_t case_id, open_harm_each each, void *arg,
                      struct error *err);

/* Of all open cases that are seen (store/seen.h). */
struct open_harm_counts {
    int64_t unowned; /* harm is reported, and the case is nobody's */
    int64_t unread;  /* words of it may be harm, and nobody has read them */
};
int open_harm_count(struct store *store, struct open_harm_counts *ret, struct error *err);

#endif

/* Holds on lots and their ends. Several holds may stand on one lot, each with its reason, person
 * and case: the lot is on hold as long as one of them stands. A code that no record bears can be
 * held, too; its holds become the lot's when it is loaded. Until then each is the plant's whose
 * people hold it, or the company's, and who does not see that plant (store/seen.h) neither sees it
 * nor ends it. */
#ifndef ODDLOAF_STORE_HOLD_H
#define ODDLOAF_STORE_HOLD_H

#include "base/length.h"
#include "base/text.h"
#include "store/store.h"
#include <stdbool.h>

/* Whose: a lot on record, or (lot_id 0) a code that is on none. */
struct hold_of {
    int64_t lot_id;
    char code[80];
};

/* Text lives until the callback returns; "" where there is none. */
struct hold_row {
    int64_t id, lot_id; /* lot_id 0: a code on no record */
    const char *lot, *product, *name, *line, *reason;
    const char *plant;   /* the lot's; of a code on no record whose it is; "" the company's */
    const char *by_name; /* who decided, as signed */
    const char *user;    /* who sent it, as the system knows them */
    int64_t case_id;     /* the one it is now; 0: of no case */
    int64_t at_ms, units;
    int32_t code_day;
    const char *disposition, *end_reason, *ended_by;
    int64_t ended_ms; /* WHEN_UNKNOWN_MS: it stands */
};
/* May ask the database itself; its non-zero answer stops and is returned. */
typedef int (*hold_each)(void *arg, const struct hold_row *row);

/* Strings are borrowed. */
struct hold_entry {
    const char *reason, *by_name, *user;
    int64_t case_id, at_ms;
    bool still_about;  /* although it was destroyed or reworked: packs are about */
    const char *plant; /* whose a code on no record is; NULL or "": its case's, or the company's */
};
/* The same hold (lot, reason, person, case; of a code on no record the plant, too) twice is one:
 * *ret_stood says that it stood already. ERROR_CONFLICT for a lot of which nothing is left:
 * destroyed or reworked. Writer's thread. */
int hold_add(struct store *store, const struct hold_of *of, const struct hold_entry *entry,
             bool *ret_stood, struct error *err);

/* "destroyed (by mira: wet)" of a lot or code of which nothing is left and no hold stands; else
 * nothing is appended. */
int hold_gone(struct store *store, const struct hold_of *of, struct text_buffer *out,
              struct error *err);

/* Which hold ends: that number; those of that case; all; or, nothing named, the only one. */
struct hold_end {
    int64_t id, case_id;
    bool all;
    const char *disposition, *reason, *by_name, *user;
    int64_t at_ms;
};
/* ERROR_CONFLICT if none stands, none of those named, several while none is named, or one that
 * began later; the text says what is so. ERROR_NOT_FOUND for a code that neither a record nor a
 * hold bears that is seen. Writer's thread.
 */
int hold_end(struct store *store, const struct hold_of *of, const struct hold_end *end,
             struct error *err);
/* A lot was just put on record: what is held of its code becomes its own. */
int hold_take_code(struct store *store, int64_t lot_id, struct error *err);

/* All holds of a lot or code, those that ended too, the oldest first. */
int hold_each_of(struct store *store, const struct hold_of *of, hold_each each, void *arg,
                 struct error *err);
/* All that stood at an instant, the longest held first. */
int hold_each_standing(struct store *store, int64_t until_ms, hold_each each, void *arg,
                       struct error *err);
/* Does one stand on the lot? false, too, of what cannot be read. */
bool hold_stands(struct store *store, int64_t lot_id);

#endif

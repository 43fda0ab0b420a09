/* What a caller's texts repeat of contact data (their number in the note, their name as the store)
 * is kept with the contact, not with the complaint. The complaint's body has "[phone]" in its
 * place, so that whatever is told of it to other roles, in mails, hooks, pages and exports, is
 * without; the desk is shown the texts as they were said; and they go with the contact, on its day
 * or on request.
 */
#ifndef ODDLOAF_DESK_APART_H
#define ODDLOAF_DESK_APART_H

#include "desk/desk.h"
#include "intake/complaint_form.h"
#include "store/complaint.h"

struct apart {
    json_t *said; /* {"note": "…"}: texts as they were said; empty if none holds any */
    json_t *told; /* [{"field","kind","says"}] */
};

/* Changes the texts of `body` that people type. What the complaint is known by is left as it is:
 * the digits of a code that reads as one (`code_reads`), those of lots on record and of the plant's
 * patterns, a store or route on record. `contact` may be NULL. *ret is cleared by apart_clear(). */
struct apart_from {
    const struct desk *desk; /* for its patterns */
    struct store *store;
};
void apart_take(const struct apart_from *from, json_t *body, const json_t *contact, bool code_reads,
                struct apart *ret);
void apart_clear(struct apart *apart);
/* What a note gave (intake/lexicon.h), in the caller's words without contact data. NULL does. */
void apart_taken(const struct apart_from *by, json_t *taken, const json_t *contact);

/* A reason or a note that the plant itself writes about a case or a lot, without contact data: the
 * names are those of who called about either. Ids may be 0; `codes` of the lots it is about (a
 * line each), whose digits are no phone number, NULL: the lot's own; `code`, unless NULL, of a lot
 * on no record that it is about. malloc'd; NULL gives NULL. */
struct apart_about {
    int64_t case_id, lot_id;
    const char *codes, *code;
};
char *apart_written(const struct apart_from *from, const char *text,
                    const struct apart_about *about);

/* The same of what is about no case: by who called about the line, or a case settled on the cause
 * ("" none). */
char *apart_written_of(const struct apart_from *from, const char *text, const char *line,
                       const char *cause);

/* For the desk: the contact data of a report (its id; "": the complaint itself), NULL if none are
 * kept (new reference); the texts it said are put back into `body` and into `sent`, what it was
 * when it came in (each may be NULL). */
json_t *apart_show(struct store *store, int64_t complaint_id, const char *report, json_t *body,
                   json_t *sent);

#endif

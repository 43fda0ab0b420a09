/* Contact data: who called. Apart from everything else, read by the desk role only, purged by date
 * or erased on request. A complaint has one row for itself (report "") and one for each report that
 * was joined to it (report: that one's uuid); what a caller is found by is apart (contact_key), and
 * goes with it. What the caller's texts repeat of contact data stands in that row as well, under
 * "said", and nowhere else: so one row removed is all of it gone. Writing functions run inside the
 * writer's transaction.
 *
 * Keys, one a line, with a line feed before the first: a whole name, a mail address, folded; a
 * phone number as base/phone_key.h has it; " " and one word of a name, of an address in a text.
 * Those of who called come first. Before a key of what only the texts hold stands CONTACT_SAID,
 * before one of a former name CONTACT_WAS: who asks for that to be erased is not who called. */
#ifndef ODDLOAF_STORE_CONTACT_H
#define ODDLOAF_STORE_CONTACT_H

#include "store/store.h"

/* Members of a row's body beside who called: desk/apart_row.h. */
#define CONTACT_TEXTS "said"
#define CONTACT_PAST "past"
#define CONTACT_FORMER "formerly"

#define CONTACT_SAID "\x01"
#define CONTACT_WAS "\x02"

struct contact_row {
    int64_t complaint_id;
    const char *report; /* "" the complaint itself */
    const char *body;   /* JSON */
    const char *fold;   /* the keys */
    int64_t purge_after_ms;
};
/* Nothing to do if `body` is NULL, or if that report's contact data was erased before: what came
 * again from a list or an older backup stays erased. Replaces what that report has, but for the day
 * it is purged on. */
int contact_add(struct store *store, const struct contact_row *row, struct error *err);
/* Who called was corrected: `body` NULL: nobody is known. What was there keeps its date of purging.
 */
int contact_put(struct store *store, const struct contact_row *row, struct error *err);
/* *ret_json NULL if there is none; else malloc'd. */
int contact_get(struct store *store, int64_t complaint_id, const char *report, char **ret_json,
                struct error *err);
/* What is kept of everybody who called about a case, or about a lot (0: none). The text lives until
 * the callback returns; its non-zero answer stops and is returned. */
typedef int (*contact_each_body)(void *arg, const char *body);
int contact_callers(struct store *store, int64_t case_id, int64_t lot_id, contact_each_body each,
                    void *arg, struct error *err);
/* The same of who called about a lot by that code (folded, store/lot_find.h), on record or not: the
 * code they gave has it. */
int contact_of_code(struct store *store, const char *fold, contact_each_body each, void *arg,
                    struct error *err);
/* The same of all who reported what the report `report` (uuid) is about: of its complaint and what
 * is joined to that. */
int contact_group(struct store *store, const char *report, contact_each_body each, void *arg,
                  struct error *err);
/* The same of a complaint and what is joined to it; a callback may write, but no contact. */
int contact_of_complaint(struct store *store, int64_t complaint_id, contact_each_body each,
                         void *arg, struct error *err);
/* The same of all who called about lots of the line, or cases that were settled on the cause (""
 * none). */
int contact_about(struct store *store, const char *line, const char *cause, contact_each_body each,
                  void *arg, struct error *err);
/* The row of one report becomes that of another complaint's report. */
int contact_move(struct store *store, int64_t complaint_id, const char *report,
                 int64_t to_complaint_id, const char *to_report, struct error *err);
/* *ret_json NULL if there is none; else malloc'd: of the report with that uuid, joined or not. */
int contact_of_report(struct store *store, const char *uuid, char **ret_json, struct error *err);
/* Every row with this key (not a word of a name); a number of seven digits or more also in another
 * writing. Of a row that only said it, or went by it before, what was said and the former names go,
 * and who called stays. Leaves a mark of each (store/erasures.h). */
int contact_erase(struct store *store, const char *key, int64_t now_ms, int *ret_erased,
                  struct error *err);
int contact_purge(struct store *store, int64_t now_ms, int *ret_purged, struct error *err);

/* ---- has the same person told us before? ---- */
struct contact_query {
    int64_t self; /* not this complaint, 0 none */
    const char *symptom, *fold;
    bool is_return; /* returns are told from complaints */
    struct when_span received;
    int64_t lot_id, product_id; /* 0: not known, any may be meant */
};
struct contact_match {
    int64_t complaint_id;
    const char *uuid;
    int64_t received_ms;
    bool same_lot; /* else the lot of one of the two is not known */
};
/* May ask the database itself. */
typedef int (*contact_each)(void *arg, const struct contact_match *match);
/* Complaints of this symptom about the same lot, or whose lot may be the same, that share a whole
 * name, phone number or mail address; newest first. Of one that very many share, the contacts kept
 * last are looked at. */
int contact_same_person(struct store *store, const struct contact_query *query, int limit,
                        contact_each each, void *arg, struct error *err);

#endif

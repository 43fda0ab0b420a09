/* What came in, as it came in: one entry a report, by its uuid, whether it is a complaint or joined
 * to one. Written when it is logged and never changed by joining, separating or correcting; only
 * what it is found by (entry_find.h) follows the complaint. The body that it came with is the
 * report's own until that changes: whoever writes or removes one keeps it before. Holds no contact
 * data: the texts are those of the complaint's body, where "[phone]" stands for a number
 * (desk/apart.h). Writing runs inside the writer's transaction. */
#ifndef ODDLOAF_STORE_ENTRY_H
#define ODDLOAF_STORE_ENTRY_H

#include "store/complaint.h"

/* Text lives until the callback returns. */
struct entry_row {
    const char *logged_by; /* the user the daemon knew the sender by; "" from before it was kept */
    const char *first, *taken; /* JSON: the body it was first kept with, and what its note gave */
};
typedef int (*entry_each)(void *arg, const struct entry_row *row);

/* ERROR_NOT_FOUND if there is none. */
int entry_get(struct store *store, const char *report, entry_each each, void *arg,
              struct error *err);

/* Keeps it if it is new; makes what it is found by that of `complaint`. */
int entry_put(struct store *store, const char *report, const struct complaint_new *complaint,
              struct error *err);

/* Before a report's body changes or goes: how it came stays, and it is found by nothing until
 * entry_put(). */
int entry_keep(struct store *store, const char *report, struct error *err);

/* A word that is found no more stays in the file until this: merges all of the table of words. */
int entry_forget_words(struct store *store, struct error *err);

/* A report as it stands: a complaint, or one joined to a complaint. */
struct entry_report {
    const char *report, *body;
    int64_t complaint_id, logged_ms;
    int64_t entry;           /* of entry_each_after() alone, else 0 */
    bool joined, code_reads; /* code_reads: of a complaint whose code is on record, or would be */
};
typedef int (*entry_each_report)(void *arg, const struct entry_report *row);
/* Those that have no entry, as every one of an older file. */
int entry_each_without(struct store *store, int limit, entry_each_report each, void *arg,
                       struct error *err);
/* Those that have one, by entry, from after that one on. */
int entry_each_after(struct store *store, int64_t after, int limit, entry_each_report each,
                     void *arg, struct error *err);
/* A complaint and all that is joined to it. */
int entry_each_of(struct store *store, int64_t complaint_id, entry_each_report each, void *arg,
                  struct error *err);
/* A report's texts where contact data was found in them, without it: its body (of a complaint with
 * lot_text, store and route), what was sent, and what the complaint said before others were joined
 * to it; `sent` (as the body) and `first` may be NULL. */
int entry_rewrite(struct store *store, const struct entry_report *row,
                  const struct complaint_new *complaint, const char *sent, const char *first,
                  struct error *err);

#endif

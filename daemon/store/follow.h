/* How a case is followed up: how severe it is, who owns it, by when it is due, and what was noted,
 * decided and answered, one entry each. Entries are never changed but for contact data that is
 * found in their text later (store/noted.h). Writing functions run inside the writer's transaction.
 */
#ifndef ODDLOAF_STORE_FOLLOW_H
#define ODDLOAF_STORE_FOLLOW_H

#include "base/length.h"
#include "store/store.h"

enum { FOLLOW_NOT_SET = -1 };

/* Severities are places in WORDS_SEVERITIES (base/words.h). */
struct follow_row {
    int64_t case_id;
    int64_t since_ms;              /* when it was first weighed; WHEN_UNKNOWN_MS: it was not yet */
    int by_rule;                   /* as the rules weigh it */
    int set_to;                    /* by a person; FOLLOW_NOT_SET */
    bool may_harm;                 /* words of it may mean harm, when it was weighed */
    char owner[LENGTH_PERSON + 1]; /* "" nobody */
    int32_t due_day;               /* WHEN_UNKNOWN_DAY: none */
};
/* The one in force. */
int follow_severity(const struct follow_row *row);
/* Nothing known: not weighed, of no severity, nobody's, never due. */
int follow_get(struct store *store, int64_t case_id, struct follow_row *ret, struct error *err);
int follow_put(struct store *store, const struct follow_row *row, struct error *err);
/* All complaints of a case are now in another: who owned the one owns the other if nobody does, and
 * the sooner day counts. */
int follow_moved(struct store *store, int64_t from_case, int64_t to_case, int64_t now_ms,
                 struct error *err);

/* Text is borrowed; of a row read, it lives until the callback returns. */
struct follow_entry {
    int64_t id, case_id, at_ms;
    const char *what;   /* "noted", "owner", "due", "severity", "call-back", "answered" */
    const char *report; /* uuid of the report it is about; "" none */
    const char *was, *now, *text;
    const char *by_name; /* as signed; "" the rules */
    const char *user;    /* who sent it, as the system knows them; "" nobody */
};
typedef int (*follow_each_entry)(void *arg, const struct follow_entry *entry);
int follow_add(struct store *store, const struct follow_entry *entry, int64_t *ret_id,
               struct error *err);
/* Of a case and those whose complaints moved to it, oldest first. */
int follow_entries(struct store *store, int64_t case_id, follow_each_entry each, void *arg,
                   struct error *err);

/* Open cases that were due before that day: all of them, and the first `limit`, the most severe and
 * longest overdue first. A case is open while a complaint of it waits for a verdict, or harm was
 * reported since. */
typedef int (*follow_each_case)(void *arg, const struct follow_row *row);
struct follow_late {
    int32_t today;
    int limit;         /* at most so many; the count knows no limit */
    const char *plant; /* of that plant alone; NULL or "": all */
};
int follow_overdue(struct store *store, const struct follow_late *of, follow_each_case each,
                   void *arg, struct error *err);
int follow_overdue_count(struct store *store, const struct follow_late *of, int64_t *ret,
                         struct error *err);

#endif

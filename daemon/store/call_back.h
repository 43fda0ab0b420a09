/* Callers who are to be called back: by when, what for, and whether they were. By the report (uuid,
 * of a complaint or of one joined to it), so that it stays with the person whatever becomes of the
 * case. One whose contact data is gone, or whose complaint was withdrawn, is on no list. Writing
 * functions run inside the writer's transaction. */
#ifndef ODDLOAF_STORE_CALL_BACK_H
#define ODDLOAF_STORE_CALL_BACK_H

#include "store/store.h"

/* Text lives until the callback returns. */
struct call_back_row {
    const char *report, *complaint; /* uuids; the same if it is not joined */
    int64_t complaint_id, case_id;
    int32_t due_day;
    const char *why, *by_name, *user; /* who asked for it: store/follow.h */
    int64_t asked_ms;
};
typedef int (*call_back_each)(void *arg, const struct call_back_row *row);

/* One that waits already is due on that day from now on. The entries: store/follow.h. */
int call_back_ask(struct store *store, const char *report, int32_t due_day, int64_t entry_id,
                  struct error *err);
/* Does nothing if none waits. */
int call_back_answer(struct store *store, const char *report, int64_t entry_id, struct error *err);

/* Those that wait, harm first, then the soonest: of one case (0: of all), due until that day
 * (WHEN_UNKNOWN_DAY: any). A callback may ask the database. */
struct call_back_query {
    int64_t case_id;
    int32_t until_day;
    int limit;
};
int call_back_waiting(struct store *store, const struct call_back_query *query, call_back_each each,
                      void *arg, struct error *err);
int call_back_count(struct store *store, int32_t until_day, const char *plant, int64_t *ret,
                    struct error *err);
/* Reports of a case whose callers are known and were never to be called back. */
typedef int (*call_back_each_report)(void *arg, const char *report);
int call_back_none_yet(struct store *store, int64_t case_id, call_back_each_report each, void *arg,
                       struct error *err);
/* Complaints of harm in open cases whose callers left no phone number or mail address (or it is
 * gone) and were told nothing yet, newest first. A callback may ask the database. */
typedef int (*call_back_each_lost)(void *arg, const char *complaint, int64_t complaint_id,
                                   int64_t case_id);
int call_back_unreachable(struct store *store, int limit, call_back_each_lost each, void *arg,
                          struct error *err);
/* Logged before then; WHEN_UNKNOWN_MS: all. */
int call_back_unreachable_count(struct store *store, int64_t before_ms, int64_t *ret,
                                struct error *err);
/* Is it known how to reach who reported it? */
int call_back_possible(struct store *store, const char *report, bool *ret, struct error *err);

#endif

/* What happens to a case after its complaints: rankings kept, verdicts, holds, actions, and the
 * durable work and outbox rows that follow a commit. Writers run inside the writer's transaction.
 */
#ifndef ODDLOAF_STORE_CASE_WORK_H
#define ODDLOAF_STORE_CASE_WORK_H

#include "store/store.h"

/* ---- work after a commit ---- */
#define WORK_RANK "rank"       /* subject: case id */
#define WORK_REMATCH "rematch" /* subject 0: complaints with open lots are matched again */

struct work_row {
    int64_t subject_id, due_ms, seq;
    int attempts;
};
int work_add(struct store *store, const char *kind, int64_t subject_id, int64_t due_ms,
             struct error *err);
int work_due(struct store *store, const char *kind, int64_t now_ms, struct work_row *rows,
             int limit, int *ret_count, struct error *err);
/* Deletes the row unless its seq has moved on. */
int work_done(struct store *store, const char *kind, const struct work_row *row, struct error *err);
/* Puts it off after a failure. */
int work_retry(struct store *store, const char *kind, const struct work_row *row, int64_t due_ms,
               struct error *err);
int work_count(struct store *store, const char *kind, int64_t *ret, struct error *err);
/* Every open case: after a reload of the rules. */
int work_rank_open_cases(struct store *store, int64_t due_ms, struct error *err);

/* ---- rankings ---- */
struct ranking_row {
    int64_t case_id, as_of_ms;
    int revision, complaints;
    bool kept;
    char *rules, *body; /* malloc'd */
};
void ranking_row_free(struct ranking_row *row);
/* Saves a new revision (case.revision + 1) and drops the unkept one before it; updates the case's
 * top cause. *ret_revision is the number given. */
int ranking_save(struct store *store, int64_t case_id, int64_t as_of_ms, int complaints,
                 const char *rules, const char *body, const char *top_cause, double top_probability,
                 bool kept, int *ret_revision, struct error *err);
/* revision 0: the newest; ERROR_NOT_FOUND if none. */
int ranking_get(struct store *store, int64_t case_id, int revision, struct ranking_row *ret,
                struct error *err);
/* The newest revision that was mailed; ERROR_NOT_FOUND if none. */
int ranking_last_mailed(struct store *store, int64_t case_id, struct ranking_row *ret,
                        struct error *err);
int ranking_keep(struct store *store, int64_t case_id, int revision, struct error *err);

/* ---- verdicts ---- */
struct verdict_row {
    int64_t id, case_id, at_ms, as_of_ms, opened_ms;
    int revision;
    char symptom[16], cause[64], confirmed_by[24], by_name[64];
    char note[512];
    const char *ranking_body; /* of that revision, lives until the callback returns */
};
typedef int (*verdict_each)(void *arg, const struct verdict_row *row);
/* Settles the case (keeps its newest ranking). ERROR_CONFLICT if a verdict stands. */
int verdict_add(struct store *store, int64_t case_id, const char *cause, const char *confirmed_by,
                const char *note, const char *by_name, int64_t now_ms, struct error *err);
/* ERROR_NOT_FOUND if none stands. */
int verdict_reopen(struct store *store, int64_t case_id, const char *note, const char *by_name,
                   int64_t now_ms, struct error *err);
/* Standing verdicts given in [from, to), by time. */
int verdict_between(struct store *store, int64_t from_ms, int64_t to_ms, verdict_each each,
                    void *arg, struct error *err);
int verdict_of_case(struct store *store, int64_t case_id, verdict_each each, void *arg,
                    struct error *err);
/* Standing verdicts by cause of one symptom: cause, count. */
typedef int (*verdict_count_each)(void *arg, const char *cause, int64_t count);
int verdict_counts(struct store *store, const char *symptom, verdict_count_each each, void *arg,
                   struct error *err);

/* ---- holds ---- */
struct hold_row {
    char what[12], disposition[16], reason[256], by_name[64]; /* what: "hold" or "release" */
    int64_t at_ms;
};
int hold_add(struct store *store, int64_t lot_id, const char *what, const char *disposition,
             const char *reason, const char *by_name, int64_t now_ms, struct error *err);
/* The newest entry; ERROR_NOT_FOUND if none. */
int hold_of_lot(struct store *store, int64_t lot_id, struct hold_row *ret, struct error *err);

/* ---- corrective actions ---- */
struct action_row {
    int64_t id, at_ms, logged_ms;
    char cause[64], line[32], place[32], symptom[16], note[512], by_name[64];
};
typedef int (*action_each)(void *arg, const struct action_row *row);
int action_add(struct store *store, const struct action_row *action, int64_t *ret_id,
               struct error *err);
int action_get(struct store *store, int64_t id, struct action_row *ret, struct error *err);
int action_list(struct store *store, action_each each, void *arg, struct error *err);

/* ---- outbox ---- */
struct outbox_row {
    int64_t id, case_id, created_ms, due_ms;
    int revision, attempts;
    char event[16]; /* case, urgent, digest */
    char message_id[128];
    char *payload; /* malloc'd JSON */
};
void outbox_row_free(struct outbox_row *row);
/* message_id is made by the caller once and stays; ERROR_CONFLICT never: a message_id already there
 * is left as it is. */
int outbox_add(struct store *store, const char *event, int64_t case_id, int revision,
               const char *message_id, const char *payload, int64_t now_ms, struct error *err);
int outbox_due(struct store *store, int64_t now_ms, struct outbox_row *rows, int limit,
               int *ret_count, struct error *err);
int outbox_sent(struct store *store, int64_t id, int64_t now_ms, struct error *err);
/* Failed: due again at `due_ms`, or parked. */
int outbox_failed(struct store *store, int64_t id, int64_t due_ms, bool park, const char *why,
                  struct error *err);
/* Parked rows become waiting again (after the mail server was mended). */
int outbox_unpark(struct store *store, int64_t now_ms, int *ret_count, struct error *err);
struct outbox_counts {
    int64_t waiting, parked, sent;
    char last_error[256];
};
int outbox_count(struct store *store, struct outbox_counts *ret, struct error *err);

#endif

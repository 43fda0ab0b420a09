/* Durable work that follows a commit: a row a subject and kind, done or put off by whoever takes
 * it. Writers run inside the writer's transaction. */
#ifndef ODDLOAF_STORE_WORK_H
#define ODDLOAF_STORE_WORK_H

#include "base/when.h"
#include "store/store.h"

#define WORK_RANK "rank"   /* subject: case id */
#define WORK_AGAIN "again" /* the same, where nobody waits for it: other rules, or long ago */
#define WORK_BULK "bulk"   /* the same, of many that one file brings: ranked when it is over */
#define WORK_TOLD "told"   /* a case of such a file, which the mail of all of them tells */
#define WORK_NEWS "news"   /* a case that other rules rank otherwise: for the next summary */
#define WORK_SINCE                                                                                 \
    "since" /* subject: a day; what heard of a complaint since is to be ranked again */
#define WORK_REMATCH "rematch" /* subject: the day since which complaints are matched again */

/* Nothing is put off for longer: what seems to be was put off by a clock that has been set back
 * since, and is due. */
#define WORK_LATEST_MS WHEN_HOUR_MS

struct work_row {
    int64_t subject_id, due_ms, seq;
    int attempts;
};
int work_add(struct store *store, const char *kind, int64_t subject_id, int64_t due_ms,
             struct error *err);
struct work_rows {
    struct work_row *row; /* the caller's array */
    int count, capacity;
};
/* Those that are due and find room, the longest due first. */
int work_due(struct store *store, const char *kind, int64_t now_ms, struct work_rows *ret,
             struct error *err);
/* Whether there is a row of it, due or not. */
int work_waits(struct store *store, const char *kind, int64_t subject_id, bool *ret,
               struct error *err);
/* The earliest day that waits as WORK_SINCE, if it is not after `day`; else -1. */
int work_since(struct store *store, int64_t day, int64_t *ret, struct error *err);
/* Whether it is still to be done: the row is as it was read, or its seq has moved on, and nobody
 * else has done it meanwhile. */
int work_stands(struct store *store, const char *kind, const struct work_row *row, bool *ret,
                struct error *err);
/* When the last row of it came that is not put off; 0: none is there. */
int work_newest(struct store *store, const char *kind, int64_t now_ms, int64_t *ret,
                struct error *err);
/* Deletes the row unless its seq has moved on. */
int work_done(struct store *store, const char *kind, const struct work_row *row, struct error *err);
/* Puts it off after a failure. */
int work_retry(struct store *store, const char *kind, const struct work_row *row, int64_t due_ms,
               struct error *err);
int work_count(struct store *store, const char *kind, int64_t *ret, struct error *err);
/* Every open case, because of other records. */
int work_rank_open_cases(struct store *store, int64_t due_ms, struct error *err);
/* Every open case that heard of a complaint on that day or since, and does not wait to be ranked
 * anyway, becomes WORK_AGAIN, in order of packing: no other was ranked by what was packed, or told,
 * on it. */
int work_rank_since(struct store *store, int32_t day, int64_t due_ms, struct error *err);
/* Every open case again, in order of packing, unless `by` (which rules, which version) is who
 * ranked them the last time. */
int work_rank_by(struct store *store, const char *by, int64_t due_ms, struct error *err);

#endif

/* Complaints and their cases. Writing functions run inside the writer's transaction. */
#ifndef ODDLOAF_STORE_COMPLAINT_H
#define ODDLOAF_STORE_COMPLAINT_H

#include "base/uuid.h"
#include "store/lot_state.h"
#include "store/store.h"

#define COMPLAINT_LOTS 20

struct complaint_lot {
    int64_t lot_id;
    double weight; /* probability that the complaint is about this lot */
};
/* How a complaint stands to the lots: its candidates, likeliest first, and how sure that is. The
 * first is its lot where the state names one. */
struct complaint_lots {
    enum lot_state state;
    int count;
    struct complaint_lot lot[COMPLAINT_LOTS];
};
/* 0: open. */
int64_t complaint_lots_settled(const struct complaint_lots *lots);

/* A complaint as the store takes it. Text pointers are borrowed; NULL or "" is not given. */
struct complaint_new {
    const char *uuid; /* lower case */
    int64_t received_ms, logged_ms;
    const char *channel, *symptom;
    const char *lot_text, *store, *route; /* of the records where they know them */
    const char *plant; /* that the caller names: whose it is while its lot is not known */
    /* it is found by them: store/entry_find.h; store_said is how it was typed */
    const char *reference, *note, *store_said;
    int64_t product_id; /* 0 unknown */
    int32_t code_day, bought_day, found_day;
    int packs;
    int64_t units; /* returns; 0 otherwise */
    bool harm;
    const char *ranked_as;    /* of one that is new: WORK_AGAIN or WORK_BULK; NULL: WORK_RANK */
    const char *body;         /* JSON without contact */
    const char *contact;      /* JSON or NULL */
    const char *contact_fold; /* what the caller is found by: store/contact.h */
    int64_t contact_purge_ms;
    const char *logged_by, *taken; /* of one that is new: how it came (store/entry.h) */
    struct complaint_lots lots;
};

struct complaint_placed {
    int64_t complaint_id, case_id, lot_id; /* lot_id 0: open */
    bool harm;                             /* again: what is on record speaks of harm */
    bool again;                            /* this uuid was logged before; nothing changed */
    bool new_case;
    bool joined; /* complaint_id is the one this report was joined to: store/joined.h */
};

/* Logs it once: finds or opens its case, counts, queues the case's ranking (work row 'rank').
 * The same uuid again changes nothing, and the answer is where that complaint stands by now. */
int complaint_log(struct store *store, const struct complaint_new *complaint,
                  struct complaint_placed *ret, struct error *err);

/* A complaint as it stands. Text lives until the callback returns. */
struct complaint_row {
    int64_t id, case_id, lot_id, product_id, received_ms, logged_ms, units;
    const char *uuid, *channel, *symptom, *lot_text, *store, *route, *body;
    const char *plant; /* whose it is, "" not known: its lot's; the lot open, the one that is named,
                          else the one that all its candidates share */
    int32_t code_day, bought_day, found_day;
    int packs;
    bool harm, withdrawn; /* withdrawn: counts nowhere, read by its own id alone */
    enum lot_state lot_state;
};
typedef int (*complaint_each)(void *arg, const struct complaint_row *row);

/* In order of receipt. A callback's non-zero answer stops and is returned. */
int complaint_of_case(struct store *store, int64_t case_id, complaint_each each, void *arg,
                      struct error *err);
/* ERROR_NOT_FOUND if unknown. */
int complaint_by_uuid(struct store *store, const char *uuid, complaint_each each, void *arg,
                      struct error *err);
int complaint_by_id(struct store *store, int64_t complaint_id, complaint_each each, void *arg,
                    struct error *err);
/* Those of a case, the newest first, at most `limit`. */
int complaint_newest_of_case(struct store *store, int64_t case_id, int limit, complaint_each each,
                             void *arg, struct error *err);
/* Of a case the complaint whose lot is exact, the newest of them; if there is none, the newest. */
int complaint_surest_of_case(struct store *store, int64_t case_id, complaint_each each, void *arg,
                             struct error *err);
/* Received in it, newest first, at most `limit`. */
int complaint_between(struct store *store, struct when_span span, int limit, complaint_each each,
                      void *arg, struct error *err);
/* Complaints whose lot is not exact, received since, by id. */
struct complaint_slice {
    int64_t since_ms, after_id;
    int limit;
};
int complaint_not_exact(struct store *store, const struct complaint_slice *slice,
                        complaint_each each, void *arg, struct error *err);
int complaint_lots_of(struct store *store, int64_t complaint_id, struct complaint_lots *ret,
                      struct error *err);

/* What a complaint says has changed, whose it is has not: writes all of it but the lot, and queues
 * its case's ranking. Lot and case stay as they were: store/complaint_place.h. */
int complaint_rewrite(struct store *store, int64_t complaint_id,
                      const struct complaint_new *complaint, int64_t now_ms, struct error *err);
/* Withdraws it, so that it counts nowhere; WHEN_UNKNOWN_MS for `withdrawn_ms`: brings it back. */
int complaint_withdraw(struct store *store, int64_t complaint_id, int64_t withdrawn_ms,
                       int64_t now_ms, struct error *err);
/* Takes a complaint out of everything that counts it, and deletes it. Its contact data must have
 * been moved before. A case left empty points to `moved_to`. */
int complaint_take_out(struct store *store, int64_t complaint_id, int64_t moved_to, int64_t now_ms,
                       struct error *err);

#endif

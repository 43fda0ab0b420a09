#include "store/move.h"
#include "store/case.h"
#include "store/company_count.h"
#include "store/db.h"
#include "store/follow.h"
#include "store/pattern.h"
#include "store/work.h"
#include <assert.h>
#include <string.h>

/* ---- totals of a case ---- */

/* It has a complaint again, whatever it was. */
#define STANDS                                                                                     \
    "CASE WHEN state IN ('open', 'settled') THEN state WHEN EXISTS (SELECT 1 FROM verdict v WHERE" \
    " v.case_id = ?1 AND v.reopened_ms IS NULL) THEN 'settled' ELSE 'open' END"

/* One more of a case that stands open and began no later: it counts among the open as it did. */
static int case_count_next(struct store *store, const struct move_place *is, bool *ret_done,
                           struct error *err)
{
    static const char SQL[] =
        "UPDATE complaint_case SET complaints = complaints + 1, packs = packs + ?2,"
        " as_of_ms = CASE WHEN as_of_ms < ?3 THEN ?3 ELSE as_of_ms END, harm = CASE WHEN harm <> 0 "
        "OR ?4 <> 0 THEN 1 ELSE 0 END"
        " WHERE id = ?1 AND state = 'open' AND complaints > 0 AND opened_ms <= ?3";
    int rc = db_run(
        store, SQL,
        DB(DB_INT(is->case_id), DB_INT(is->packs), DB_MS(is->received_ms), DB_INT(is->harm)), err);
    *ret_done = !rc && db_changes(store) > 0;
    return rc;
}

static int case_count_in(struct store *store, const struct move_place *is, struct error *err)
{
    static const char SQL[] =
        "UPDATE complaint_case SET complaints = complaints + 1, packs = packs + ?2,"
        " as_of_ms = CASE WHEN complaints = 0 OR as_of_ms < ?3 THEN ?3 ELSE as_of_ms END,"
        " opened_ms = CASE WHEN complaints = 0 OR opened_ms > ?3 THEN ?3 ELSE opened_ms END,"
        " harm = CASE WHEN harm <> 0 OR ?4 <> 0 THEN 1 ELSE 0 END, state = " STANDS
        ", moved_to = NULL WHERE id = ?1";
    bool done = false;
    int rc = case_count_next(store, is, &done, err);
    if (rc || done)
        return rc;
    rc = pattern_count_case(store, is->case_id, PATTERN_OUT, err);
    if (!rc)
        rc = db_run(
            store, SQL,
            DB(DB_INT(is->case_id), DB_INT(is->packs), DB_MS(is->received_ms), DB_INT(is->harm)),
            err);
    return rc ? rc : pattern_count_case(store, is->case_id, PATTERN_IN, err);
}

/* The largest and the earliest of the others are not known: they are looked through again. */
static int case_count_out(struct store *store, int64_t case_id, int64_t complaint_id,
                          struct error *err)
{
    static const char SQL[] =
        "UPDATE complaint_case SET (complaints, packs, harm, opened_ms, as_of_ms) ="
        " (SELECT count(*), coalesce(sum(packs), 0), coalesce(max(harm), 0),"
        "  coalesce(min(received_ms), opened_ms), coalesce(max(received_ms), as_of_ms)"
        "  FROM complaint WHERE case_id = ?1 AND id <> ?2 AND withdrawn_ms IS NULL) WHERE id = ?1";
    int rc = pattern_count_case(store, case_id, PATTERN_OUT, err);
    if (!rc)
        rc = db_run(store, SQL, DB(DB_INT(case_id), DB_INT(complaint_id)), err);
    return rc ? rc : pattern_count_case(store, case_id, PATTERN_IN, err);
}

static int case_close_if_empty(struct store *store, int64_t case_id, int64_t moved_to,
                               int64_t now_ms, struct error *err)
{
    static const char SQL[] =
        "UPDATE complaint_case SET state = CASE WHEN ?2 IS NULL THEN 'empty' ELSE 'moved' END,"
        " moved_to = ?2 WHERE id = ?1 AND complaints = 0";
    int rc = pattern_count_case(store, case_id, PATTERN_OUT, err);
    bool emptied = false;
    if (!rc) {
        rc = db_run(store, SQL, DB(DB_INT(case_id), DB_ID(moved_to)), err);
        emptied = !rc && db_changes(store) > 0;
    }
    if (!rc)
        rc = pattern_count_case(store, case_id, PATTERN_IN, err);
    return rc || !emptied || moved_to <= 0 || moved_to == case_id
               ? rc
               : follow_moved(store, case_id, moved_to, now_ms, err);
}

/* ---- the bracket ---- */

static int place_of(struct store *store, int64_t complaint_id, struct move_place *ret,
                    struct error *err)
{
    static const char SQL[] =
        "SELECT case_id, lot_id, received_ms, packs, harm, symptom, uuid, lot_state, withdrawn_ms,"
        " plant = " PLANT_OF_COMPLAINT(
            "complaint") " AND plant = (SELECT k.plant FROM"
                         " complaint_case k WHERE k.id = complaint.case_id) FROM complaint WHERE "
                         "id = ?1";
    struct db_query q = db_query(store, SQL, DB(DB_INT(complaint_id)), err);
    if (db_next(&q)) {
        *ret = (struct move_place){.case_id = db_int64(&q, 0),
                                   .lot_id = db_int64(&q, 1),
                                   .received_ms = db_ms(&q, 2),
                                   .packs = db_int(&q, 3),
                                   .harm = db_int(&q, 4) != 0,
                                   .state = lot_state_of(db_text(&q, 7)),
                                   .owned = db_int(&q, 9) != 0,
                                   .withdrawn = db_ms(&q, 8) != WHEN_UNKNOWN_MS};
        db_copy(&q, 5, ret->symptom, sizeof ret->symptom);
        db_copy(&q, 6, ret->uuid, sizeof ret->uuid);
    }
    return db_found(&q, "there is no such complaint");
}

static int count_out(struct store *store, int64_t id, const struct move_place *was,
                     struct error *err)
{
    assert(was->withdrawn || was->case_id > 0);
    if (was->withdrawn)
        return 0;
    int rc = pattern_count_complaint(store, id, PATTERN_OUT, err);
    if (!rc && was->lot_id > 0)
        rc = company_count(store, was->lot_id, was->symptom, was->received_ms, -1, err);
    return rc ? rc : case_count_out(store, was->case_id, id, err);
}

static int count_in(struct store *store, int64_t id, const struct move_place *is, struct error *err)
{
    assert(is->withdrawn || is->case_id > 0);
    if (is->withdrawn)
        return 0;
    int rc = case_count_in(store, is, err);
    if (!rc)
        rc = pattern_count_complaint(store, id, PATTERN_IN, err);
    if (!rc && is->lot_id > 0)
        rc = company_count(store, is->lot_id, is->symptom, is->received_ms, +1, err);
    return rc;
}

/* ---- whose they are ---- */

/* While the complaint is out of all counts. Its case may count as open, as that of another plant.
 */
static int own(struct store *store, int64_t id, int64_t case_id, struct error *err)
{
    static const char SQL[] =
        "UPDATE complaint SET plant = " PLANT_OF_COMPLAINT("complaint") " WHERE id = ?1";
    static const char SQL_CASE[] =
        "UPDATE complaint_case SET plant = (SELECT plant FROM complaint WHERE id = ?1)"
        " WHERE id = ?2 AND plant <> (SELECT plant FROM complaint WHERE id = ?1)";
    int rc = pattern_count_case(store, case_id, PATTERN_OUT, err);
    if (!rc)
        rc = db_run(store, SQL, DB(DB_INT(id)), err);
    if (!rc)
        rc = db_run(store, SQL_CASE, DB(DB_INT(id), DB_INT(case_id)), err);
    if (!rc && db_changes(store))
        rc = pattern_name_causes(store, case_id, err);
    return rc ? rc : pattern_count_case(store, case_id, PATTERN_IN, err);
}

struct move move_of_new(int64_t complaint_id)
{
    return (struct move){.complaint_id = complaint_id};
}

int move_begin(struct store *store, int64_t complaint_id, struct move *ret, struct error *err)
{
    assert(store_writing(store));
    *ret = (struct move){.complaint_id = complaint_id, .was_there = true};
    int rc = place_of(store, complaint_id, &ret->was, err);
    return rc ? rc : count_out(store, complaint_id, &ret->was, err);
}

/* The case of a complaint that is there and counts, else 0. */
static int64_t case_now(const struct move_place *is)
{
    return is->withdrawn ? 0 : is->case_id;
}

/* Harm that its case did not know of when it was settled. */
static int flag_harm(struct store *store, const struct move *move, const struct move_place *is,
                     struct error *err)
{
    bool known = move->was_there && move->was.harm && case_now(&move->was) == is->case_id;
    return is->harm && case_now(is) && !known ? case_flag_harm(store, is->case_id, err) : 0;
}

/* ---- neighbours ---- */

/* Cases that may count the complaint among the company's (facts/company.h), by its symptom or,
 * where a rule asks for it, another: on lots packed from WITHIN_DAYS before its lot to BEFORE_DAYS
 * after it, or on none that is certain, that have heard of a complaint since it came. One that
 * comes as it is received has next to none. */
static int neighbours_of(struct store *store, const struct move_place *of, int64_t *ids, int most,
                         int *ret_count, struct error *err)
{
    static const int64_t BEFORE_DAYS = 42, WITHIN_DAYS = 14;
    static const char SQL[] =
        "SELECT k.id FROM complaint_case k JOIN lot o ON o.id = ?1 LEFT JOIN lot l ON l.id ="
        " k.lot_id WHERE k.state = 'open' AND k.as_of_ms >= ?2 AND k.id <> ?3 AND (l.id IS NULL OR"
        " l.packed_from_ms BETWEEN o.packed_from_ms - ?4 AND o.packed_from_ms + ?5)"
        " LIMIT ?6";
    struct db_query q = db_query(store, SQL,
                                 DB(DB_INT(of->lot_id), DB_MS(of->received_ms), DB_INT(of->case_id),
                                    DB_INT(WITHIN_DAYS * WHEN_DAY_MS),
                                    DB_INT(BEFORE_DAYS * WHEN_DAY_MS), DB_INT(most)),
                                 err);
    while (db_next(&q))
        ids[q.rows - 1] = db_int64(&q, 0);
    *ret_count = q.rows;
    return db_end(&q, 0);
}

/* Nobody waits for theirs, and what it changes is told in one mail, not one a neighbour. Of many
 * neighbours a row each would be written again for each of a thousand complaints in a file; one row
 * names the day, and all that heard of a complaint since are ranked once. While it waits there is
 * nothing to write for the next: who takes it queues whatever has come by then. */
static int rank_neighbours(struct store *store, const struct move_place *of, int64_t rank_ms,
                           struct error *err)
{
    enum { MOST = 16 };
    int64_t ids[MOST + 1] = {0}, day = of->received_ms / WHEN_DAY_MS, since = -1;
    int count = 0;
    if (of->withdrawn || of->lot_id == 0)
        return 0;
    int rc = work_since(store, day, &since, err);
    if (rc || since >= 0)
        return rc;
    rc = neighbours_of(store, of, ids, MOST + 1, &count, err);
    if (!rc && count > MOST)
        return work_add(store, WORK_SINCE, day, rank_ms, err);
    for (int i = 0; i < count && !rc; i++)
        rc = work_add(store, WORK_AGAIN, ids[i], rank_ms, err);
    return rc;
}

/* Does it count for the company as it did? */
static bool counts_alike(const struct move_place *a, const struct move_place *b)
{
    return a->lot_id == b->lot_id && a->received_ms == b->received_ms &&
           a->withdrawn == b->withdrawn && strcmp(a->symptom, b->symptom) == 0;
}

static int tell_neighbours(struct store *store, const struct move *move,
                           const struct move_place *is, int64_t rank_ms, struct error *err)
{
    if (move->was_there && counts_alike(&move->was, is))
        return 0;
    int rc = move->was_there ? rank_neighbours(store, &move->was, rank_ms, err) : 0;
    return rc ? rc : rank_neighbours(store, is, rank_ms, err);
}

int move_end(struct store *store, const struct move *move, int64_t moved_to, int64_t rank_ms,
             struct error *err)
{
    assert(store_writing(store));
    struct move_place is = {.withdrawn = true};
    struct error why = {0};
    int rc = place_of(store, move->complaint_id, &is, &why);
    /* gone: it counts as one that is withdrawn */
    if (rc && rc != ERROR_NOT_FOUND) {
        if (err)
            *err = why;
        return rc;
    }
    rc = is.case_id && !is.owned ? own(store, move->complaint_id, is.case_id, err) : 0;
    if (!rc)
        rc = count_in(store, move->complaint_id, &is, err);
    if (!rc)
        rc = flag_harm(store, move, &is, err);
    if (!rc && move->was_there)
        rc = case_close_if_empty(store, move->was.case_id, moved_to ? moved_to : case_now(&is),
                                 rank_ms, err);
    if (!rc && case_now(&is))
        rc = work_add(store, move->ranked_as ? move->ranked_as : WORK_RANK, case_now(&is), rank_ms,
                      err);
    if (!rc && move->was_there && move->was.case_id != case_now(&is))
        rc = work_add(store, WORK_RANK, move->was.case_id, rank_ms, err);
    return rc ? rc : tell_neighbours(store, move, &is, rank_ms, err);
}

/* ---- a lot's plant ---- */

/* The next one after it whose plant is no more the one it has, with its case; 0: there is none. */
static int next_other(struct store *store, const char *sql, int64_t lot_id, int64_t ids[2],
                      struct error *err)
{
    struct db_query q = db_query(store, sql, DB(DB_INT(lot_id), DB_INT(ids[0])), err);
    ids[0] = ids[1] = 0;
    if (db_next(&q)) {
        ids[0] = db_int64(&q, 0);
        ids[1] = db_int64(&q, 1);
    }
    return db_end(&q, 0);
}

static int each_other(struct store *store, const char *sql, int64_t lot_id,
                      int (*each)(struct store *store, const int64_t ids[2], struct error *err),
                      struct error *err)
{
    int64_t ids[2] = {0, 0};
    int rc = next_other(store, sql, lot_id, ids, err);
    while (!rc && ids[0]) {
        rc = each(store, ids, err);
        if (!rc)
            rc = next_other(store, sql, lot_id, ids, err);
    }
    return rc;
}

static int own_uncounted(struct store *store, const int64_t ids[2], struct error *err)
{
    return own(store, ids[0], ids[1], err);
}

/* Those that may be about it are counted, unlike those that are. */
static int own_counted(struct store *store, const int64_t ids[2], struct error *err)
{
    int rc = pattern_count_complaint(store, ids[0], PATTERN_OUT, err);
    if (!rc)
        rc = own(store, ids[0], ids[1], err);
    return rc ? rc : pattern_count_complaint(store, ids[0], PATTERN_IN, err);
}

/* A case that all complaints have left. */
static int own_left(struct store *store, const int64_t ids[2], struct error *err)
{
    static const char SQL[] = "UPDATE complaint_case SET plant = (SELECT l.plant FROM lot l WHERE"
                              " l.id = complaint_case.lot_id) WHERE id = ?1";
    int rc = db_run(store, SQL, DB(DB_INT(ids[1])), err);
    return rc ? rc : pattern_name_causes(store, ids[1], err);
}

int move_lot_plant(struct store *store, int64_t lot_id, struct error *err)
{
    assert(store_writing(store));
#define OTHER " AND c.id > ?2 AND c.plant <> " PLANT_OF_COMPLAINT("c") " ORDER BY c.id LIMIT 1"
    static const char OF_LOT[] =
        "SELECT c.id, c.case_id FROM complaint c WHERE c.lot_id = ?1" OTHER;
    static const char MAY_BE[] =
        "SELECT c.id, c.case_id FROM complaint_lot v JOIN complaint c ON"
        " c.id = v.complaint_id WHERE v.lot_id = ?1 AND c.lot_id IS NULL" OTHER;
    static const char LEFT[] =
        "SELECT k.id, k.id FROM complaint_case k WHERE k.lot_id = ?1 AND k.id > ?2 AND"
        " k.complaints = 0 AND k.plant <> (SELECT l.plant FROM lot l WHERE l.id = ?1)"
        " ORDER BY k.id LIMIT 1";
    int rc = each_other(store, OF_LOT, lot_id, own_uncounted, err);
    if (!rc)
        rc = each_other(store, MAY_BE, lot_id, own_counted, err);
    return rc ? rc : each_other(store, LEFT, lot_id, own_left, err);
}

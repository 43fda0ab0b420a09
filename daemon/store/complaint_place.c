#include "store/complaint_place.h"
#include "base/short_id.h"
#include "store/case_inside.h"
#include "store/change.h"
#include "store/complaint_inside.h"
#include "store/db.h"
#include "store/move.h"
#include <assert.h>
#include <stdio.h>

/* ---- which case ---- */

static int set_case_lot(struct store *store, int64_t case_id, int64_t lot_id, struct error *err)
{
    static const char SQL[] = "UPDATE complaint_case SET lot_id = ?2 WHERE id = ?1";
    return db_run(store, SQL, DB(DB_INT(case_id), DB_ID(lot_id)), err);
}

/* May the case be told to be about that lot instead? (The complaint is out of its count.) */
static int may_keep_case(struct store *store, const struct move_place *was, int64_t lot_id,
                         bool *ret, struct error *err)
{
    static const char SQL[] =
        "SELECT count(*) FROM complaint_case WHERE id = ?1 AND complaints = 0 AND symptom = ?2";
    int64_t alone = 0, other;
    int rc = db_number(store, SQL, DB(DB_INT(was->case_id), DB_TEXT(was->symptom)), &alone, err);
    int found = !rc && lot_id > 0 ? case_find(store, was->symptom, lot_id, &other, err) : 0;
    *ret = alone && found == 0;
    return rc ? rc : found < 0 ? found : 0;
}

/* Is it in the case of its lot and symptom? */
static int fits_case(struct store *store, const struct move_place *was, int64_t lot_id, bool *ret,
                     struct error *err)
{
    static const char SQL[] = "SELECT count(*) FROM complaint_case WHERE id = ?1 AND symptom = ?2"
                              " AND coalesce(lot_id, 0) = ?3 AND (?3 > 0 OR complaints = 0)";
    int64_t fits = 0;
    int rc = db_number(store, SQL, DB(DB_INT(was->case_id), DB_TEXT(was->symptom), DB_INT(lot_id)),
                       &fits, err);
    *ret = fits > 0;
    return rc;
}

static int choose_case(struct store *store, const struct move_place *was,
                       struct complaint_placed *placed, struct error *err)
{
    bool keep = false;
    int rc = fits_case(store, was, placed->lot_id, &keep, err);
    if (rc || keep)
        return rc;
    rc = may_keep_case(store, was, placed->lot_id, &keep, err);
    if (rc || keep)
        return rc ? rc : set_case_lot(store, was->case_id, placed->lot_id, err);
    rc = case_for(store, was->symptom, placed->lot_id, was->received_ms, &placed->case_id, err);
    placed->new_case = rc == 1;
    return rc < 0 ? rc : 0;
}

/* ---- moving ---- */

static int write_state(struct store *store, int64_t complaint_id, enum lot_state state,
                       struct error *err)
{
    static const char SQL[] = "UPDATE complaint SET lot_state = ?2 WHERE id = ?1";
    return db_run(store, SQL, DB(DB_INT(complaint_id), DB_TEXT(lot_state_word(state))), err);
}

static int write_place(struct store *store, const struct complaint_placed *placed,
                       struct error *err)
{
    static const char SQL[] = "UPDATE complaint SET case_id = ?2, lot_id = ?3 WHERE id = ?1";
    return db_run(store, SQL,
                  DB(DB_INT(placed->complaint_id), DB_INT(placed->case_id), DB_ID(placed->lot_id)),
                  err);
}

static int lot_code(struct store *store, int64_t lot_id, char *out, size_t size, struct error *err)
{
    static const char SQL[] = "SELECT lot FROM lot WHERE id = ?1";
    struct db_query q = db_query(store, SQL, DB(DB_ID(lot_id)), err);
    out[0] = '\0';
    if (db_next(&q))
        db_copy(&q, 0, out, size);
    return db_end(&q, 0);
}

static int record(struct store *store, const struct move_place *was,
                  const struct complaint_placed *placed, enum lot_state state,
                  const struct complaint_why *why, struct error *err)
{
    char lot_was[128], lot_now[128];
    int rc = lot_code(store, was->lot_id, lot_was, sizeof lot_was, err);
    if (!rc)
        rc = lot_code(store, placed->lot_id, lot_now, sizeof lot_now, err);
    if (rc)
        return rc;
    const struct change_row change = {
        .complaint = was->uuid, .at_ms = why->at_ms, .by = why->by, .reason = why->reason};
    rc = change_add(store, &change, "lot", lot_was, lot_now, err);
    if (!rc)
        rc = change_add(store, &change, "lot_state", lot_state_word(was->state),
                        lot_state_word(state), err);
    return rc ? rc
              : change_add(store, &change, "case", CASE_ID(was->case_id), CASE_ID(placed->case_id),
                           err);
}

/* The row as it stands from now on, and its candidates. */
static int write_all(struct store *store, const struct move_place *was,
                     const struct complaint_lots *lots, struct complaint_placed *placed,
                     struct error *err)
{
    int rc = complaint_delete_lots(store, placed->complaint_id, err);
    if (!rc)
        rc = complaint_insert_lots(store, placed->complaint_id, lots, err);
    if (!rc)
        rc = write_state(store, placed->complaint_id, lots->state, err);
    if (!rc)
        rc = choose_case(store, was, placed, err);
    return rc ? rc : write_place(store, placed, err);
}

int complaint_place(struct store *store, int64_t complaint_id, const struct complaint_lots *lots,
                    const struct complaint_why *why, struct complaint_placed *ret,
                    struct error *err)
{
    assert(store_writing(store));
    struct move move;
    int rc = move_begin(store, complaint_id, &move, err);
    if (rc)
        return rc;
    struct complaint_placed placed = {.complaint_id = complaint_id,
                                      .lot_id = complaint_lots_settled(lots),
                                      .case_id = move.was.case_id};
    rc = write_all(store, &move.was, lots, &placed, err);
    if (!rc)
        rc = record(store, &move.was, &placed, lots->state, why, err);
    if (!rc)
        rc = move_end(store, &move, 0, why->at_ms, err);
    if (!rc)
        *ret = placed;
    return rc;
}

/* ---- what changed lots mean ---- */

int complaint_place_doubt(struct store *store, int64_t lot_id, struct error *err)
{
    static const char SQL[] =
        "UPDATE complaint SET lot_state = 'likely' WHERE lot_state = 'exact' AND lot_id IN"
        " (SELECT o.id FROM lot n JOIN lot o ON o.fold = n.fold AND o.id <> n.id WHERE n.id = ?1)";
    return db_run(store, SQL, DB(DB_INT(lot_id)), err);
}

int complaint_place_first(struct store *store, int64_t lot_id, int64_t *ret_ms, struct error *err)
{
    static const char SQL[] = "SELECT min(c.received_ms) FROM complaint_lot l JOIN complaint c"
                              " ON c.id = l.complaint_id WHERE l.lot_id = ?1";
    struct db_query q = db_query(store, SQL, DB(DB_INT(lot_id)), err);
    if (db_next(&q))
        *ret_ms = db_ms(&q, 0);
    return db_end(&q, 0);
}

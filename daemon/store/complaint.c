#include "store/complaint.h"
#include "base/text.h"
#include "store/case_inside.h"
#include "store/complaint_inside.h"
#include "store/contact.h"
#include "store/db.h"
#include "store/entry.h"
#include "store/move.h"
#include "store/seen.h"
#include <assert.h>
#include <stdlib.h>
#include <string.h>

/* A burst of complaints on one lot is ranked, and mailed, once. */
enum { GATHER_MS = 400 };

/* ---- logging ---- */

/* 1 found, 0 none. */
static int find_again(struct store *store, const char *uuid, struct complaint_placed *ret,
                      struct error *err)
{
    static const char SQL[] =
        "SELECT id, case_id, lot_id, 0, harm FROM complaint WHERE uuid = ?1 UNION ALL"
        " SELECT c.id, c.case_id, c.lot_id, 1, c.harm FROM joined j JOIN complaint c"
        " ON c.id = j.complaint_id WHERE j.uuid = ?1";
    struct db_query q = db_query(store, SQL, DB(DB_TEXT(uuid)), err);
    if (db_next(&q))
        *ret = (struct complaint_placed){.complaint_id = db_int64(&q, 0),
                                         .case_id = db_int64(&q, 1),
                                         .lot_id = db_int64(&q, 2),
                                         .joined = db_int(&q, 3) != 0,
                                         .harm = db_int(&q, 4) != 0,
                                         .again = true};
    return db_end(&q, q.rows);
}

static int insert_complaint(struct store *store, const struct complaint_new *c,
                            struct complaint_placed *placed, struct error *err)
{
    static const char SQL[] =
        "INSERT INTO complaint(uuid, received_ms, logged_ms, channel, symptom, case_id, lot_id,"
        " lot_text, product_id, code_day, store, route, bought_day, found_day, packs, units, harm,"
        " body, lot_state, plant_said)"
        " VALUES(?1,?2,?3,?4,?5,?6,?7,?8,?9,?10,?11,?12,?13,?14,?15,?16,?17,?18,?19,?20)";
    int rc =
        db_run(store, SQL,
               DB(DB_TEXT(c->uuid), DB_MS(c->received_ms), DB_MS(c->logged_ms), DB_TEXT(c->channel),
                  DB_TEXT(c->symptom), DB_INT(placed->case_id), DB_ID(placed->lot_id),
                  DB_TEXT(c->lot_text), DB_ID(c->product_id), DB_DAY(c->code_day),
                  DB_SAID(c->store), DB_SAID(c->route), DB_DAY(c->bought_day), DB_DAY(c->found_day),
                  DB_INT(c->packs), DB_ID(c->units), DB_INT(c->harm), DB_TEXT(c->body),
                  DB_TEXT(lot_state_word(c->lots.state)), DB_SAID(c->plant)),
               err);
    if (!rc)
        placed->complaint_id = db_last_id(store);
    return rc;
}

int complaint_insert_lots(struct store *store, int64_t complaint_id,
                          const struct complaint_lots *lots, struct error *err)
{
    static const char SQL[] = "INSERT INTO complaint_lot(complaint_id, lot_id, weight)"
                              " VALUES(?1, ?2, ?3)";
    int rc = 0;
    for (int i = 0; i < lots->count && !rc; i++)
        rc = db_run(
            store, SQL,
            DB(DB_INT(complaint_id), DB_INT(lots->lot[i].lot_id), DB_REAL(lots->lot[i].weight)),
            err);
    return rc;
}

int64_t complaint_lots_settled(const struct complaint_lots *lots)
{
    assert(lots->count >= 0 && lots->count <= COMPLAINT_LOTS);
    return lots->count && lot_state_names_one(lots->state) ? lots->lot[0].lot_id : 0;
}

static int add_contact(struct store *store, int64_t complaint_id, const struct complaint_new *c,
                       struct error *err)
{
    const struct contact_row row = {complaint_id, "", c->contact, c->contact_fold,
                                    c->contact_purge_ms};
    return contact_add(store, &row, err);
}

int complaint_log(struct store *store, const struct complaint_new *c, struct complaint_placed *ret,
                  struct error *err)
{
    assert(store_writing(store));
    assert(c->uuid && c->symptom && c->body);
    int rc = find_again(store, c->uuid, ret, err);
    if (rc)
        return rc < 0 ? rc : 0;
    struct complaint_placed placed = {.lot_id = complaint_lots_settled(&c->lots)};
    rc = case_for(store, c->symptom, placed.lot_id, c->received_ms, &placed.case_id, err);
    placed.new_case = rc == 1;
    if (rc >= 0)
        rc = insert_complaint(store, c, &placed, err);
    if (!rc)
        rc = complaint_insert_lots(store, placed.complaint_id, &c->lots, err);
    if (!rc)
        rc = entry_put(store, c->uuid, c, err);
    if (!rc)
        rc = add_contact(store, placed.complaint_id, c, err);
    struct move move = move_of_new(placed.complaint_id);
    move.ranked_as = c->ranked_as;
    if (!rc)
        rc = move_end(store, &move, 0, c->logged_ms + GATHER_MS, err);
    if (!rc)
        *ret = placed;
    return rc;
}

/* ---- reading ---- */

#define COMPLAINT_COLUMNS                                                                          \
    "SELECT id, case_id, lot_id, product_id, received_ms, logged_ms, units, uuid, channel,"        \
    " symptom, lot_text, store, route, body, code_day, bought_day, found_day, packs, harm,"        \
    " lot_state, withdrawn_ms, plant FROM complaint "
#define STANDING " AND withdrawn_ms IS NULL "

static int each_row(struct db_query *q, complaint_each each, void *arg)
{
    int rc = 0;
    db_keep(q); /* callbacks ask for lots, contacts, records */
    while (!rc && db_next(q)) {
        struct complaint_row row = {
            .id = db_int64(q, 0),
            .case_id = db_int64(q, 1),
            .lot_id = db_int64(q, 2),
            .product_id = db_int64(q, 3),
            .received_ms = db_ms(q, 4),
            .logged_ms = db_ms(q, 5),
            .units = db_int64(q, 6),
            .uuid = db_text(q, 7),
            .channel = db_text(q, 8),
            .symptom = db_text(q, 9),
            .lot_text = db_text(q, 10),
            .store = db_text(q, 11),
            .route = db_text(q, 12),
            .body = db_text(q, 13),
            .code_day = db_day(q, 14),
            .bought_day = db_day(q, 15),
            .found_day = db_day(q, 16),
            .packs = db_int(q, 17),
            .harm = db_int(q, 18) != 0,
            .lot_state = lot_state_of(db_text(q, 19)),
            .withdrawn = db_ms(q, 20) != WHEN_UNKNOWN_MS,
            .plant = db_text(q, 21),
        };
        rc = each(arg, &row);
    }
    return db_end(q, rc);
}

/* The one row there should be. */
static int one_row(struct db_query *q, complaint_each each, void *arg, const char *name)
{
    int rc = each_row(q, each, arg);
    int found =
        db_found(q, "there is no %s%s", name ? "complaint " : "such complaint", name ? name : "");
    return found ? found : rc;
}

int complaint_of_case(struct store *store, int64_t case_id, complaint_each each, void *arg,
                      struct error *err)
{
    static const char SQL[] =
        COMPLAINT_COLUMNS "WHERE case_id = ?1" STANDING "ORDER BY received_ms, id";
    struct db_query q = db_query(store, SQL, DB(DB_INT(case_id)), err);
    return each_row(&q, each, arg);
}

int complaint_by_uuid(struct store *store, const char *uuid, complaint_each each, void *arg,
                      struct error *err)
{
    static const char SQL[] = COMPLAINT_COLUMNS "WHERE uuid = ?1";
    const char *sought = seen_report(store, uuid) ? uuid : "";
    struct db_query q = db_query(store, SQL, DB(DB_TEXT(sought)), err);
    return one_row(&q, each, arg, uuid);
}

int complaint_by_id(struct store *store, int64_t complaint_id, complaint_each each, void *arg,
                    struct error *err)
{
    static const char SQL[] = COMPLAINT_COLUMNS "WHERE id = ?1";
    struct db_query q = db_query(store, SQL, DB(DB_INT(complaint_id)), err);
    return one_row(&q, each, arg, NULL);
}

int complaint_newest_of_case(struct store *store, int64_t case_id, int limit, complaint_each each,
                             void *arg, struct error *err)
{
    assert(limit > 0);
    static const char SQL[] = COMPLAINT_COLUMNS "WHERE case_id = ?1" STANDING
                                                "ORDER BY received_ms DESC, id DESC LIMIT ?2";
    struct db_query q = db_query(store, SQL, DB(DB_INT(case_id), DB_INT(limit)), err);
    return each_row(&q, each, arg);
}

int complaint_surest_of_case(struct store *store, int64_t case_id, complaint_each each, void *arg,
                             struct error *err)
{
    static const char SQL[] =
        COMPLAINT_COLUMNS "WHERE case_id = ?1" STANDING
                          "ORDER BY lot_state = 'exact' DESC, received_ms DESC, id DESC LIMIT 1";
    struct db_query q = db_query(store, SQL, DB(DB_INT(case_id)), err);
    return each_row(&q, each, arg);
}

int complaint_between(struct store *store, struct when_span span, int limit, complaint_each each,
                      void *arg, struct error *err)
{
    assert(limit > 0);
    static const char SQL[] =
        COMPLAINT_COLUMNS "WHERE received_ms >= ?1 AND received_ms < ?2" STANDING
                          "ORDER BY received_ms DESC, id DESC LIMIT ?3";
    struct db_query q =
        db_query(store, SQL, DB(DB_MS(span.from_ms), DB_MS(span.to_ms), DB_INT(limit)), err);
    return each_row(&q, each, arg);
}

int complaint_not_exact(struct store *store, const struct complaint_slice *slice,
                        complaint_each each, void *arg, struct error *err)
{
    static const char SQL[] =
        COMPLAINT_COLUMNS "WHERE lot_state <> 'exact' AND id > ?1 AND received_ms >= ?2" STANDING
                          "ORDER BY id LIMIT ?3";
    struct db_query q = db_query(
        store, SQL, DB(DB_INT(slice->after_id), DB_MS(slice->since_ms), DB_INT(slice->limit)), err);
    return each_row(&q, each, arg);
}

static int read_state(struct store *store, int64_t complaint_id, enum lot_state *ret,
                      struct error *err)
{
    static const char SQL[] = "SELECT lot_state FROM complaint WHERE id = ?1";
    struct db_query q = db_query(store, SQL, DB(DB_INT(complaint_id)), err);
    if (db_next(&q))
        *ret = lot_state_of(db_text(&q, 0));
    return db_end(&q, 0);
}

int complaint_lots_of(struct store *store, int64_t complaint_id, struct complaint_lots *ret,
                      struct error *err)
{
    static const char SQL[] = "SELECT lot_id, weight FROM complaint_lot WHERE complaint_id = ?1"
                              " ORDER BY weight DESC, lot_id LIMIT ?2";
    struct complaint_lots lots = {0};
    int rc = read_state(store, complaint_id, &lots.state, err);
    if (rc)
        return rc;
    struct db_query q = db_query(store, SQL, DB(DB_INT(complaint_id), DB_INT(COMPLAINT_LOTS)), err);
    while (db_next(&q)) {
        assert(lots.count < COMPLAINT_LOTS);
        lots.lot[lots.count++] = (struct complaint_lot){db_int64(&q, 0), db_real(&q, 1)};
    }
    rc = db_end(&q, 0);
    if (!rc)
        *ret = lots;
    return rc;
}

/* ---- changing ---- */

static const char SQL_NO_LOTS[] = "DELETE FROM complaint_lot WHERE complaint_id = ?1";

static int delete_row(struct store *store, const char *sql, int64_t complaint_id, struct error *err)
{
    return db_run(store, sql, DB(DB_INT(complaint_id)), err);
}

int complaint_delete_lots(struct store *store, int64_t complaint_id, struct error *err)
{
    return delete_row(store, SQL_NO_LOTS, complaint_id, err);
}

int complaint_rewrite(struct store *store, int64_t complaint_id, const struct complaint_new *c,
                      int64_t now_ms, struct error *err)
{
    assert(store_writing(store));
    static const char SQL[] =
        "UPDATE complaint SET lot_text = ?2, product_id = ?3, code_day = ?4, store = ?5,"
        " route = ?6, bought_day = ?7, found_day = ?8, packs = ?9, units = ?10, harm = ?11,"
        " body = ?12, symptom = ?13, channel = ?14, received_ms = ?15, plant_said = ?16"
        " WHERE id = ?1";
    struct move move;
    int rc = move_begin(store, complaint_id, &move, err);
    if (!rc)
        rc = entry_keep(store, move.was.uuid, err);
    if (!rc)
        rc = db_run(store, SQL,
                    DB(DB_INT(complaint_id), DB_TEXT(c->lot_text), DB_ID(c->product_id),
                       DB_DAY(c->code_day), DB_SAID(c->store), DB_SAID(c->route),
                       DB_DAY(c->bought_day), DB_DAY(c->found_day), DB_INT(c->packs),
                       DB_ID(c->units), DB_INT(c->harm), DB_TEXT(c->body), DB_TEXT(c->symptom),
                       DB_TEXT(c->channel), DB_MS(c->received_ms), DB_SAID(c->plant)),
                    err);
    if (!rc)
        rc = entry_put(store, move.was.uuid, c, err);
    return rc ? rc : move_end(store, &move, 0, now_ms, err);
}

int complaint_withdraw(struct store *store, int64_t complaint_id, int64_t withdrawn_ms,
                       int64_t now_ms, struct error *err)
{
    assert(store_writing(store));
    static const char SQL[] = "UPDATE complaint SET withdrawn_ms = ?2 WHERE id = ?1";
    struct move move;
    int rc = move_begin(store, complaint_id, &move, err);
    if (!rc)
        rc = db_run(store, SQL, DB(DB_INT(complaint_id), DB_MS(withdrawn_ms)), err);
    return rc ? rc : move_end(store, &move, 0, now_ms, err);
}

int complaint_take_out(struct store *store, int64_t complaint_id, int64_t moved_to, int64_t now_ms,
                       struct error *err)
{
    assert(store_writing(store));
    static const char SQL_ROW[] = "DELETE FROM complaint WHERE id = ?1";
    struct move move;
    int rc = move_begin(store, complaint_id, &move, err);
    if (!rc)
        rc = complaint_delete_lots(store, complaint_id, err);
    if (!rc)
        rc = entry_keep(store, move.was.uuid, err);
    if (!rc)
        rc = delete_row(store, SQL_ROW, complaint_id, err);
    return rc ? rc : move_end(store, &move, moved_to, now_ms, err);
}

#include "store/complaint.h"
#include "base/text.h"
#include "store/company_count.h"
#include "store/complaint_inside.h"
#include "store/contact.h"
#include "store/db.h"
#include "store/work.h"
#include <stdlib.h>
#include <string.h>

/* A burst of complaints on one lot is ranked, and mailed, once. */
enum { GATHER_MS = 400 };

/* ---- cases ---- */

static int case_open(struct store *store, const char *symptom, int64_t lot_id, int64_t received_ms,
                     int64_t *ret_id, struct error *err)
{
    static const char SQL[] =
        "INSERT INTO complaint_case(symptom, lot_id, opened_ms, as_of_ms, complaints, packs)"
        " VALUES(?1, ?2, ?3, ?3, 0, 0)";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_text(st, 1, symptom);
    db_bind_id(st, 2, lot_id);
    db_bind_ms(st, 3, received_ms);
    int rc = db_run(store, st, err);
    if (!rc)
        *ret_id = sqlite3_last_insert_rowid(db_handle(store));
    return rc;
}

/* 1 found, 0 none. */
int case_find(struct store *store, const char *symptom, int64_t lot_id, int64_t *ret_id,
              struct error *err)
{
    static const char SQL[] = "SELECT id FROM complaint_case WHERE lot_id = ?1 AND symptom = ?2";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, lot_id);
    db_bind_text(st, 2, symptom);
    int rc = db_step(store, st, err);
    if (rc == 1)
        *ret_id = sqlite3_column_int64(st, 0);
    db_reset(st);
    return rc;
}

/* The case a complaint belongs to: that of its lot, or one of its own. */
int case_for(struct store *store, const char *symptom, int64_t lot_id, int64_t received_ms,
             int64_t *ret_id, bool *ret_new, struct error *err)
{
    int rc = lot_id > 0 ? case_find(store, symptom, lot_id, ret_id, err) : 0;
    *ret_new = rc == 0;
    if (rc == 0)
        return case_open(store, symptom, lot_id, received_ms, ret_id, err);
    return rc < 0 ? rc : 0;
}

int case_add(struct store *store, int64_t case_id, int64_t received_ms, int packs, bool harm,
             struct error *err)
{
    static const char SQL[] =
        "UPDATE complaint_case SET complaints = complaints + 1, packs = packs + ?2,"
        " as_of_ms = max(as_of_ms, ?3), opened_ms = min(opened_ms, ?3), harm = max(harm, ?4)"
        " WHERE id = ?1";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, case_id);
    db_bind_int(st, 2, packs);
    db_bind_ms(st, 3, received_ms);
    db_bind_int(st, 4, harm);
    return db_run(store, st, err);
}

int case_recount(struct store *store, int64_t case_id, int64_t moved_to, struct error *err)
{
    static const char SQL_COUNT[] =
        "UPDATE complaint_case SET (complaints, packs, harm, opened_ms, as_of_ms) ="
        " (SELECT count(*), coalesce(sum(packs), 0), coalesce(max(harm), 0),"
        "  coalesce(min(received_ms), opened_ms), coalesce(max(received_ms), as_of_ms)"
        "  FROM complaint WHERE case_id = ?1) WHERE id = ?1";
    static const char SQL_MOVED[] = "UPDATE complaint_case SET state = 'moved', moved_to = ?2"
                                    " WHERE id = ?1 AND complaints = 0";
    sqlite3_stmt *st = db_prepare(store, SQL_COUNT, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, case_id);
    int rc = db_run(store, st, err);
    if (rc)
        return rc;
    st = db_prepare(store, SQL_MOVED, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, case_id);
    db_bind_id(st, 2, moved_to);
    return db_run(store, st, err);
}

static void case_read(sqlite3_stmt *st, struct case_row *row)
{
    row->id = sqlite3_column_int64(st, 0);
    text_clip(db_text(st, 1), row->symptom, sizeof row->symptom);
    row->lot_id = sqlite3_column_int64(st, 2);
    row->opened_ms = db_ms(st, 3);
    row->as_of_ms = db_ms(st, 4);
    row->complaints = sqlite3_column_int(st, 5);
    row->packs = sqlite3_column_int(st, 6);
    row->harm = sqlite3_column_int(st, 7) != 0;
    row->settled = strcmp(db_text(st, 8), "settled") == 0;
    row->revision = sqlite3_column_int(st, 9);
    text_clip(db_text(st, 10), row->top_cause, sizeof row->top_cause);
    row->top_probability = sqlite3_column_double(st, 11);
}

#define CASE_COLUMNS                                                                               \
    "c.id, c.symptom, c.lot_id, c.opened_ms, c.as_of_ms, c.complaints, c.packs, c.harm, c.state,"  \
    " c.revision, c.top_cause, c.top_probability"

int case_get(struct store *store, int64_t case_id, struct case_row *ret, struct error *err)
{
    static const char SQL[] = "SELECT " CASE_COLUMNS ", c.moved_to FROM complaint_case c"
                              " WHERE c.id = ?1";
    enum { HOPS = 8 }; /* a complaint placed again and again; far more than people do */
    for (int hop = 0; hop < HOPS; hop++) {
        sqlite3_stmt *st = db_prepare(store, SQL, err);
        if (!st)
            return ERROR_IO;
        db_bind_int(st, 1, case_id);
        int rc = db_step(store, st, err);
        int64_t moved_to = 0;
        if (rc == 1) {
            case_read(st, ret);
            moved_to = sqlite3_column_int64(st, 12);
        }
        db_reset(st);
        if (rc < 0)
            return rc;
        if (rc == 0)
            break;
        if (moved_to == 0)
            return 0;
        case_id = moved_to;
    }
    error_set(err, ERROR_NOT_FOUND, "there is no case C%lld", (long long)case_id);
    error_hint(err, "`oddloaf cases` lists them");
    return ERROR_NOT_FOUND;
}

int case_moved_here(struct store *store, int64_t case_id, int64_t *ids, int limit, int *ret_count,
                    struct error *err)
{
    static const char SQL[] = "SELECT id FROM complaint_case WHERE moved_to = ?1"
                              " ORDER BY id LIMIT ?2";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, case_id);
    db_bind_int(st, 2, limit);
    int rc, count = 0;
    while ((rc = db_step(store, st, err)) == 1)
        ids[count++] = sqlite3_column_int64(st, 0);
    db_reset(st);
    *ret_count = count;
    return rc;
}

int case_of_uuid(struct store *store, const char *uuid, int64_t *ret_case, struct error *err)
{
    static const char SQL[] =
        "SELECT case_id FROM complaint WHERE uuid = ?1 UNION ALL SELECT c.case_id FROM joined j"
        " JOIN complaint c ON c.id = j.complaint_id WHERE j.uuid = ?1";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_text(st, 1, uuid);
    int rc = db_step(store, st, err);
    if (rc == 1)
        *ret_case = sqlite3_column_int64(st, 0);
    db_reset(st);
    if (rc == 0)
        return error_set(err, ERROR_NOT_FOUND, "there is no complaint %s", uuid);
    return rc < 0 ? rc : 0;
}

/* Order: newest first, or most urgent first; both by a keyset on the last case seen. */
#define CASE_WHERE                                                                                 \
    " FROM complaint_case c LEFT JOIN lot l ON l.id = c.lot_id LEFT JOIN product p"                \
    " ON p.id = l.product_id WHERE c.complaints > 0 AND (?1 IS NULL OR c.symptom = ?1)"            \
    " AND (?2 IS NULL OR l.line = ?2) AND (?3 IS NULL OR p.product = ?3)"                          \
    " AND (?4 IS NULL OR c.top_cause = ?4) AND (?5 IS NULL OR c.state = ?5)"                       \
    " AND (?6 IS NULL OR c.as_of_ms >= ?6)"

int case_list(struct store *store, const struct case_filter *filter, case_each each, void *arg,
              struct error *err)
{
    static const char SQL_NEWEST[] =
        "SELECT " CASE_COLUMNS CASE_WHERE
        " AND (?7 IS NULL OR (c.as_of_ms, c.id) < (SELECT a.as_of_ms, a.id FROM complaint_case a"
        " WHERE a.id = ?7)) ORDER BY c.as_of_ms DESC, c.id DESC LIMIT ?8";
    static const char SQL_URGENT[] =
        "SELECT " CASE_COLUMNS CASE_WHERE
        " AND (?7 IS NULL OR (c.harm, c.complaints, c.id) < (SELECT a.harm, a.complaints, a.id"
        " FROM complaint_case a WHERE a.id = ?7))"
        " ORDER BY c.harm DESC, c.complaints DESC, c.id DESC LIMIT ?8";
    sqlite3_stmt *st = db_prepare(store, filter->urgent_first ? SQL_URGENT : SQL_NEWEST, err);
    if (!st)
        return ERROR_IO;
    db_bind_text(st, 1, filter->symptom);
    db_bind_text(st, 2, filter->line);
    db_bind_text(st, 3, filter->product);
    db_bind_text(st, 4, filter->cause);
    db_bind_text(st, 5, filter->state);
    db_bind_ms(st, 6, filter->since_ms);
    db_bind_id(st, 7, filter->after);
    db_bind_int(st, 8, filter->limit);
    int rc;
    while ((rc = db_step(store, st, err)) == 1) {
        struct case_row row;
        case_read(st, &row);
        rc = each(arg, &row);
        if (rc)
            break;
    }
    db_reset(st);
    return rc;
}

int case_ids_after(struct store *store, int64_t after, int64_t *ids, int limit, int *ret_count,
                   struct error *err)
{
    static const char SQL[] = "SELECT id FROM complaint_case WHERE id > ?1 AND complaints > 0"
                              " ORDER BY id LIMIT ?2";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, after);
    db_bind_int(st, 2, limit);
    int rc, count = 0;
    while ((rc = db_step(store, st, err)) == 1)
        ids[count++] = sqlite3_column_int64(st, 0);
    db_reset(st);
    *ret_count = count;
    return rc;
}

/* ---- logging ---- */

static int find_again(struct store *store, const char *uuid, struct complaint_placed *ret,
                      struct error *err)
{
    static const char SQL[] =
        "SELECT id, case_id, lot_id, 0 FROM complaint WHERE uuid = ?1 UNION ALL"
        " SELECT c.id, c.case_id, c.lot_id, 1 FROM joined j JOIN complaint c"
        " ON c.id = j.complaint_id WHERE j.uuid = ?1";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_text(st, 1, uuid);
    int rc = db_step(store, st, err);
    if (rc == 1) {
        *ret = (struct complaint_placed){.complaint_id = sqlite3_column_int64(st, 0),
                                         .case_id = sqlite3_column_int64(st, 1),
                                         .lot_id = sqlite3_column_int64(st, 2),
                                         .joined = sqlite3_column_int(st, 3) != 0,
                                         .again = true};
    }
    db_reset(st);
    return rc;
}

static int insert_complaint(struct store *store, const struct complaint_new *c,
                            struct complaint_placed *placed, struct error *err)
{
    static const char SQL[] =
        "INSERT INTO complaint(uuid, received_ms, logged_ms, channel, symptom, case_id, lot_id,"
        " lot_text, product_id, code_day, store, route, bought_day, found_day, packs, units, harm,"
        " body, lot_state)"
        " VALUES(?1,?2,?3,?4,?5,?6,?7,?8,?9,?10,?11,?12,?13,?14,?15,?16,?17,?18,?19)";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_text(st, 1, c->uuid);
    db_bind_ms(st, 2, c->received_ms);
    db_bind_ms(st, 3, c->logged_ms);
    db_bind_text(st, 4, c->channel);
    db_bind_text(st, 5, c->symptom);
    db_bind_int(st, 6, placed->case_id);
    db_bind_id(st, 7, placed->lot_id);
    db_bind_text(st, 8, c->lot_text);
    db_bind_id(st, 9, c->product_id);
    db_bind_day(st, 10, c->code_day);
    db_bind_text(st, 11, c->store && *c->store ? c->store : NULL);
    db_bind_text(st, 12, c->route && *c->route ? c->route : NULL);
    db_bind_day(st, 13, c->bought_day);
    db_bind_day(st, 14, c->found_day);
    db_bind_int(st, 15, c->packs);
    db_bind_id(st, 16, c->units);
    db_bind_int(st, 17, c->harm);
    db_bind_text(st, 18, c->body);
    db_bind_text(st, 19, lot_state_word(c->lots.state));
    int rc = db_run(store, st, err);
    if (!rc)
        placed->complaint_id = sqlite3_last_insert_rowid(db_handle(store));
    return rc;
}

int complaint_insert_lots(struct store *store, int64_t complaint_id,
                          const struct complaint_lots *lots, struct error *err)
{
    static const char SQL[] = "INSERT INTO complaint_lot(complaint_id, lot_id, weight)"
                              " VALUES(?1, ?2, ?3)";
    for (int i = 0; i < lots->count; i++) {
        sqlite3_stmt *st = db_prepare(store, SQL, err);
        if (!st)
            return ERROR_IO;
        db_bind_int(st, 1, complaint_id);
        db_bind_int(st, 2, lots->lot[i].lot_id);
        db_bind_real(st, 3, lots->lot[i].weight);
        int rc = db_run(store, st, err);
        if (rc)
            return rc;
    }
    return 0;
}

int64_t complaint_lots_settled(const struct complaint_lots *lots)
{
    return lots->count && lot_state_names_one(lots->state) ? lots->lot[0].lot_id : 0;
}

int complaint_log(struct store *store, const struct complaint_new *c, struct complaint_placed *ret,
                  struct error *err)
{
    int rc = find_again(store, c->uuid, ret, err);
    if (rc)
        return rc < 0 ? rc : 0;
    struct complaint_placed placed = {.lot_id = complaint_lots_settled(&c->lots)};
    rc = case_for(store, c->symptom, placed.lot_id, c->received_ms, &placed.case_id,
                  &placed.new_case, err);
    if (!rc)
        rc = case_add(store, placed.case_id, c->received_ms, c->packs, c->harm, err);
    if (!rc)
        rc = insert_complaint(store, c, &placed, err);
    if (!rc)
        rc = complaint_insert_lots(store, placed.complaint_id, &c->lots, err);
    if (!rc)
        rc = contact_add(store, placed.complaint_id, "", c->contact, c->contact_fold,
                         c->contact_purge_ms, err);
    if (!rc && placed.lot_id > 0)
        rc = company_count(store, placed.lot_id, c->symptom, c->received_ms, +1, err);
    if (!rc)
        rc = work_add(store, WORK_RANK, placed.case_id, c->logged_ms + GATHER_MS, err);
    if (!rc)
        *ret = placed;
    return rc;
}

/* ---- reading ---- */

#define COMPLAINT_COLUMNS                                                                          \
    "SELECT id, case_id, lot_id, product_id, received_ms, logged_ms, units, uuid, channel,"        \
    " symptom, lot_text, store, route, body, code_day, bought_day, found_day, packs, harm,"        \
    " lot_state FROM complaint "

/* Runs a bound statement and hands out its rows. *ret_rows may be NULL. */
static int each_row(struct store *store, sqlite3_stmt *st, complaint_each each, void *arg,
                    int *ret_rows, struct error *err)
{
    int rc, rows = 0;
    while ((rc = db_step(store, st, err)) == 1) {
        struct complaint_row row = {
            .id = sqlite3_column_int64(st, 0),
            .case_id = sqlite3_column_int64(st, 1),
            .lot_id = sqlite3_column_int64(st, 2),
            .product_id = sqlite3_column_int64(st, 3),
            .received_ms = db_ms(st, 4),
            .logged_ms = db_ms(st, 5),
            .units = sqlite3_column_int64(st, 6),
            .uuid = db_text(st, 7),
            .channel = db_text(st, 8),
            .symptom = db_text(st, 9),
            .lot_text = db_text(st, 10),
            .store = db_text(st, 11),
            .route = db_text(st, 12),
            .body = db_text(st, 13),
            .code_day = db_day(st, 14),
            .bought_day = db_day(st, 15),
            .found_day = db_day(st, 16),
            .packs = sqlite3_column_int(st, 17),
            .harm = sqlite3_column_int(st, 18) != 0,
            .lot_state = lot_state_of(db_text(st, 19)),
        };
        rows++;
        rc = each(arg, &row);
        if (rc)
            break;
    }
    db_reset(st);
    if (ret_rows)
        *ret_rows = rows;
    return rc;
}

int complaint_of_case(struct store *store, int64_t case_id, complaint_each each, void *arg,
                      struct error *err)
{
    static const char SQL[] = COMPLAINT_COLUMNS "WHERE case_id = ?1 ORDER BY received_ms, id";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, case_id);
    return each_row(store, st, each, arg, NULL, err);
}

int complaint_by_uuid(struct store *store, const char *uuid, complaint_each each, void *arg,
                      struct error *err)
{
    static const char SQL[] = COMPLAINT_COLUMNS "WHERE uuid = ?1";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_text(st, 1, uuid);
    int rows;
    int rc = each_row(store, st, each, arg, &rows, err);
    if (!rc && rows == 0)
        return error_set(err, ERROR_NOT_FOUND, "there is no complaint %s", uuid);
    return rc;
}

int complaint_by_id(struct store *store, int64_t complaint_id, complaint_each each, void *arg,
                    struct error *err)
{
    static const char SQL[] = COMPLAINT_COLUMNS "WHERE id = ?1";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, complaint_id);
    int rows;
    int rc = each_row(store, st, each, arg, &rows, err);
    return !rc && rows == 0 ? error_set(err, ERROR_NOT_FOUND, "there is no such complaint") : rc;
}

int complaint_surest_of_case(struct store *store, int64_t case_id, complaint_each each, void *arg,
                             struct error *err)
{
    static const char SQL[] =
        COMPLAINT_COLUMNS "WHERE case_id = ?1"
                          " ORDER BY lot_state = 'exact' DESC, received_ms DESC, id DESC LIMIT 1";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, case_id);
    return each_row(store, st, each, arg, NULL, err);
}

int complaint_between(struct store *store, const char *symptom, int64_t from_ms, int64_t to_ms,
                      int limit, complaint_each each, void *arg, struct error *err)
{
    static const char SQL[] =
        COMPLAINT_COLUMNS "WHERE received_ms >= ?1 AND received_ms < ?2 AND (?3 IS NULL OR"
                          " symptom = ?3) ORDER BY received_ms DESC, id DESC LIMIT ?4";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_ms(st, 1, from_ms);
    db_bind_ms(st, 2, to_ms);
    db_bind_text(st, 3, symptom);
    db_bind_int(st, 4, limit);
    return each_row(store, st, each, arg, NULL, err);
}

int complaint_not_exact(struct store *store, const struct complaint_slice *slice,
                        complaint_each each, void *arg, struct error *err)
{
    static const char SQL[] =
        COMPLAINT_COLUMNS "WHERE lot_state <> 'exact' AND id > ?1 AND received_ms >= ?2"
                          " ORDER BY id LIMIT ?3";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, slice->after_id);
    db_bind_ms(st, 2, slice->since_ms);
    db_bind_int(st, 3, slice->limit);
    return each_row(store, st, each, arg, NULL, err);
}

static int read_state(struct store *store, int64_t complaint_id, enum lot_state *ret,
                      struct error *err)
{
    static const char SQL[] = "SELECT lot_state FROM complaint WHERE id = ?1";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, complaint_id);
    int rc = db_step(store, st, err);
    if (rc == 1)
        *ret = lot_state_of(db_text(st, 0));
    db_reset(st);
    return rc < 0 ? rc : 0;
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
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, complaint_id);
    db_bind_int(st, 2, COMPLAINT_LOTS);
    while ((rc = db_step(store, st, err)) == 1) {
        lots.lot[lots.count++] =
            (struct complaint_lot){sqlite3_column_int64(st, 0), sqlite3_column_double(st, 1)};
    }
    db_reset(st);
    if (!rc)
        *ret = lots;
    return rc;
}

/* ---- changing ---- */

int complaint_where_of(struct store *store, int64_t complaint_id, struct complaint_where *ret,
                       struct error *err)
{
    static const char SQL[] =
        "SELECT case_id, lot_id, received_ms, packs, harm, symptom, uuid, lot_state"
        " FROM complaint WHERE id = ?1";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, complaint_id);
    int rc = db_step(store, st, err);
    if (rc == 1) {
        *ret = (struct complaint_where){.case_id = sqlite3_column_int64(st, 0),
                                        .lot_id = sqlite3_column_int64(st, 1),
                                        .received_ms = db_ms(st, 2),
                                        .packs = sqlite3_column_int(st, 3),
                                        .harm = sqlite3_column_int(st, 4) != 0,
                                        .state = lot_state_of(db_text(st, 7))};
        text_clip(db_text(st, 5), ret->symptom, sizeof ret->symptom);
        text_clip(db_text(st, 6), ret->uuid, sizeof ret->uuid);
    }
    db_reset(st);
    if (rc == 0)
        return error_set(err, ERROR_NOT_FOUND, "there is no such complaint");
    return rc < 0 ? rc : 0;
}

static const char SQL_NO_LOTS[] = "DELETE FROM complaint_lot WHERE complaint_id = ?1";

static int delete_row(struct store *store, const char *sql, int64_t complaint_id, struct error *err)
{
    sqlite3_stmt *st = db_prepare(store, sql, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, complaint_id);
    return db_run(store, st, err);
}

int complaint_delete_lots(struct store *store, int64_t complaint_id, struct error *err)
{
    return delete_row(store, SQL_NO_LOTS, complaint_id, err);
}

/* What is counted of a complaint by lot is dated by its route and store as well. */
static int say_company_changed(struct store *store, const struct complaint_where *p,
                               struct error *err)
{
    if (p->lot_id <= 0)
        return 0;
    int rc = company_count(store, p->lot_id, p->symptom, p->received_ms, -1, err);
    return rc ? rc : company_count(store, p->lot_id, p->symptom, p->received_ms, +1, err);
}

int complaint_rewrite(struct store *store, int64_t complaint_id, const struct complaint_new *c,
                      struct error *err)
{
    static const char SQL[] =
        "UPDATE complaint SET lot_text = ?2, product_id = ?3, code_day = ?4, store = ?5,"
        " route = ?6, bought_day = ?7, found_day = ?8, packs = ?9, units = ?10, harm = ?11,"
        " body = ?12 WHERE id = ?1";
    struct complaint_where was = {0};
    int rc = complaint_where_of(store, complaint_id, &was, err);
    if (rc)
        return rc;
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, complaint_id);
    db_bind_text(st, 2, c->lot_text);
    db_bind_id(st, 3, c->product_id);
    db_bind_day(st, 4, c->code_day);
    db_bind_text(st, 5, c->store && *c->store ? c->store : NULL);
    db_bind_text(st, 6, c->route && *c->route ? c->route : NULL);
    db_bind_day(st, 7, c->bought_day);
    db_bind_day(st, 8, c->found_day);
    db_bind_int(st, 9, c->packs);
    db_bind_id(st, 10, c->units);
    db_bind_int(st, 11, c->harm);
    db_bind_text(st, 12, c->body);
    rc = db_run(store, st, err);
    if (!rc)
        rc = case_recount(store, was.case_id, 0, err);
    return rc ? rc : say_company_changed(store, &was, err);
}

int complaint_take_out(struct store *store, int64_t complaint_id, int64_t moved_to, int64_t now_ms,
                       struct error *err)
{
    static const char SQL_ROW[] = "DELETE FROM complaint WHERE id = ?1";
    struct complaint_where was = {0};
    int rc = complaint_where_of(store, complaint_id, &was, err);
    if (!rc)
        rc = complaint_delete_lots(store, complaint_id, err);
    if (!rc)
        rc = delete_row(store, SQL_ROW, complaint_id, err);
    if (!rc)
        rc = case_recount(store, was.case_id, was.case_id == moved_to ? 0 : moved_to, err);
    if (!rc && was.lot_id > 0)
        rc = company_count(store, was.lot_id, was.symptom, was.received_ms, -1, err);
    return rc ? rc : work_add(store, WORK_RANK, was.case_id, now_ms, err);
}

#include "store/case.h"
#include "base/short_id.h"
#include "store/case_inside.h"
#include "store/db.h"
#include "store/numbers.h"
#include "store/seen_inside.h"
#include <assert.h>
#include <string.h>

static int case_open(struct store *store, const char *symptom, int64_t lot_id, int64_t received_ms,
                     int64_t *ret_id, struct error *err)
{
    static const char SQL[] =
        "INSERT INTO complaint_case(id, symptom, lot_id, opened_ms, as_of_ms, complaints, packs,"
        " state) VALUES(" NUMBERS_NEXT("complaint_case", "case/last") ", ?1, ?2, ?3, ?3, 0, 0,"
                                                                      " 'empty')";
    int rc = db_run(store, SQL, DB(DB_TEXT(symptom), DB_ID(lot_id), DB_MS(received_ms)), err);
    if (!rc)
        *ret_id = db_last_id(store);
    return rc;
}

int case_find(struct store *store, const char *symptom, int64_t lot_id, int64_t *ret_id,
              struct error *err)
{
    static const char SQL[] = "SELECT id FROM complaint_case WHERE lot_id = ?1 AND symptom = ?2";
    struct db_query q = db_query(store, SQL, DB(DB_INT(lot_id), DB_TEXT(symptom)), err);
    if (db_next(&q))
        *ret_id = db_int64(&q, 0);
    return db_end(&q, q.rows);
}

int case_for(struct store *store, const char *symptom, int64_t lot_id, int64_t received_ms,
             int64_t *ret_id, struct error *err)
{
    int rc = lot_id > 0 ? case_find(store, symptom, lot_id, ret_id, err) : 0;
    if (rc)
        return rc < 0 ? rc : 0;
    rc = case_open(store, symptom, lot_id, received_ms, ret_id, err);
    return rc ? rc : 1;
}

static void case_read(struct db_query *q, struct case_row *row)
{
    row->id = db_int64(q, 0);
    db_copy(q, 1, row->symptom, sizeof row->symptom);
    row->lot_id = db_int64(q, 2);
    row->opened_ms = db_ms(q, 3);
    row->as_of_ms = db_ms(q, 4);
    row->complaints = db_int(q, 5);
    row->packs = db_int(q, 6);
    row->harm = db_int(q, 7) != 0;
    row->settled = strcmp(db_text(q, 8), "settled") == 0;
    row->revision = db_int(q, 9);
    db_copy(q, 10, row->top_cause, sizeof row->top_cause);
    row->top_probability = db_real(q, 11);
    row->harm_unseen = db_int(q, 12) != 0;
    db_copy(q, 13, row->plant, sizeof row->plant);
}

#define CASE_COLUMNS                                                                               \
    "c.id, c.symptom, c.lot_id, c.opened_ms, c.as_of_ms, c.complaints, c.packs, c.harm, c.state,"  \
    " c.revision, c.top_cause, coalesce(c.top_probability, 0), c.harm_unseen, c.plant"

int case_get(struct store *store, int64_t case_id, struct case_row *ret, struct error *err)
{
    static const char SQL[] = "SELECT " CASE_COLUMNS ", c.moved_to FROM complaint_case c"
                              " WHERE c.id = ?1";
    enum { HOPS = 8 }; /* a complaint placed again and again; far more than people do */
    int64_t asked = case_id;
    for (int hop = 0; hop < HOPS; hop++) {
        struct db_query q = db_query(store, SQL, DB(DB_INT(case_id)), err);
        int64_t next = 0;
        if (db_next(&q)) {
            case_read(&q, ret);
            next = db_int64(&q, 14);
        }
        int rc = db_end(&q, 0);
        if (!rc && q.rows && !next && !seen_case(store, case_id))
            break;
        if (rc || (q.rows && !next))
            return rc;
        if (!q.rows)
            break;
        case_id = next;
    }
    error_set(err, ERROR_NOT_FOUND, "there is no case %s", CASE_ID(asked));
    error_hint(err, "`oddloaf cases` lists them");
    return ERROR_NOT_FOUND;
}

bool case_may_harm(struct store *store, const struct case_row *row)
{
    static const char SQL[] =
        "SELECT count(*) FROM complaint c WHERE c.case_id = ?1 AND c.withdrawn_ms IS NULL"
        " AND " CASE_COMPLAINT_MAY_HARM("c");
    int64_t found = 1;
    return !row->harm && (db_number(store, SQL, DB(DB_INT(row->id)), &found, NULL) || found);
}

int case_moved_here(struct store *store, int64_t case_id, struct store_ids *ret, struct error *err)
{
    static const char SQL[] = "SELECT id FROM complaint_case WHERE moved_to = ?1"
                              " ORDER BY id LIMIT ?2";
    return db_ids(store, SQL, DB(DB_INT(case_id), DB_INT(ret->capacity)), ret, err);
}

int case_flag_harm(struct store *store, int64_t case_id, struct error *err)
{
    assert(store_writing(store));
    static const char SQL[] =
        "UPDATE complaint_case SET harm_unseen = 1 WHERE id = ?1 AND state = 'settled'";
    return db_run(store, SQL, DB(DB_INT(case_id)), err);
}

int case_left_settled(struct store *store, int64_t case_id, bool *ret, struct error *err)
{
    static const char SQL[] =
        "SELECT count(*) FROM complaint_case c JOIN verdict v ON v.case_id = c.id"
        " WHERE c.id = ?1 AND c.complaints = 0 AND v.reopened_ms IS NULL";
    int64_t count = 0;
    int rc = db_number(store, SQL, DB(DB_INT(case_id)), &count, err);
    *ret = count > 0;
    return rc;
}

int case_of_uuid(struct store *store, const char *uuid, int64_t *ret_case, struct error *err)
{
    static const char SQL[] =
        "SELECT case_id FROM complaint WHERE uuid = ?1 UNION ALL SELECT c.case_id FROM joined j"
        " JOIN complaint c ON c.id = j.complaint_id WHERE j.uuid = ?1";
    const char *sought = seen_report(store, uuid) ? uuid : "";
    struct db_query q = db_query(store, SQL, DB(DB_TEXT(sought)), err);
    if (db_next(&q))
        *ret_case = db_int64(&q, 0);
    return db_found(&q, "there is no complaint %s", uuid);
}

/* Order: newest first, or most urgent first; both by a keyset on the last case seen. */
#define CASE_WHERE                                                                                 \
    " FROM complaint_case c LEFT JOIN lot l ON l.id = c.lot_id LEFT JOIN product p"                \
    " ON p.id = l.product_id LEFT JOIN case_follow f ON f.case_id = c.id"                          \
    " WHERE c.complaints > 0 AND (?1 IS NULL OR c.symptom = ?1)"                                   \
    " AND (?2 IS NULL OR l.line = ?2) AND (?3 IS NULL OR p.family = ?3)"                           \
    " AND (?9 IS NULL OR l.product_id IN (?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16))"                 \
    " AND (?4 IS NULL OR c.top_cause = ?4)"                                                        \
    " AND (?5 IS NULL OR c.state = ?5 OR (?5 = 'open' AND c.harm_unseen = 1))"                     \
    " AND (?6 IS NULL OR c.as_of_ms >= ?6)"                                                        \
    " AND (?20 IS NULL OR c.plant = ?20)"                                                          \
    " AND " SEEN_IN("?19", "c.plant") " AND (?17 IS NULL OR lower(f.owner) = "                     \
                                      "lower(?17)) AND (?18 IS NULL OR f.due_day < ?18)"
/* How severe it is held; harm is urgent whether it was weighed yet or not. */
#define CASE_SEVERITY(c, f)                                                                        \
    "CASE WHEN " c ".harm <> 0 THEN 3 ELSE coalesce(" f ".set_to, " f ".by_rule, 0) END"

int case_list(struct store *store, const struct case_filter *filter, case_each each, void *arg,
              struct error *err)
{
    static const char SQL_NEWEST[] =
        "SELECT " CASE_COLUMNS CASE_WHERE
        " AND (?7 IS NULL OR (c.as_of_ms, c.id) < (SELECT a.as_of_ms, a.id FROM complaint_case a"
        " WHERE a.id = ?7)) ORDER BY c.as_of_ms DESC, c.id DESC LIMIT ?8";
    static const char SQL_URGENT[] =
        "SELECT " CASE_COLUMNS CASE_WHERE " AND (?7 IS NULL OR (" CASE_SEVERITY(
            "c", "f") ", c.harm, c.complaints, c.id) < "
                      "(SELECT " CASE_SEVERITY("a", "g") ", a.harm, a.complaints, a.id "
                                                         "FROM complaint_case a LEFT JOIN"
                                                         " case_follow g ON g.case_id = "
                                                         "a.id WHERE a.id = ?7)) ORDER "
                                                         "BY " CASE_SEVERITY(
                                                             "c", "f") " DESC, c.harm DESC, "
                                                                       "c.complaints DESC, c.id "
                                                                       "DESC LIMIT ?8";
    const int64_t *p = filter->product;
    struct db_query q = db_query(
        store, filter->urgent_first ? SQL_URGENT : SQL_NEWEST,
        DB(DB_TEXT(filter->symptom), DB_TEXT(filter->line), DB_TEXT(filter->family),
           DB_TEXT(filter->cause), DB_TEXT(filter->state), DB_MS(filter->since_ms),
           DB_ID(filter->after), DB_INT(filter->limit), DB_ID(p[0]), DB_ID(p[1]), DB_ID(p[2]),
           DB_ID(p[3]), DB_ID(p[4]), DB_ID(p[5]), DB_ID(p[6]), DB_ID(p[7]), DB_TEXT(filter->owner),
           DB_DAY(filter->due_before ? filter->due_before : WHEN_UNKNOWN_DAY),
           DB_TEXT(seen_list(store)), DB_TEXT(filter->plant)),
        err);
    int rc = 0;
    db_keep(&q); /* callbacks ask for the lots' records */
    while (!rc && db_next(&q)) {
        struct case_row row;
        case_read(&q, &row);
        rc = each(arg, &row);
    }
    return db_end(&q, rc);
}

int case_of_lot(struct store *store, int64_t lot_id, case_each each, void *arg, struct error *err)
{
    static const char SQL[] = "SELECT " CASE_COLUMNS " FROM complaint_case c WHERE c.lot_id = ?1"
                              " AND c.complaints > 0 ORDER BY c.id";
    struct db_query q = db_query(store, SQL, DB(DB_INT(lot_id)), err);
    int rc = 0;
    db_keep(&q); /* callbacks ask for the cases' rankings */
    while (!rc && db_next(&q)) {
        struct case_row row;
        case_read(&q, &row);
        rc = each(arg, &row);
    }
    return db_end(&q, rc);
}

int case_ids_after(struct store *store, int64_t after, struct store_ids *ret, struct error *err)
{
    static const char SQL[] = "SELECT c.id FROM complaint_case c WHERE c.id > ?1 AND c.complaints"
                              " > 0 AND " SEEN_IN("?3", "c.plant") " ORDER BY c.id LIMIT ?2";
    return db_ids(store, SQL, DB(DB_INT(after), DB_INT(ret->capacity), DB_TEXT(seen_list(store))),
                  ret, err);
}

/* The lots in order, and of each its cases: whatever is asked for, it goes by an index. */
static int walk_lots(struct store *store, struct case_walk *walk, bool *ret_found,
                     struct error *err)
{
    static const char SQL[] =
        "SELECT l.packed_from_ms, l.id, c.id FROM lot l CROSS JOIN complaint_case c"
        " WHERE c.lot_id = l.id AND c.complaints > 0 AND l.packed_from_ms >= ?1"
        " AND (l.packed_from_ms > ?1 OR l.id > ?2 OR (l.id = ?2 AND c.id > ?3))"
        " ORDER BY l.packed_from_ms, l.id, c.id LIMIT 1";
    const int64_t from_ms = walk->begun ? walk->packed_ms : INT64_MIN;
    struct db_query q =
        db_query(store, SQL, DB(DB_INT(from_ms), DB_INT(walk->lot_id), DB_INT(walk->case_id)), err);
    *ret_found = db_next(&q);
    if (*ret_found)
        *walk = (struct case_walk){.packed_ms = db_int64(&q, 0),
                                   .lot_id = db_int64(&q, 1),
                                   .case_id = db_int64(&q, 2),
                                   .begun = true};
    return db_end(&q, 0);
}

int case_walk_next(struct store *store, struct case_walk *walk, bool *ret_end, struct error *err)
{
    static const char REST[] = "SELECT id FROM complaint_case WHERE id > ?1 AND lot_id IS NULL"
                               " AND complaints > 0 ORDER BY id LIMIT 1";
    bool found = false;
    struct store_ids next = {&walk->case_id, 0, 1};
    int rc = walk->without_lot ? 0 : walk_lots(store, walk, &found, err);
    *ret_end = false;
    if (rc || found)
        return rc;
    if (!walk->without_lot)
        *walk = (struct case_walk){.without_lot = true};
    rc = db_ids(store, REST, DB(DB_INT(walk->case_id)), &next, err);
    *ret_end = next.count == 0;
    return rc;
}

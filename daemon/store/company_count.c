#include "store/company_count.h"
#include "store/db.h"
#include <assert.h>

static int packed_day_of(struct store *store, int64_t lot_id, int32_t *ret, struct error *err)
{
    static const char SQL[] = "SELECT packed_from_ms FROM lot WHERE id = ?1";
    struct db_query q = db_query(store, SQL, DB(DB_INT(lot_id)), err);
    if (db_next(&q)) {
        int64_t ms = db_ms(&q, 0);
        *ret = (int32_t)((ms - (ms < 0 ? WHEN_DAY_MS - 1 : 0)) / WHEN_DAY_MS);
    }
    return db_found(&q, "no lot to count the complaint on");
}

static int day_changed(struct store *store, const char *symptom, int32_t day, struct error *err)
{
    static const char SQL[] =
        "INSERT INTO company_day(symptom, packed_day, serial) VALUES(?1, ?2, 1)"
        " ON CONFLICT(symptom, packed_day) DO UPDATE SET serial = company_day.serial + 1";
    return db_run(store, SQL, DB(DB_TEXT(symptom), DB_INT(day)), err);
}

/* On the day it was counted on. */
static int uncount(struct store *store, int64_t lot_id, const char *symptom, int64_t received_ms,
                   struct error *err)
{
    static const char SQL_FIND[] = "SELECT packed_day FROM company_count WHERE lot_id = ?1 AND"
                                   " symptom = ?2 AND received_ms = ?3 LIMIT 1";
    static const char SQL_LESS[] = "UPDATE company_count SET n = n - 1 WHERE symptom = ?1 AND"
                                   " packed_day = ?2 AND lot_id = ?3 AND received_ms = ?4";
    static const char SQL_NONE[] = "DELETE FROM company_count WHERE symptom = ?1 AND packed_day ="
                                   " ?2 AND lot_id = ?3 AND received_ms = ?4 AND n <= 0";
    struct db_query q =
        db_query(store, SQL_FIND, DB(DB_INT(lot_id), DB_TEXT(symptom), DB_INT(received_ms)), err);
    int32_t day = db_next(&q) ? db_day(&q, 0) : 0;
    int rc = db_end(&q, 0);
    if (rc || !q.rows)
        return rc;
    const struct db_value *row =
        DB(DB_TEXT(symptom), DB_INT(day), DB_INT(lot_id), DB_INT(received_ms));
    rc = db_run(store, SQL_LESS, row, err);
    if (!rc)
        rc = db_run(store, SQL_NONE, row, err);
    return rc ? rc : day_changed(store, symptom, day, err);
}

int company_count(struct store *store, int64_t lot_id, const char *symptom, int64_t received_ms,
                  int delta, struct error *err)
{
    assert(delta == 1 || delta == -1);
    assert(lot_id > 0 && symptom);
    assert(store_writing(store));
    static const char SQL[] =
        "INSERT INTO company_count(symptom, packed_day, lot_id, received_ms, n)"
        " VALUES(?1, ?2, ?3, ?4, ?5) ON CONFLICT(symptom, packed_day, lot_id, received_ms)"
        " DO UPDATE SET n = company_count.n + excluded.n";
    int32_t day = 0;
    if (delta < 0)
        return uncount(store, lot_id, symptom, received_ms, err);
    int rc = packed_day_of(store, lot_id, &day, err);
    if (!rc)
        rc = db_run(
            store, SQL,
            DB(DB_TEXT(symptom), DB_INT(day), DB_INT(lot_id), DB_INT(received_ms), DB_INT(delta)),
            err);
    return rc ? rc : day_changed(store, symptom, day, err);
}

static int lot_days_changed(struct store *store, int64_t lot_id, struct error *err)
{
    static const char SQL[] = "INSERT INTO company_day(symptom, packed_day, serial)"
                              " SELECT DISTINCT symptom, packed_day, 1 FROM company_count"
                              " WHERE lot_id = ?1 ON CONFLICT(symptom, packed_day) DO UPDATE SET "
                              "serial = company_day.serial + 1";
    return db_run(store, SQL, DB(DB_INT(lot_id)), err);
}

int company_count_lot(struct store *store, int64_t lot_id, int delta, struct error *err)
{
    assert(delta == 1 || delta == -1);
    assert(store_writing(store));
    static const char SQL_OUT[] = "DELETE FROM company_count WHERE lot_id = ?1";
    static const char SQL_IN[] =
        "INSERT INTO company_count(symptom, packed_day, lot_id, received_ms, n)"
        " SELECT symptom, ?2, lot_id, received_ms, count(*) FROM complaint WHERE lot_id = ?1"
        " AND withdrawn_ms IS NULL GROUP BY 1, 3, 4";
    int32_t day = 0;
    int rc = delta < 0 ? lot_days_changed(store, lot_id, err) : 0;
    if (rc || delta < 0)
        return rc ? rc : db_run(store, SQL_OUT, DB(DB_INT(lot_id)), err);
    rc = packed_day_of(store, lot_id, &day, err);
    if (!rc)
        rc = db_run(store, SQL_IN, DB(DB_INT(lot_id), DB_INT(day)), err);
    return rc ? rc : lot_days_changed(store, lot_id, err);
}

int company_count_records_changed(struct store *store, struct error *err)
{
    return day_changed(store, "", 0, err);
}

int company_count_records_serial(struct store *store, int64_t *ret, struct error *err)
{
    static const char SQL[] =
        "SELECT serial FROM company_day WHERE symptom = '' AND packed_day = 0";
    return db_number(store, SQL, NULL, ret, err);
}

static struct db_query query_scope(struct store *store, const char *sql,
                                   const struct company_count_scope *scope, struct error *err)
{
    return db_query(store, sql,
                    DB(DB_TEXT(scope->symptom), DB_INT(scope->from_day), DB_INT(scope->to_day)),
                    err);
}

int company_count_days(struct store *store, const struct company_count_scope *scope,
                       company_day_each each, void *arg, struct error *err)
{
    static const char SQL[] = "SELECT packed_day, serial FROM company_day WHERE symptom = ?1 AND"
                              " packed_day BETWEEN ?2 AND ?3 ORDER BY packed_day";
    struct db_query q = query_scope(store, SQL, scope, err);
    int rc = 0;
    while (!rc && db_next(&q))
        rc = each(arg, &(struct company_day_row){db_day(&q, 0), db_int64(&q, 1)});
    return db_end(&q, rc);
}

int company_count_days_serial(struct store *store, const struct company_count_scope *scope,
                              int64_t *ret, struct error *err)
{
    static const char SQL[] = "SELECT sum(serial) FROM company_day WHERE symptom = ?1 AND"
                              " packed_day BETWEEN ?2 AND ?3";
    return db_number(store, SQL,
                     DB(DB_TEXT(scope->symptom), DB_INT(scope->from_day), DB_INT(scope->to_day)),
                     ret, err);
}

int company_count_list(struct store *store, const struct company_count_scope *scope,
                       company_each each, void *arg, struct error *err)
{
    static const char SQL[] =
        "SELECT packed_day, lot_id, received_ms, n FROM company_count WHERE symptom = ?1 AND"
        " packed_day BETWEEN ?2 AND ?3 ORDER BY packed_day, lot_id, received_ms";
    struct db_query q = query_scope(store, SQL, scope, err);
    int rc = 0;
    while (!rc && db_next(&q)) {
        struct company_row row = {db_int64(&q, 1), db_ms(&q, 2), db_day(&q, 0), db_int(&q, 3)};
        rc = each(arg, &row);
    }
    return db_end(&q, rc);
}

#include "store/company_count.h"
#include "store/db.h"

static int packed_day_of(struct store *store, int64_t lot_id, int32_t *ret, struct error *err)
{
    static const char SQL[] = "SELECT packed_from_ms FROM lot WHERE id = ?1";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, lot_id);
    int rc = db_step(store, st, err);
    if (rc == 1) {
        int64_t ms = db_ms(st, 0);
        *ret = (int32_t)((ms - (ms < 0 ? WHEN_DAY_MS - 1 : 0)) / WHEN_DAY_MS);
    }
    db_reset(st);
    if (rc == 0)
        return error_set(err, ERROR_NOT_FOUND, "no lot to count the complaint on");
    return rc < 0 ? rc : 0;
}

static int day_changed(struct store *store, const char *symptom, int32_t day, struct error *err)
{
    static const char SQL[] =
        "INSERT INTO company_day(symptom, packed_day, serial) VALUES(?1, ?2, 1)"
        " ON CONFLICT DO UPDATE SET serial = serial + 1";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_text(st, 1, symptom);
    db_bind_int(st, 2, day);
    return db_run(store, st, err);
}

/* The lot's day as counted before: a lot whose packing time was corrected keeps its old rows. */
static int uncount(struct store *store, int64_t lot_id, const char *symptom, int64_t received_ms,
                   int32_t *ret_day, struct error *err)
{
    static const char SQL_FIND[] = "SELECT packed_day FROM company_count WHERE lot_id = ?1 AND"
                                   " symptom = ?2 AND received_ms = ?3 LIMIT 1";
    static const char SQL_LESS[] = "UPDATE company_count SET n = n - 1 WHERE symptom = ?1 AND"
                                   " packed_day = ?2 AND lot_id = ?3 AND received_ms = ?4";
    static const char SQL_NONE[] = "DELETE FROM company_count WHERE symptom = ?1 AND packed_day ="
                                   " ?2 AND lot_id = ?3 AND received_ms = ?4 AND n <= 0";
    sqlite3_stmt *find = db_prepare(store, SQL_FIND, err);
    if (!find)
        return ERROR_IO;
    db_bind_int(find, 1, lot_id);
    db_bind_text(find, 2, symptom);
    db_bind_int(find, 3, received_ms);
    int rc = db_step(store, find, err);
    if (rc == 1)
        *ret_day = db_day(find, 0);
    db_reset(find);
    if (rc <= 0)
        return rc;
    const char *steps[] = {SQL_LESS, SQL_NONE};
    for (int i = 0; i < 2; i++) {
        sqlite3_stmt *st = db_prepare(store, steps[i], err);
        if (!st)
            return ERROR_IO;
        db_bind_text(st, 1, symptom);
        db_bind_int(st, 2, *ret_day);
        db_bind_int(st, 3, lot_id);
        db_bind_int(st, 4, received_ms);
        rc = db_run(store, st, err);
        if (rc)
            return rc;
    }
    return day_changed(store, symptom, *ret_day, err);
}

int company_count(struct store *store, int64_t lot_id, const char *symptom, int64_t received_ms,
                  int delta, struct error *err)
{
    static const char SQL[] =
        "INSERT INTO company_count(symptom, packed_day, lot_id, received_ms, n)"
        " VALUES(?1, ?2, ?3, ?4, ?5) ON CONFLICT DO UPDATE SET n = n + excluded.n";
    int32_t day = 0;
    if (delta < 0)
        return uncount(store, lot_id, symptom, received_ms, &day, err);
    int rc = packed_day_of(store, lot_id, &day, err);
    if (rc)
        return rc;
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_text(st, 1, symptom);
    db_bind_int(st, 2, day);
    db_bind_int(st, 3, lot_id);
    db_bind_int(st, 4, received_ms);
    db_bind_int(st, 5, delta);
    rc = db_run(store, st, err);
    return rc ? rc : day_changed(store, symptom, day, err);
}

int company_records_changed(struct store *store, struct error *err)
{
    static const char SQL[] =
        "INSERT INTO company_day(symptom, packed_day, serial) VALUES('', 0, 1)"
        " ON CONFLICT DO UPDATE SET serial = serial + 1";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    return st ? db_run(store, st, err) : ERROR_IO;
}

int company_records_serial(struct store *store, int64_t *ret, struct error *err)
{
    static const char SQL[] =
        "SELECT serial FROM company_day WHERE symptom = '' AND packed_day = 0";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    int rc = db_step(store, st, err);
    if (rc >= 0)
        *ret = rc ? sqlite3_column_int64(st, 0) : 0;
    db_reset(st);
    return rc < 0 ? rc : 0;
}

static void bind_range(sqlite3_stmt *st, const char *symptom, int32_t from_day, int32_t to_day)
{
    db_bind_text(st, 1, symptom);
    db_bind_int(st, 2, from_day);
    db_bind_int(st, 3, to_day);
}

int company_days(struct store *store, const char *symptom, int32_t from_day, int32_t to_day,
                 company_day_each each, void *arg, struct error *err)
{
    static const char SQL[] = "SELECT packed_day, serial FROM company_day WHERE symptom = ?1 AND"
                              " packed_day BETWEEN ?2 AND ?3 ORDER BY packed_day";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    bind_range(st, symptom, from_day, to_day);
    int rc;
    while ((rc = db_step(store, st, err)) == 1) {
        struct company_day_row row = {db_day(st, 0), sqlite3_column_int64(st, 1)};
        int answer = each(arg, &row);
        if (answer) {
            db_reset(st);
            return answer;
        }
    }
    db_reset(st);
    return rc;
}

int company_days_serial(struct store *store, const char *symptom, int32_t from_day, int32_t to_day,
                        int64_t *ret, struct error *err)
{
    static const char SQL[] = "SELECT total(serial) FROM company_day WHERE symptom = ?1 AND"
                              " packed_day BETWEEN ?2 AND ?3";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    bind_range(st, symptom, from_day, to_day);
    int rc = db_step(store, st, err);
    if (rc == 1)
        *ret = (int64_t)sqlite3_column_double(st, 0);
    db_reset(st);
    return rc < 0 ? rc : 0;
}

int company_counts(struct store *store, const char *symptom, int32_t from_day, int32_t to_day,
                   company_each each, void *arg, struct error *err)
{
    static const char SQL[] =
        "SELECT packed_day, lot_id, received_ms, n FROM company_count WHERE symptom = ?1 AND"
        " packed_day BETWEEN ?2 AND ?3 ORDER BY packed_day, lot_id, received_ms";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    bind_range(st, symptom, from_day, to_day);
    int rc;
    while ((rc = db_step(store, st, err)) == 1) {
        struct company_row row = {sqlite3_column_int64(st, 1), db_ms(st, 2), db_day(st, 0),
                                  sqlite3_column_int(st, 3)};
        int answer = each(arg, &row);
        if (answer) {
            db_reset(st);
            return answer;
        }
    }
    db_reset(st);
    return rc;
}

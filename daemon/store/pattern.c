#include "store/pattern.h"
#include "store/db.h"

static int each_row(struct store *store, const char *sql, int64_t from_ms, int64_t to_ms,
                    pattern_each each, void *arg, struct error *err)
{
    sqlite3_stmt *st = db_prepare(store, sql, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, from_ms);
    db_bind_int(st, 2, to_ms);
    int rc;
    while ((rc = db_step(store, st, err)) == 1) {
        struct pattern_row row = {db_text(st, 0), db_text(st, 1), db_text(st, 2),
                                  sqlite3_column_int64(st, 3)};
        rc = each(arg, &row);
        if (rc)
            break;
    }
    db_reset(st);
    return rc;
}

int pattern_received(struct store *store, int64_t from_ms, int64_t to_ms, pattern_each each,
                     void *arg, struct error *err)
{
    static const char SQL[] =
        "WITH c AS (SELECT symptom, lot_id, product_id, route FROM complaint"
        " WHERE received_ms >= ?1 AND received_ms < ?2)"
        " SELECT '', '', symptom, count(*) FROM c GROUP BY symptom UNION ALL"
        " SELECT 'line', l.line, c.symptom, count(*) FROM c JOIN lot l ON l.id = c.lot_id"
        " GROUP BY l.line, c.symptom UNION ALL"
        " SELECT 'product', p.product, c.symptom, count(*) FROM c LEFT JOIN lot l"
        " ON l.id = c.lot_id JOIN product p ON p.id = coalesce(l.product_id, c.product_id)"
        " GROUP BY p.product, c.symptom UNION ALL"
        " SELECT 'shift', l.shift, c.symptom, count(*) FROM c JOIN lot l ON l.id = c.lot_id"
        " WHERE l.shift <> '' GROUP BY l.shift, c.symptom UNION ALL"
        " SELECT 'route', route, symptom, count(*) FROM c WHERE route IS NOT NULL"
        " GROUP BY route, symptom";
    return each_row(store, SQL, from_ms, to_ms, each, arg, err);
}

int pattern_packed(struct store *store, int64_t from_ms, int64_t to_ms, pattern_each each,
                   void *arg, struct error *err)
{
    static const char SQL[] =
        "WITH l AS (SELECT id, line, product_id, shift, units FROM lot"
        " WHERE packed_from_ms >= ?1 AND packed_from_ms < ?2)"
        " SELECT '', '', '', coalesce(sum(units), 0) FROM l UNION ALL"
        " SELECT 'line', line, '', sum(units) FROM l GROUP BY line UNION ALL"
        " SELECT 'product', p.product, '', sum(l.units) FROM l JOIN product p"
        " ON p.id = l.product_id GROUP BY p.product UNION ALL"
        " SELECT 'shift', shift, '', sum(units) FROM l WHERE shift <> '' GROUP BY shift UNION ALL"
        " SELECT 'route', d.route, '', sum(d.units) FROM l JOIN dispatch d ON d.lot_id = l.id"
        " GROUP BY d.route";
    return each_row(store, SQL, from_ms, to_ms, each, arg, err);
}

int pattern_cases(struct store *store, int64_t from_ms, int64_t to_ms, pattern_case_each each,
                  void *arg, struct error *err)
{
    static const char SQL[] =
        "SELECT c.case_id, count(*), c.symptom, (SELECT r.body FROM ranking r WHERE r.case_id ="
        " c.case_id ORDER BY r.revision DESC LIMIT 1), (SELECT v.cause FROM verdict v WHERE"
        " v.case_id = c.case_id AND v.reopened_ms IS NULL) FROM complaint c"
        " WHERE c.received_ms >= ?1 AND c.received_ms < ?2 GROUP BY c.case_id";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, from_ms);
    db_bind_int(st, 2, to_ms);
    int rc;
    while ((rc = db_step(store, st, err)) == 1) {
        struct pattern_case row = {sqlite3_column_int64(st, 0), sqlite3_column_int64(st, 1),
                                   db_text(st, 2), db_text(st, 3), db_text(st, 4)};
        rc = each(arg, &row);
        if (rc)
            break;
    }
    db_reset(st);
    return rc;
}

int pattern_lots(struct store *store, const char *line, const char *symptom, int64_t from_ms,
                 int64_t to_ms, int64_t until_ms, pattern_lot_each each, void *arg,
                 struct error *err)
{
    static const char SQL[] =
        "SELECT l.id, l.packed_from_ms, l.units, (SELECT count(*) FROM complaint c WHERE c.lot_id"
        " = l.id AND (?5 = '' OR c.symptom = ?5) AND c.received_ms < ?3) FROM lot l"
        " WHERE l.packed_from_ms >= ?1 AND l.packed_from_ms < ?2 AND (?4 = '' OR l.line = ?4)"
        " ORDER BY l.packed_from_ms, l.id";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, from_ms);
    db_bind_int(st, 2, to_ms);
    db_bind_int(st, 3, until_ms);
    db_bind_text(st, 4, line);
    db_bind_text(st, 5, symptom);
    int rc;
    while ((rc = db_step(store, st, err)) == 1) {
        struct pattern_lot row = {sqlite3_column_int64(st, 0), db_ms(st, 1),
                                  sqlite3_column_int64(st, 2), sqlite3_column_int64(st, 3)};
        rc = each(arg, &row);
        if (rc)
            break;
    }
    db_reset(st);
    return rc;
}

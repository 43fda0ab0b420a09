#include "store/returns.h"
#include "store/db.h"

int returns_received(struct store *store, int64_t from_ms, int64_t to_ms, returns_each each,
                     void *arg, struct error *err)
{
    static const char SQL[] =
        "SELECT c.case_id, c.received_ms, coalesce(c.units, c.packs), c.uuid, c.symptom,"
        " coalesce(nullif(c.route, ''), (SELECT d.route FROM dispatch d WHERE d.lot_id = c.lot_id"
        " AND d.store = c.store ORDER BY d.at_ms LIMIT 1)), c.store, p.product,"
        " json_extract(c.body, '$.reason'), json_extract(c.body, '$.put_at'),"
        " json_extract(c.body, '$.disposition') FROM complaint c LEFT JOIN lot l ON l.id = c.lot_id"
        " LEFT JOIN product p ON p.id = coalesce(l.product_id, c.product_id)"
        " WHERE c.received_ms >= ?1 AND c.received_ms < ?2 AND c.channel = 'return'"
        " ORDER BY c.received_ms, c.id";
    int rc, answer = 0;
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, from_ms);
    db_bind_int(st, 2, to_ms);
    while ((rc = db_step(store, st, err)) == 1 && !answer) {
        const struct returns_row row = {.case_id = sqlite3_column_int64(st, 0),
                                        .received_ms = db_ms(st, 1),
                                        .units = sqlite3_column_int64(st, 2),
                                        .complaint = db_text(st, 3),
                                        .symptom = db_text(st, 4),
                                        .route = db_text(st, 5),
                                        .store = db_text(st, 6),
                                        .product = db_text(st, 7),
                                        .reason = db_text(st, 8),
                                        .put_at = db_text(st, 9),
                                        .disposition = db_text(st, 10)};
        answer = each(arg, &row);
    }
    db_reset(st);
    return rc < 0 ? rc : answer;
}

int returns_dispatched(struct store *store, int64_t from_ms, int64_t to_ms, returns_sent_each each,
                       void *arg, struct error *err)
{
    /* route by route: dispatches are indexed by route and time, not by time alone */
    static const char SQL[] =
        "WITH RECURSIVE r(route) AS (SELECT min(route) FROM dispatch UNION ALL"
        " SELECT (SELECT min(route) FROM dispatch WHERE route > r.route) FROM r"
        " WHERE r.route IS NOT NULL)"
        " SELECT d.route, d.store, p.product, sum(d.units) FROM r CROSS JOIN dispatch d"
        " INDEXED BY dispatch_route ON d.route = r.route AND d.at_ms >= ?1 AND d.at_ms < ?2"
        " CROSS JOIN lot l ON l.id = d.lot_id CROSS JOIN product p ON p.id = l.product_id"
        " GROUP BY d.route, d.store, p.product";
    int rc, answer = 0;
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, from_ms);
    db_bind_int(st, 2, to_ms);
    while ((rc = db_step(store, st, err)) == 1 && !answer) {
        const struct returns_sent row = {db_text(st, 0), db_text(st, 1), db_text(st, 2),
                                         sqlite3_column_int64(st, 3)};
        answer = each(arg, &row);
    }
    db_reset(st);
    return rc < 0 ? rc : answer;
}

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
    struct db_query q = db_query(store, SQL, DB(DB_INT(from_ms), DB_INT(to_ms)), err);
    int rc = 0;
    while (!rc && db_next(&q)) {
        const struct returns_row row = {.case_id = db_int64(&q, 0),
                                        .received_ms = db_ms(&q, 1),
                                        .units = db_int64(&q, 2),
                                        .complaint = db_text(&q, 3),
                                        .symptom = db_text(&q, 4),
                                        .route = db_text(&q, 5),
                                        .store = db_text(&q, 6),
                                        .product = db_text(&q, 7),
                                        .reason = db_text(&q, 8),
                                        .put_at = db_text(&q, 9),
                                        .disposition = db_text(&q, 10)};
        rc = each(arg, &row);
    }
    return db_end(&q, rc);
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
    struct db_query q = db_query(store, SQL, DB(DB_INT(from_ms), DB_INT(to_ms)), err);
    int rc = 0;
    while (!rc && db_next(&q)) {
        const struct returns_sent row = {db_text(&q, 0), db_text(&q, 1), db_text(&q, 2),
                                         db_int64(&q, 3)};
        rc = each(arg, &row);
    }
    return db_end(&q, rc);
}

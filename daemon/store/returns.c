#include "store/returns.h"
#include "store/db.h"

int returns_received(struct store *store, struct when_span span, returns_each each, void *arg,
                     struct error *err)
{
    static const char SQL[] =
        "SELECT c.case_id, c.received_ms, coalesce(c.units, c.packs), c.uuid, c.symptom,"
        " coalesce(nullif(c.route, ''), (SELECT d.route FROM dispatch d WHERE d.lot_id = c.lot_id"
        " AND d.store = c.store ORDER BY d.at_ms LIMIT 1)), c.store, p.product,"
        " c.body, c.plant FROM complaint c LEFT JOIN lot l ON l.id = c.lot_id"
        " LEFT JOIN product p ON p.id = coalesce(l.product_id, c.product_id)"
        " WHERE c.received_ms >= ?1 AND c.received_ms < ?2 AND c.channel = 'return'"
        " AND c.withdrawn_ms IS NULL"
        " ORDER BY c.received_ms, c.id";
    struct db_query q = db_query(store, SQL, DB(DB_INT(span.from_ms), DB_INT(span.to_ms)), err);
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
                                        .body = db_text(&q, 8),
                                        .plant = db_text(&q, 9)};
        rc = each(arg, &row);
    }
    return db_end(&q, rc);
}

int returns_any(struct store *store, const char *plant, bool *ret_any, struct error *err)
{
    static const char SQL[] =
        "SELECT 1 FROM complaint WHERE channel = 'return' AND withdrawn_ms IS NULL"
        " AND (?1 IS NULL OR plant = ?1) LIMIT 1";
    struct db_query q = db_query(store, SQL, DB(DB_SAID(plant)), err);
    *ret_any = db_next(&q);
    return db_end(&q, 0);
}

static int each_sent(struct store *store, struct when_span span, const char *route,
                     returns_sent_each each, void *arg, struct error *err)
{
    static const char SQL[] = "SELECT d.store, p.product, sum(d.units), l.plant FROM dispatch d"
                              " JOIN lot l ON l.id = d.lot_id JOIN product p ON p.id = l.product_id"
                              " WHERE d.route = ?1 AND d.at_ms >= ?2 AND d.at_ms < ?3"
                              " GROUP BY d.store, p.product, l.plant";
    struct db_query q =
        db_query(store, SQL, DB(DB_TEXT(route), DB_INT(span.from_ms), DB_INT(span.to_ms)), err);
    int rc = 0;
    while (!rc && db_next(&q)) {
        const struct returns_sent row = {route, db_text(&q, 0), db_text(&q, 1), db_text(&q, 3),
                                         db_int64(&q, 2)};
        rc = each(arg, &row);
    }
    return db_end(&q, rc);
}

int returns_dispatched(struct store *store, struct when_span span, returns_sent_each each,
                       void *arg, struct error *err)
{
    /* route by route: dispatches are indexed by route and time, not by time alone */
    static const char SQL_FIRST[] = "SELECT min(route) FROM dispatch";
    static const char SQL_NEXT[] = "SELECT min(route) FROM dispatch WHERE route > ?1";
    struct db_names routes = {.first = SQL_FIRST, .next = SQL_NEXT};
    int rc = 0;
    while (!rc && db_next_name(store, &routes, err))
        rc = each_sent(store, span, routes.name, each, arg, err);
    return rc ? rc : routes.rc;
}

#include "store/evidence.h"
#include "store/db.h"
#include <string.h>

int evidence_lot(struct store *store, int64_t lot_id, struct evidence_lot *ret, struct error *err)
{
    static const char SQL[] =
        "SELECT l.lot, l.plant, l.line, l.shift, l.product_id, l.made_from_ms, l.made_to_ms,"
        " l.packed_from_ms, l.packed_to_ms, l.units, l.code_day, p.product, p.name, p.family,"
        " p.shelf_life_days, p.unit_g FROM lot l JOIN product p ON p.id = l.product_id"
        " WHERE l.id = ?1";
    struct db_query q = db_query(store, SQL, DB(DB_INT(lot_id)), err);
    if (db_next(&q)) {
        struct evidence_lot lot = {.lot_id = lot_id,
                                   .product_id = db_int64(&q, 4),
                                   .made_from_ms = db_ms(&q, 5),
                                   .made_to_ms = db_ms(&q, 6),
                                   .packed_from_ms = db_ms(&q, 7),
                                   .packed_to_ms = db_ms(&q, 8),
                                   .units = db_int64(&q, 9),
                                   .code_day = db_day(&q, 10),
                                   .shelf_life_days = db_int(&q, 14),
                                   .unit_g = db_real(&q, 15)};
        db_copy(&q, 0, lot.lot, sizeof lot.lot);
        db_copy(&q, 1, lot.plant, sizeof lot.plant);
        db_copy(&q, 2, lot.line, sizeof lot.line);
        db_copy(&q, 3, lot.shift, sizeof lot.shift);
        db_copy(&q, 11, lot.product, sizeof lot.product);
        db_copy(&q, 12, lot.name, sizeof lot.name);
        db_copy(&q, 13, lot.family, sizeof lot.family);
        *ret = lot;
    }
    return db_found(&q, "there is no such lot");
}

int evidence_readings(struct store *store, int64_t lot_id, evidence_reading_each each, void *arg,
                      struct error *err)
{
    static const char SQL[] = "SELECT r.quantity_id, q.name, r.at_ms, r.mix, r.point, r.value,"
                              " r.note FROM reading r JOIN quantity q ON q.id = r.quantity_id"
                              " WHERE r.lot_id = ?1 ORDER BY r.quantity_id, r.at_ms";
    struct db_query q = db_query(store, SQL, DB(DB_INT(lot_id)), err);
    int rc = 0;
    while (!rc && db_next(&q)) {
        struct evidence_reading row = {db_int64(&q, 0), db_ms(&q, 2),   db_text(&q, 1),
                                       db_text(&q, 3),  db_text(&q, 4), db_text(&q, 6),
                                       db_real(&q, 5)};
        rc = each(arg, &row);
    }
    return db_end(&q, rc);
}

int evidence_targets(struct store *store, int64_t product_id, int32_t day,
                     evidence_target_each each, void *arg, struct error *err)
{
    static const char SQL[] =
        "SELECT t.quantity_id, q.name, t.target, t.low, t.high FROM target t"
        " JOIN quantity q ON q.id = t.quantity_id WHERE t.product_id = ?1 AND t.from_day = (SELECT"
        " max(n.from_day) FROM target n WHERE n.product_id = ?1 AND n.quantity_id = t.quantity_id"
        " AND n.from_day <= ?2) ORDER BY t.quantity_id";
    struct db_query q = db_query(store, SQL, DB(DB_INT(product_id), DB_INT(day)), err);
    int rc = 0;
    while (!rc && db_next(&q)) {
        struct evidence_target row = {db_int64(&q, 0), db_text(&q, 1), db_real(&q, 2),
                                      db_real(&q, 3), db_real(&q, 4)};
        rc = each(arg, &row);
    }
    return db_end(&q, rc);
}

int evidence_mixes(struct store *store, int64_t lot_id, evidence_mix_each each, void *arg,
                   struct error *err)
{
    static const char SQL[] =
        "SELECT mix, at_ms, flour_kg FROM mix WHERE lot_id = ?1 ORDER BY at_ms, mix";
    struct db_query q = db_query(store, SQL, DB(DB_INT(lot_id)), err);
    int rc = 0;
    while (!rc && db_next(&q)) {
        struct evidence_mix row = {db_text(&q, 0), db_ms(&q, 1), db_real(&q, 2)};
        rc = each(arg, &row);
    }
    return db_end(&q, rc);
}

int evidence_uses(struct store *store, int64_t lot_id, evidence_use_each each, void *arg,
                  struct error *err)
{
    static const char SQL[] = "SELECT material, material_lot, mix, amount, unit, active_pct,"
                              " supplier, kind, applied FROM material_use WHERE lot_id = ?1"
                              " ORDER BY material, material_lot, mix";
    struct db_query q = db_query(store, SQL, DB(DB_INT(lot_id)), err);
    int rc = 0;
    while (!rc && db_next(&q)) {
        struct evidence_use row = {db_text(&q, 0), db_text(&q, 1), db_text(&q, 2),
                                   db_text(&q, 4), db_text(&q, 6), db_text(&q, 7),
                                   db_text(&q, 8), db_real(&q, 3), db_real(&q, 5)};
        rc = each(arg, &row);
    }
    return db_end(&q, rc);
}

int evidence_material_first(struct store *store, const char *material, const char *material_lot,
                            int64_t *ret_ms, struct error *err)
{
    static const char SQL[] =
        "SELECT first_ms FROM material_first WHERE material = ?1 AND material_lot = ?2";
    struct db_query q = db_query(store, SQL, DB(DB_TEXT(material), DB_TEXT(material_lot)), err);
    *ret_ms = db_next(&q) ? db_ms(&q, 0) : WHEN_UNKNOWN_MS;
    return db_end(&q, 0);
}

int evidence_plantlog(struct store *store, const struct evidence_spot *spot, struct when_span span,
                      evidence_entry_each each, void *arg, struct error *err)
{
    /* a list to be IN would be put into a table of its own, each time it is asked */
    static const char SQL[] =
        "SELECT e.at_ms, e.line, e.value FROM (SELECT ?6 AS plant, ?3 AS line"
        " UNION ALL SELECT ?6, '' WHERE ?3 <> '' UNION ALL SELECT '', ?3 WHERE ?6 <> ''"
        " UNION ALL SELECT '', '' WHERE ?3 <> '' AND ?6 <> '') w CROSS JOIN plantlog e"
        " WHERE e.place = ?1 AND e.quantity_id = (SELECT id FROM quantity WHERE name = ?2)"
        " AND e.plant = w.plant AND e.line = w.line AND e.at_ms >= ?4 AND e.at_ms < ?5"
        " ORDER BY e.at_ms, e.line, e.plant";
    struct db_query q =
        db_query(store, SQL,
                 DB(DB_TEXT(spot->place), DB_TEXT(spot->quantity), DB_TEXT(spot->line),
                    DB_INT(span.from_ms), DB_INT(span.to_ms), DB_TEXT(spot->plant)),
                 err);
    int rc = 0;
    while (!rc && db_next(&q)) {
        struct evidence_entry row = {db_ms(&q, 0), db_text(&q, 1), db_real(&q, 2)};
        rc = each(arg, &row);
    }
    return db_end(&q, rc);
}

static int each_dispatch(struct db_query *q, evidence_dispatch_each each, void *arg)
{
    int rc = 0;
    while (!rc && db_next(q)) {
        struct evidence_dispatch row = {db_text(q, 0),  db_text(q, 1), db_text(q, 2), db_ms(q, 3),
                                        db_int64(q, 4), db_real(q, 5), db_int64(q, 6)};
        rc = each(arg, &row);
    }
    return db_end(q, rc);
}

int evidence_dispatches(struct store *store, int64_t lot_id, evidence_dispatch_each each, void *arg,
                        struct error *err)
{
    static const char SQL[] = "SELECT route, store, coalesce(retailer, ''), at_ms, units,"
                              " transit_c, lot_id FROM dispatch"
                              " WHERE lot_id = ?1 ORDER BY route, store, at_ms";
    struct db_query q = db_query(store, SQL, DB(DB_INT(lot_id)), err);
    return each_dispatch(&q, each, arg);
}

#define PACKED                                                                                     \
    "SELECT id, product_id, line, shift, packed_from_ms, packed_to_ms, units, plant FROM lot"      \
    " WHERE packed_from_ms >= ?1 AND packed_from_ms < ?2"

static int each_packed(struct store *store, const char *sql, struct when_span span,
                       evidence_packed_each each, void *arg, struct error *err)
{
    struct db_query q = db_query(store, sql, DB(DB_INT(span.from_ms), DB_INT(span.to_ms)), err);
    int rc = 0;
    while (!rc && db_next(&q)) {
        struct evidence_packed row = {db_int64(&q, 0), db_int64(&q, 1), db_ms(&q, 4),
                                      db_ms(&q, 5),    db_int64(&q, 6), db_text(&q, 7),
                                      db_text(&q, 2),  db_text(&q, 3)};
        rc = each(arg, &row);
    }
    return db_end(&q, rc);
}

int evidence_packed(struct store *store, struct when_span span, evidence_packed_each each,
                    void *arg, struct error *err)
{
    static const char SQL[] = PACKED " ORDER BY packed_from_ms, id";
    return each_packed(store, SQL, span, each, arg, err);
}

int evidence_packed_any(struct store *store, struct when_span span, evidence_packed_each each,
                        void *arg, struct error *err)
{
    static const char SQL[] = PACKED;
    return each_packed(store, SQL, span, each, arg, err);
}

int evidence_lots_of_product(struct store *store, const struct evidence_made_at *of,
                             struct when_span span, struct store_ids *ret, struct error *err)
{
    static const char SQL[] = "SELECT id FROM lot WHERE product_id = ?1 AND packed_from_ms >= ?2"
                              " AND packed_from_ms < ?3 AND plant = ?5"
                              " ORDER BY packed_from_ms DESC, id LIMIT ?4";
    return db_ids(store, SQL,
                  DB(DB_INT(of->product_id), DB_INT(span.from_ms), DB_INT(span.to_ms),
                     DB_INT(ret->capacity), DB_TEXT(of->plant)),
                  ret, err);
}

static int each_share(struct store *store, const char *sql, const struct db_value *with,
                      evidence_share_each each, void *arg, struct error *err)
{
    struct db_query q = db_query(store, sql, with, err);
    int rc = 0;
    while (!rc && db_next(&q)) {
        struct evidence_share row = {db_int64(&q, 0), db_int64(&q, 4), db_ms(&q, 5), db_text(&q, 1),
                                     db_text(&q, 2),  db_text(&q, 3),  NULL};
        rc = each(arg, &row);
    }
    return db_end(&q, rc);
}

#define SHARED_MIX "SELECT m.lot_id, 'mix', m.mix, '', 0, m.at_ms FROM "
#define SHARED_USE                                                                                 \
    "SELECT DISTINCT u.lot_id, u.material, u.material_lot, coalesce(u.supplier, ''), 0, NULL"
#define PACKED_THEN " WHERE l.packed_from_ms >= ?1 AND l.packed_from_ms < ?2"

#define MADE_MIX SHARED_MIX "lot l CROSS JOIN mix m ON m.lot_id = l.id" PACKED_THEN
#define USED " FROM lot l CROSS JOIN material_use u ON u.lot_id = l.id" PACKED_THEN

int evidence_made(struct store *store, struct when_span span, evidence_share_each each, void *arg,
                  struct error *err)
{
    static const char SQL_MIX[] = MADE_MIX " ORDER BY l.packed_from_ms, l.id";
    static const char SQL_USE[] =
        SHARED_USE ", l.packed_from_ms" USED " ORDER BY l.packed_from_ms, u.lot_id";
    const struct db_value *with = DB(DB_INT(span.from_ms), DB_INT(span.to_ms));
    int rc = each_share(store, SQL_MIX, with, each, arg, err);
    return rc ? rc : each_share(store, SQL_USE, with, each, arg, err);
}

int evidence_made_any(struct store *store, struct when_span span, evidence_share_each each,
                      void *arg, struct error *err)
{
    static const char SQL_MIX[] = MADE_MIX, SQL_USE[] = SHARED_USE USED;
    const struct db_value *with = DB(DB_INT(span.from_ms), DB_INT(span.to_ms));
    int rc = each_share(store, SQL_MIX, with, each, arg, err);
    return rc ? rc : each_share(store, SQL_USE, with, each, arg, err);
}

int evidence_preserving(struct store *store, struct when_span span,
                        const struct evidence_line *line, evidence_share_each each, void *arg,
                        struct error *err)
{
    static const char SQL[] =
        "SELECT DISTINCT u.lot_id, 'preserving', u.kind || CASE u.applied WHEN 'surface' THEN"
        " ' on the surface' ELSE '' END, '', l.units, NULL, l.packed_from_ms FROM lot l CROSS JOIN "
        "material_use u"
        " ON u.lot_id = l.id" PACKED_THEN " AND u.kind IS NOT NULL"
        " AND (?3 = '' OR l.line = ?3) AND (?4 = '' OR l.plant = ?4)"
        " ORDER BY l.packed_from_ms, u.lot_id";
    return each_share(
        store, SQL,
        DB(DB_INT(span.from_ms), DB_INT(span.to_ms), DB_TEXT(line->line), DB_TEXT(line->plant)),
        each, arg, err);
}

int evidence_made_of(struct store *store, int64_t lot_id, evidence_share_each each, void *arg,
                     struct error *err)
{
    static const char SQL_MIX[] = SHARED_MIX "mix m WHERE m.lot_id = ?1";
    static const char SQL_USE[] = SHARED_USE " FROM material_use u WHERE u.lot_id = ?1";
    int rc = each_share(store, SQL_MIX, DB(DB_INT(lot_id)), each, arg, err);
    return rc ? rc : each_share(store, SQL_USE, DB(DB_INT(lot_id)), each, arg, err);
}

int evidence_traded(struct store *store, struct when_span span, evidence_share_each each, void *arg,
                    struct error *err)
{
    static const char SQL_ROUTE[] =
        "SELECT l.id, 'route', d.route, '', sum(d.units), min(d.at_ms) FROM lot l"
        " CROSS JOIN dispatch d ON d.lot_id = l.id" PACKED_THEN
        " GROUP BY l.packed_from_ms, l.id, d.route ORDER BY l.packed_from_ms, l.id, d.route";
    static const char SQL_STORE[] =
        "SELECT l.id, 'store', d.store, max(d.route), sum(d.units), min(d.at_ms) FROM lot l"
        " CROSS JOIN dispatch d ON d.lot_id = l.id" PACKED_THEN
        " AND d.store <> '' GROUP BY l.packed_from_ms, l.id, d.store"
        " ORDER BY l.packed_from_ms, l.id, d.store";
    const struct db_value *with = DB(DB_INT(span.from_ms), DB_INT(span.to_ms));
    int rc = each_share(store, SQL_ROUTE, with, each, arg, err);
    return rc ? rc : each_share(store, SQL_STORE, with, each, arg, err);
}

int evidence_named(struct store *store, struct when_span span, evidence_named_each each, void *arg,
                   struct error *err)
{
    static const char SQL[] =
        "SELECT l.id, l.lot, p.product FROM lot l CROSS JOIN product p"
        " ON p.id = l.product_id" PACKED_THEN " ORDER BY l.packed_from_ms, l.id";
    struct db_query q = db_query(store, SQL, DB(DB_INT(span.from_ms), DB_INT(span.to_ms)), err);
    int rc = 0;
    while (!rc && db_next(&q)) {
        struct evidence_named row = {db_int64(&q, 0), db_text(&q, 1), db_text(&q, 2)};
        rc = each(arg, &row);
    }
    return db_end(&q, rc);
}

int evidence_sent(struct store *store, struct when_span span, evidence_dispatch_each each,
                  void *arg, struct error *err)
{
    static const char SQL[] =
        "SELECT d.route, d.store, coalesce(d.retailer, ''), d.at_ms, d.units, d.transit_c, l.id"
        " FROM lot l"
        " CROSS JOIN dispatch d ON d.lot_id = l.id" PACKED_THEN
        " ORDER BY l.packed_from_ms, l.id, d.route, d.store, d.at_ms";
    struct db_query q = db_query(store, SQL, DB(DB_INT(span.from_ms), DB_INT(span.to_ms)), err);
    return each_dispatch(&q, each, arg);
}

int evidence_sharers(struct store *store, const struct evidence_share *of, int limit,
                     evidence_sharer_each each, void *arg, struct error *err)
{
    static const char SQL_MIX[] =
        "SELECT l.id, l.packed_from_ms, l.product_id, 1 FROM mix m CROSS JOIN lot l"
        " ON l.id = m.lot_id WHERE m.mix = ?2 AND m.at_ms = ?3 AND l.plant = ?4 LIMIT ?1";
    static const char SQL_USE[] =
        "SELECT DISTINCT l.id, l.packed_from_ms, l.product_id, CASE WHEN l.plant = ?4 THEN 1 ELSE 0"
        " END FROM material_use u CROSS JOIN lot l ON l.id = u.lot_id WHERE u.material = ?3 AND "
        "u.material_lot = ?2 LIMIT ?1";
    bool is_mix = strcmp(of->kind, "mix") == 0;
    const struct db_value level = DB_TEXT(of->level), most = DB_INT(limit);
    const struct db_value plant = DB_TEXT(of->plant ? of->plant : "");
    struct db_query q =
        is_mix ? db_query(store, SQL_MIX, DB(most, level, DB_MS(of->at_ms), plant), err)
               : db_query(store, SQL_USE, DB(most, level, DB_TEXT(of->kind), plant), err);
    int rc = 0;
    while (!rc && db_next(&q)) {
        struct evidence_sharer row = {db_int64(&q, 0), db_ms(&q, 1), db_int64(&q, 2),
                                      db_int(&q, 3) != 0};
        rc = each(arg, &row);
    }
    return db_end(&q, rc);
}

int evidence_units(struct store *store, struct when_span span, int64_t *ret, struct error *err)
{
    static const char SQL[] = "SELECT sum(units) FROM lot l" PACKED_THEN;
    return db_number(store, SQL, DB(DB_INT(span.from_ms), DB_INT(span.to_ms)), ret, err);
}

static int each_report(struct db_query *q, evidence_report_each each, void *arg)
{
    int rc = 0;
    while (!rc && db_next(q)) {
        struct evidence_report row = {db_int64(q, 0), db_ms(q, 1), db_text(q, 2), db_text(q, 3)};
        rc = each(arg, &row);
    }
    return db_end(q, rc);
}

int evidence_day_reports(struct store *store, const char *symptom, int32_t packed_day,
                         evidence_report_each each, void *arg, struct error *err)
{
    static const char SQL[] =
        "SELECT c.lot_id, c.received_ms, c.store, c.route FROM company_count n CROSS JOIN complaint"
        " c ON c.lot_id = n.lot_id AND c.symptom = n.symptom AND c.received_ms = n.received_ms"
        " WHERE n.symptom = ?1 AND n.packed_day = ?2 AND n.n > 0 AND c.withdrawn_ms IS NULL"
        " ORDER BY n.lot_id, n.received_ms";
    struct db_query q = db_query(store, SQL, DB(DB_TEXT(symptom), DB_INT(packed_day)), err);
    return each_report(&q, each, arg);
}

int evidence_reports(struct store *store, const char *symptom, struct when_span span,
                     evidence_report_each each, void *arg, struct error *err)
{
    static const char SQL[] =
        "SELECT c.lot_id, c.received_ms, c.store, c.route FROM lot l CROSS JOIN complaint c"
        " ON c.lot_id = l.id AND c.symptom = ?1 WHERE l.packed_from_ms >= ?2 AND"
        " l.packed_from_ms < ?3 AND c.withdrawn_ms IS NULL"
        " ORDER BY l.packed_from_ms, l.id, c.received_ms, c.id";
    struct db_query q =
        db_query(store, SQL, DB(DB_TEXT(symptom), DB_INT(span.from_ms), DB_INT(span.to_ms)), err);
    return each_report(&q, each, arg);
}

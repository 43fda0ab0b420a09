#include "store/evidence.h"
#include "store/db.h"
#include <stdio.h>

int evidence_lot(struct store *store, int64_t lot_id, struct evidence_lot *ret, struct error *err)
{
    static const char SQL[] =
        "SELECT l.lot, l.plant, l.line, l.shift, l.product_id, l.made_from_ms, l.made_to_ms,"
        " l.packed_from_ms, l.packed_to_ms, l.units, l.code_day, p.product, p.name, p.family,"
        " p.shelf_life_days, p.unit_g FROM lot l JOIN product p ON p.id = l.product_id"
        " WHERE l.id = ?1";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, lot_id);
    int rc = db_step(store, st, err);
    if (rc == 1) {
        struct evidence_lot lot = {.lot_id = lot_id,
                                   .product_id = sqlite3_column_int64(st, 4),
                                   .made_from_ms = db_ms(st, 5),
                                   .made_to_ms = db_ms(st, 6),
                                   .packed_from_ms = db_ms(st, 7),
                                   .packed_to_ms = db_ms(st, 8),
                                   .units = sqlite3_column_int64(st, 9),
                                   .code_day = db_day(st, 10),
                                   .shelf_life_days = sqlite3_column_int(st, 14),
                                   .unit_g = db_real(st, 15)};
        snprintf(lot.lot, sizeof lot.lot, "%s", db_text(st, 0));
        snprintf(lot.plant, sizeof lot.plant, "%s", db_text(st, 1));
        snprintf(lot.line, sizeof lot.line, "%s", db_text(st, 2));
        snprintf(lot.shift, sizeof lot.shift, "%s", db_text(st, 3));
        snprintf(lot.product, sizeof lot.product, "%s", db_text(st, 11));
        snprintf(lot.name, sizeof lot.name, "%s", db_text(st, 12));
        snprintf(lot.family, sizeof lot.family, "%s", db_text(st, 13));
        *ret = lot;
    }
    db_reset(st);
    if (rc == 0)
        return error_set(err, ERROR_NOT_FOUND, "there is no such lot");
    return rc < 0 ? rc : 0;
}

/* Where walk() sends the rows of a statement. */
struct receiver {
    union {
        evidence_reading_each reading;
        evidence_target_each target;
        evidence_mix_each mix;
        evidence_use_each use;
        evidence_entry_each entry;
        evidence_dispatch_each dispatch;
        evidence_packed_each packed;
        evidence_share_each share;
        evidence_report_each report;
    } each;
    void *arg;
};

static int walk(struct store *store, sqlite3_stmt *st,
                int (*give)(sqlite3_stmt *st, const struct receiver *to), const struct receiver *to,
                struct error *err)
{
    int rc, answer = 0;
    while ((rc = db_step(store, st, err)) == 1 && !answer)
        answer = give(st, to);
    db_reset(st);
    return rc < 0 ? rc : answer;
}

static int give_reading(sqlite3_stmt *st, const struct receiver *to)
{
    struct evidence_reading row = {sqlite3_column_int64(st, 0),
                                   db_ms(st, 2),
                                   db_text(st, 1),
                                   db_text(st, 3),
                                   db_text(st, 4),
                                   db_text(st, 6),
                                   db_real(st, 5)};
    return to->each.reading(to->arg, &row);
}

int evidence_readings(struct store *store, int64_t lot_id, evidence_reading_each each, void *arg,
                      struct error *err)
{
    static const char SQL[] = "SELECT r.quantity_id, q.name, r.at_ms, r.mix, r.point, r.value,"
                              " r.note FROM reading r JOIN quantity q ON q.id = r.quantity_id"
                              " WHERE r.lot_id = ?1 ORDER BY r.quantity_id, r.at_ms";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, lot_id);
    return walk(store, st, give_reading, &(struct receiver){{.reading = each}, arg}, err);
}

static int give_target(sqlite3_stmt *st, const struct receiver *to)
{
    struct evidence_target row = {sqlite3_column_int64(st, 0), db_text(st, 1), db_real(st, 2),
                                  db_real(st, 3), db_real(st, 4)};
    return to->each.target(to->arg, &row);
}

int evidence_targets(struct store *store, int64_t product_id, evidence_target_each each, void *arg,
                     struct error *err)
{
    static const char SQL[] = "SELECT t.quantity_id, q.name, t.target, t.low, t.high FROM target t"
                              " JOIN quantity q ON q.id = t.quantity_id WHERE t.product_id = ?1"
                              " ORDER BY t.quantity_id";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, product_id);
    return walk(store, st, give_target, &(struct receiver){{.target = each}, arg}, err);
}

static int give_mix(sqlite3_stmt *st, const struct receiver *to)
{
    struct evidence_mix row = {db_text(st, 0), db_ms(st, 1), db_real(st, 2)};
    return to->each.mix(to->arg, &row);
}

int evidence_mixes(struct store *store, int64_t lot_id, evidence_mix_each each, void *arg,
                   struct error *err)
{
    static const char SQL[] =
        "SELECT mix, at_ms, flour_kg FROM mix WHERE lot_id = ?1 ORDER BY at_ms, mix";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, lot_id);
    return walk(store, st, give_mix, &(struct receiver){{.mix = each}, arg}, err);
}

static int give_use(sqlite3_stmt *st, const struct receiver *to)
{
    struct evidence_use row = {db_text(st, 0), db_text(st, 1), db_text(st, 2), db_text(st, 4),
                               db_text(st, 6), db_real(st, 3), db_real(st, 5)};
    return to->each.use(to->arg, &row);
}

int evidence_uses(struct store *store, int64_t lot_id, evidence_use_each each, void *arg,
                  struct error *err)
{
    static const char SQL[] = "SELECT material, material_lot, mix, amount, unit, active_pct,"
                              " supplier FROM material_use WHERE lot_id = ?1"
                              " ORDER BY material, material_lot, mix";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, lot_id);
    return walk(store, st, give_use, &(struct receiver){{.use = each}, arg}, err);
}

int evidence_material_first(struct store *store, const char *material, const char *material_lot,
                            int64_t *ret_ms, struct error *err)
{
    static const char SQL[] = "SELECT min(l.made_from_ms) FROM material_use u JOIN lot l ON l.id ="
                              " u.lot_id WHERE u.material = ?1 AND u.material_lot = ?2";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_text(st, 1, material);
    db_bind_text(st, 2, material_lot);
    int rc = db_step(store, st, err);
    if (rc >= 0)
        *ret_ms = rc ? db_ms(st, 0) : WHEN_UNKNOWN_MS;
    db_reset(st);
    return rc < 0 ? rc : 0;
}

static int give_entry(sqlite3_stmt *st, const struct receiver *to)
{
    struct evidence_entry row = {db_ms(st, 0), db_text(st, 1), db_real(st, 2)};
    return to->each.entry(to->arg, &row);
}

int evidence_plantlog(struct store *store, const char *place, const char *quantity,
                      const char *line, int64_t from_ms, int64_t to_ms, evidence_entry_each each,
                      void *arg, struct error *err)
{
    static const char SQL[] =
        "SELECT at_ms, line, value FROM plantlog WHERE place = ?1 AND quantity_id ="
        " (SELECT id FROM quantity WHERE name = ?2) AND line IN (?3, '') AND at_ms >= ?4 AND"
        " at_ms < ?5 ORDER BY at_ms, line";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_text(st, 1, place);
    db_bind_text(st, 2, quantity);
    db_bind_text(st, 3, line);
    db_bind_int(st, 4, from_ms);
    db_bind_int(st, 5, to_ms);
    return walk(store, st, give_entry, &(struct receiver){{.entry = each}, arg}, err);
}

static int give_dispatch(sqlite3_stmt *st, const struct receiver *to)
{
    struct evidence_dispatch row = {db_text(st, 0), db_text(st, 1), db_ms(st, 2),
                                    sqlite3_column_int64(st, 3), db_real(st, 4)};
    return to->each.dispatch(to->arg, &row);
}

int evidence_dispatches(struct store *store, int64_t lot_id, evidence_dispatch_each each, void *arg,
                        struct error *err)
{
    static const char SQL[] = "SELECT route, store, at_ms, units, transit_c FROM dispatch"
                              " WHERE lot_id = ?1 ORDER BY route, store, at_ms";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, lot_id);
    return walk(store, st, give_dispatch, &(struct receiver){{.dispatch = each}, arg}, err);
}

static int give_packed(sqlite3_stmt *st, const struct receiver *to)
{
    struct evidence_packed row = {sqlite3_column_int64(st, 0),
                                  sqlite3_column_int64(st, 1),
                                  db_ms(st, 4),
                                  db_ms(st, 5),
                                  sqlite3_column_int64(st, 6),
                                  db_text(st, 7),
                                  db_text(st, 2),
                                  db_text(st, 3)};
    return to->each.packed(to->arg, &row);
}

int evidence_packed(struct store *store, int64_t from_ms, int64_t to_ms, evidence_packed_each each,
                    void *arg, struct error *err)
{
    static const char SQL[] =
        "SELECT id, product_id, line, shift, packed_from_ms, packed_to_ms,"
        " units, plant FROM lot WHERE packed_from_ms >= ?1 AND packed_from_ms < ?2"
        " ORDER BY packed_from_ms, id";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, from_ms);
    db_bind_int(st, 2, to_ms);
    return walk(store, st, give_packed, &(struct receiver){{.packed = each}, arg}, err);
}

int evidence_lots_of_product(struct store *store, int64_t product_id, int64_t from_ms,
                             int64_t to_ms, int limit, int64_t *ids, int *ret_count,
                             struct error *err)
{
    static const char SQL[] = "SELECT id FROM lot WHERE product_id = ?1 AND packed_from_ms >= ?2"
                              " AND packed_from_ms < ?3 ORDER BY packed_from_ms DESC, id LIMIT ?4";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, product_id);
    db_bind_int(st, 2, from_ms);
    db_bind_int(st, 3, to_ms);
    db_bind_int(st, 4, limit);
    int rc, count = 0;
    while ((rc = db_step(store, st, err)) == 1)
        ids[count++] = sqlite3_column_int64(st, 0);
    db_reset(st);
    *ret_count = count;
    return rc;
}

static int give_share(sqlite3_stmt *st, const struct receiver *to)
{
    struct evidence_share row = {sqlite3_column_int64(st, 0),
                                 sqlite3_column_int64(st, 4),
                                 db_ms(st, 5),
                                 db_text(st, 1),
                                 db_text(st, 2),
                                 db_text(st, 3)};
    return to->each.share(to->arg, &row);
}

int evidence_shares(struct store *store, int64_t from_ms, int64_t to_ms, evidence_share_each each,
                    void *arg, struct error *err)
{
    static const char SQL_MIX[] =
        "SELECT m.lot_id, 'mix', m.mix, '', 0, m.at_ms FROM lot l CROSS JOIN mix m ON m.lot_id ="
        " l.id WHERE l.packed_from_ms >= ?1 AND l.packed_from_ms < ?2"
        " ORDER BY l.packed_from_ms, l.id";
    static const char SQL_USE[] =
        "SELECT DISTINCT u.lot_id, u.material, u.material_lot, coalesce(u.supplier, ''), 0, NULL"
        " FROM lot l CROSS JOIN material_use u ON u.lot_id = l.id"
        " WHERE l.packed_from_ms >= ?1 AND l.packed_from_ms < ?2 ORDER BY l.packed_from_ms, l.id";
    static const char SQL_ROUTE[] =
        "SELECT d.lot_id, 'route', d.route, '', sum(d.units), min(d.at_ms) FROM lot l"
        " CROSS JOIN dispatch d ON d.lot_id = l.id WHERE l.packed_from_ms >= ?1 AND"
        " l.packed_from_ms < ?2 GROUP BY l.packed_from_ms, l.id, d.route";
    static const char SQL_STORE[] =
        "SELECT d.lot_id, 'store', d.store, max(d.route), sum(d.units), min(d.at_ms) FROM lot l"
        " CROSS JOIN dispatch d ON d.lot_id = l.id WHERE l.packed_from_ms >= ?1 AND"
        " l.packed_from_ms < ?2 AND d.store <> '' GROUP BY l.packed_from_ms, l.id, d.store";
    const char *const ALL[] = {SQL_MIX, SQL_USE, SQL_ROUTE, SQL_STORE};
    for (size_t i = 0; i < sizeof ALL / sizeof ALL[0]; i++) {
        sqlite3_stmt *st = db_prepare(store, ALL[i], err);
        if (!st)
            return ERROR_IO;
        db_bind_int(st, 1, from_ms);
        db_bind_int(st, 2, to_ms);
        int rc = walk(store, st, give_share, &(struct receiver){{.share = each}, arg}, err);
        if (rc)
            return rc;
    }
    return 0;
}

static int give_report(sqlite3_stmt *st, const struct receiver *to)
{
    struct evidence_report row = {sqlite3_column_int64(st, 0), db_ms(st, 1), db_text(st, 2),
                                  db_text(st, 3)};
    return to->each.report(to->arg, &row);
}

int evidence_reports(struct store *store, const char *symptom, int64_t from_ms, int64_t to_ms,
                     evidence_report_each each, void *arg, struct error *err)
{
    static const char SQL[] =
        "SELECT c.lot_id, c.received_ms, c.store, c.route FROM lot l CROSS JOIN complaint c"
        " ON c.lot_id = l.id AND c.symptom = ?1 WHERE l.packed_from_ms >= ?2 AND"
        " l.packed_from_ms < ?3 ORDER BY l.packed_from_ms, l.id, c.received_ms, c.id";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_text(st, 1, symptom);
    db_bind_int(st, 2, from_ms);
    db_bind_int(st, 3, to_ms);
    return walk(store, st, give_report, &(struct receiver){{.report = each}, arg}, err);
}

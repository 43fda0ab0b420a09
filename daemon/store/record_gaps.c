#include "store/record_gaps.h"
#include "store/db.h"

#define OF_PLANT "(?3 IS NULL OR l.plant = ?3)"
#define PACKED "l.packed_from_ms >= ?1 AND l.packed_from_ms < ?2 AND " OF_PLANT

static const struct {
    enum record_kind kind;
    const char *sql; /* plant, line, what, lots */
} ROWS[] = {
    {RECORD_LOTS, "SELECT l.plant, l.line, '', count(*) FROM lot l WHERE " PACKED " GROUP BY 1, 2"},
    {RECORD_MIXES,
     "SELECT l.plant, l.line, '', count(DISTINCT l.id) FROM lot l JOIN mix m ON m.lot_id ="
     " l.id WHERE " PACKED " GROUP BY 1, 2"},
    {RECORD_USES,
     "WITH recipe AS (SELECT DISTINCT l.plant, l.product_id, u.material FROM lot l JOIN "
     "material_use u ON"
     " u.lot_id = l.id WHERE l.packed_from_ms >= ?1 - 2419200000 AND l.packed_from_ms < ?2)"
     " SELECT l.plant, l.line, r.material, count(DISTINCT u.lot_id), count(DISTINCT l.id) FROM lot "
     "l"
     " JOIN recipe r ON r.product_id = l.product_id AND r.plant = l.plant LEFT JOIN material_use u "
     "ON u.lot_id = l.id AND"
     " u.material = r.material WHERE " PACKED " GROUP BY 1, 2, 3"},
    {RECORD_READINGS,
     "SELECT l.plant, l.line, q.name, count(DISTINCT l.id) FROM lot l JOIN reading r ON"
     " r.lot_id = l.id JOIN quantity q ON q.id = r.quantity_id WHERE " PACKED " GROUP BY 1, 2, 3"},
    {RECORD_DISPATCH,
     "SELECT l.plant, l.line, '', count(DISTINCT l.id) FROM lot l JOIN dispatch d ON"
     " d.lot_id = l.id WHERE " PACKED " GROUP BY 1, 2"},
};

int record_gaps_has(struct store *store, int64_t lot_id, const struct without *what, bool *ret,
                    struct error *err)
{
    static const char *const HAS[RECORD_KINDS] = {
        [RECORD_MIXES] = "SELECT EXISTS(SELECT 1 FROM mix WHERE lot_id = ?1 AND ?2 = '')",
        [RECORD_USES] = "SELECT EXISTS(SELECT 1 FROM material_use WHERE lot_id = ?1 AND"
                        " material = ?2)",
        [RECORD_READINGS] = "SELECT EXISTS(SELECT 1 FROM reading WHERE lot_id = ?1 AND quantity_id"
                            " = (SELECT id FROM quantity WHERE name = ?2))",
        [RECORD_DISPATCH] = "SELECT EXISTS(SELECT 1 FROM dispatch WHERE lot_id = ?1 AND ?2 = '')",
    };
    int64_t has = 0;
    int rc = db_number(store, HAS[what->kind], DB(DB_INT(lot_id), DB_TEXT(what->what)), &has, err);
    *ret = has != 0;
    return rc;
}

int record_gaps_has_no_place(struct store *store, int64_t lot_id, const char *material, bool *ret,
                             struct error *err)
{
    static const char SQL[] =
        "SELECT EXISTS(SELECT 1 FROM material_use WHERE material = ?2) AND NOT EXISTS(SELECT 1 FROM"
        " lot l JOIN material_use u ON u.lot_id = l.id WHERE l.product_id = (SELECT product_id FROM"
        " lot WHERE id = ?1) AND u.material = ?2)";
    int64_t none = 0;
    int rc = db_number(store, SQL, DB(DB_INT(lot_id), DB_TEXT(material)), &none, err);
    *ret = none != 0;
    return rc;
}

int record_gaps_newest(struct store *store, const char *plant, int64_t *ret_ms, struct error *err)
{
    *ret_ms = WHEN_UNKNOWN_MS;
    struct db_query q = db_query(store,
                                 "SELECT packed_from_ms FROM lot WHERE ?1 IS NULL OR plant = ?1"
                                 " ORDER BY packed_from_ms DESC LIMIT 1",
                                 DB(DB_SAID(plant)), err);
    if (db_next(&q))
        *ret_ms = db_ms(&q, 0);
    return db_end(&q, 0);
}

int record_gaps_list(struct store *store, const struct record_gaps_of *of, record_gap_each each,
                     void *arg, struct error *err)
{
    int rc = 0;
    for (size_t i = 0; i < sizeof ROWS / sizeof *ROWS && !rc; i++) {
        struct db_query q = db_query(
            store, ROWS[i].sql,
            DB(DB_INT(of->packed.from_ms), DB_INT(of->packed.to_ms), DB_SAID(of->plant)), err);
        while (!rc && db_next(&q)) {
            const struct record_gap one = {
                ROWS[i].kind,    db_text(&q, 2),
                db_text(&q, 0),  db_text(&q, 1),
                db_int64(&q, 3), ROWS[i].kind == RECORD_USES ? db_int64(&q, 4) : -1};
            rc = each(arg, &one);
        }
        rc = db_end(&q, rc);
    }
    return rc;
}

int record_gaps_values(struct store *store, const struct record_gaps_of *of, record_value_each each,
                       void *arg, struct error *err)
{
    static const char SQL[] =
        "SELECT l.plant, l.line, q.name, r.at_ms, r.value FROM lot l JOIN reading r ON r.lot_id ="
        " l.id JOIN quantity q ON q.id = r.quantity_id WHERE " PACKED " ORDER BY 1, 2, 3, 4";
    struct db_query q =
        db_query(store, SQL,
                 DB(DB_INT(of->packed.from_ms), DB_INT(of->packed.to_ms), DB_SAID(of->plant)), err);
    int rc = 0;
    while (!rc && db_next(&q)) {
        const struct record_value one = {db_text(&q, 0), db_text(&q, 1), db_text(&q, 2),
                                         db_ms(&q, 3), db_real(&q, 4)};
        rc = each(arg, &one);
    }
    return db_end(&q, rc);
}

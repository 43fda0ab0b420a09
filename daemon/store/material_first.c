#include "store/material_first.h"
#include "store/db.h"

int material_first_used(struct store *store, int64_t lot_id, const char *material,
                        const char *material_lot, struct error *err)
{
    static const char SQL[] = "INSERT INTO material_first(material, material_lot, first_ms)"
                              " SELECT ?2, ?3, made_from_ms FROM lot WHERE id = ?1"
                              " ON CONFLICT(material, material_lot) DO UPDATE SET first_ms ="
                              " excluded.first_ms WHERE "
                              "excluded.first_ms < material_first.first_ms";
    return db_run(store, SQL, DB(DB_INT(lot_id), DB_TEXT(material), DB_TEXT(material_lot)), err);
}

int material_first_lot(struct store *store, int64_t lot_id, struct error *err)
{
    static const char SQL[] =
        "UPDATE material_first SET first_ms = (SELECT min(l.made_from_ms) FROM material_use u"
        " JOIN lot l ON l.id = u.lot_id WHERE u.material = material_first.material AND"
        " u.material_lot = material_first.material_lot) WHERE (material, material_lot) IN"
        " (SELECT material, material_lot FROM material_use WHERE lot_id = ?1)";
    return db_run(store, SQL, DB(DB_INT(lot_id)), err);
}

int material_first_differences(struct store *store, int64_t *ret, struct error *err)
{
    static const char SQL[] =
        "SELECT count(*) FROM (SELECT material, material_lot FROM (SELECT material, material_lot,"
        " first_ms FROM material_first UNION ALL SELECT u.material, u.material_lot,"
        " min(l.made_from_ms) FROM material_use u JOIN lot l ON l.id = u.lot_id GROUP BY 1, 2) a"
        " GROUP BY 1, 2 HAVING count(*) <> 2 OR min(first_ms) <> max(first_ms)) b";
    return db_number(store, SQL, NULL, ret, err);
}

#include "store/record_sql.h"

static const struct record_sql SQL[RECORD_KINDS] = {
    [RECORD_PRODUCTS] =
        {"INSERT INTO product(product, name, family, shelf_life_days, unit_g, gtin, also)"
         " VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7) ON CONFLICT DO NOTHING",
         "SELECT name, family, shelf_life_days, unit_g, gtin, also FROM product WHERE product = ?1",
         "UPDATE product SET name = ?2, family = ?3, shelf_life_days = ?4, unit_g = ?5, gtin = ?6,"
         " also = ?7 WHERE product = ?1"},
    [RECORD_TARGETS] = {"INSERT INTO target(product_id, quantity_id, from_day, target, low, high)"
                        " VALUES(?1, ?2, ?3, ?4, ?5, ?6) ON CONFLICT DO NOTHING",
                        "SELECT target, low, high FROM target"
                        " WHERE product_id = ?1 AND quantity_id = ?2 AND from_day = ?3",
                        "UPDATE target SET target = ?4, low = ?5, high = ?6"
                        " WHERE product_id = ?1 AND quantity_id = ?2 AND from_day = ?3"},
    [RECORD_LOTS] = {"INSERT INTO lot(lot, product_id, line, made_from_ms, made_to_ms,"
                     " packed_from_ms, packed_to_ms, units, code_day, shift, plant, fold)"
                     " VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12)"
                     " ON CONFLICT DO NOTHING",
                     "SELECT product_id, line, made_from_ms, made_to_ms, packed_from_ms,"
                     " packed_to_ms, units, code_day, shift, plant, fold FROM lot WHERE lot = ?1",
                     "UPDATE lot SET product_id = ?2, line = ?3, made_from_ms = ?4,"
                     " made_to_ms = ?5, packed_from_ms = ?6, packed_to_ms = ?7, units = ?8,"
                     " code_day = ?9, shift = ?10, plant = ?11, fold = ?12 WHERE lot = ?1"},
    [RECORD_MIXES] = {"INSERT INTO mix(lot_id, mix, at_ms, flour_kg) VALUES(?1, ?2, ?3, ?4)"
                      " ON CONFLICT DO NOTHING",
                      "SELECT at_ms, flour_kg FROM mix WHERE lot_id = ?1 AND mix = ?2",
                      "UPDATE mix SET at_ms = ?3, flour_kg = ?4 WHERE lot_id = ?1 AND mix = ?2"},
    [RECORD_USES] = {"INSERT INTO material_use(lot_id, material, material_lot, mix, amount, unit,"
                     " active_pct, supplier, kind, applied)"
                     " VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10) ON CONFLICT DO NOTHING",
                     "SELECT amount, unit, active_pct, supplier, kind, applied FROM material_use"
                     " WHERE lot_id = ?1 AND material = ?2 AND material_lot = ?3 AND mix = ?4",
                     "UPDATE material_use SET amount = ?5, unit = ?6, active_pct = ?7,"
                     " supplier = ?8, kind = ?9, applied = ?10"
                     " WHERE lot_id = ?1 AND material = ?2 AND material_lot = ?3 AND mix = ?4"},
    [RECORD_READINGS] = {"INSERT INTO reading(lot_id, quantity_id, at_ms, mix, point, value, note)"
                         " VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7) ON CONFLICT DO NOTHING",
                         "SELECT value, note FROM reading WHERE lot_id = ?1 AND quantity_id = ?2"
                         " AND at_ms = ?3 AND mix = ?4 AND point = ?5",
                         "UPDATE reading SET value = ?6, note = ?7 WHERE lot_id = ?1"
                         " AND quantity_id = ?2 AND at_ms = ?3 AND mix = ?4 AND point = ?5"},
    [RECORD_PLANTLOG] = {"INSERT INTO plantlog(place, quantity_id, plant, line, at_ms, value, note)"
                         " VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7) ON CONFLICT DO NOTHING",
                         "SELECT value, note FROM plantlog WHERE place = ?1 AND quantity_id = ?2"
                         " AND plant = ?3 AND line = ?4 AND at_ms = ?5",
                         "UPDATE plantlog SET value = ?6, note = ?7 WHERE place = ?1"
                         " AND quantity_id = ?2 AND plant = ?3 AND line = ?4 AND at_ms = ?5"},
    [RECORD_DISPATCH] = {"INSERT INTO dispatch(lot_id, route, store, at_ms, units, transit_c,"
                         " retailer) VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7) ON CONFLICT DO NOTHING",
                         "SELECT units, transit_c, retailer FROM dispatch WHERE lot_id = ?1"
                         " AND route = ?2 AND store = ?3 AND at_ms = ?4",
                         "UPDATE dispatch SET units = ?5, transit_c = ?6, retailer = ?7"
                         " WHERE lot_id = ?1 AND route = ?2 AND store = ?3 AND at_ms = ?4"},
};

const struct record_sql *record_sql(enum record_kind kind)
{
    return &SQL[kind];
}

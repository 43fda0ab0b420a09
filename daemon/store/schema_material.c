/* When each lot of a material was first used (store/material_first.h). */
#include "store/schema.h"

const char SCHEMA_MATERIAL_FIRST[] =
    "CREATE TABLE material_first(material TEXT NOT NULL, material_lot TEXT NOT NULL,"
    " first_ms INTEGER NOT NULL, PRIMARY KEY(material, material_lot)) STRICT, WITHOUT ROWID;"
    "INSERT INTO material_first SELECT u.material, u.material_lot, min(l.made_from_ms)"
    " FROM material_use u JOIN lot l ON l.id = u.lot_id GROUP BY 1, 2;";

/* Who shares a mix is found by its time, too (plants number mixes anew every day), and the lots of
 * a stretch by one index that says all that is counted of them. */
const char SCHEMA_COMPANY_LOTS[] =
    "DROP INDEX mix_mix; CREATE INDEX mix_mix ON mix(mix, at_ms);"
    "DROP INDEX lot_packed; CREATE INDEX lot_packed ON lot(packed_from_ms, fold, product_id, line,"
    " shift, packed_to_ms, units, plant);";

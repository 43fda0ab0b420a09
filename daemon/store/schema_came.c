/* When a lot's first record of each kind came (store/record_came.h). Of what is there already that
 * is not known: NULL, so that a further row of it is not taken for the first. */
#include "store/schema.h"

const char SCHEMA_CAME[] =
    "CREATE TABLE record_came(lot_id INTEGER NOT NULL REFERENCES lot, kind TEXT NOT NULL, came_ms"
    " INTEGER, PRIMARY KEY(lot_id, kind)) STRICT, WITHOUT ROWID;"
    "INSERT INTO record_came SELECT id, 'lots', NULL FROM lot;"
    "INSERT INTO record_came SELECT DISTINCT lot_id, 'mixes', NULL FROM mix;"
    "INSERT INTO record_came SELECT DISTINCT lot_id, 'uses', NULL FROM material_use;"
    "INSERT INTO record_came SELECT DISTINCT lot_id, 'readings', NULL FROM reading;"
    "INSERT INTO record_came SELECT DISTINCT lot_id, 'dispatch', NULL FROM dispatch;";

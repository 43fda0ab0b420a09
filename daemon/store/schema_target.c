/* Step 15: from which day on a target holds, for a recipe that was another before. 0: from the
 * first lot on, as all did until then. */
#include "store/schema.h"

const char SCHEMA_TARGET[] =
    "CREATE TABLE target_next(product_id INTEGER NOT NULL REFERENCES product, quantity_id INTEGER"
    " NOT NULL REFERENCES quantity, from_day INTEGER NOT NULL DEFAULT 0, target REAL NOT NULL,"
    " low REAL, high REAL, PRIMARY KEY(product_id, quantity_id, from_day)) STRICT, WITHOUT ROWID;"
    "INSERT INTO target_next(product_id, quantity_id, target, low, high)"
    " SELECT product_id, quantity_id, target, low, high FROM target;"
    "DROP TABLE target;"
    "ALTER TABLE target_next RENAME TO target;";

/* Step 12: what a changed row of records became, and what else a product is or was called, so that
 * a name or a code of before is understood wherever one is typed (lots/product_named.h). A column
 * of its record: it is loaded, exported and kept in history with the rest of it. */
#include "store/schema.h"

const char SCHEMA_NAME[] = "ALTER TABLE product ADD COLUMN also TEXT;"
                           "CREATE INDEX product_also ON product(also) WHERE also IS NOT NULL;"
                           /* the columns that changed, JSON; NULL of rows of before */
                           "ALTER TABLE replaced_row ADD COLUMN now TEXT;";

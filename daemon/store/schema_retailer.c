/* Step 16: whose store a delivery went to. A column of its record: loaded, exported and kept in
 * history with the rest of it. NULL: not told. */
#include "store/schema.h"

const char SCHEMA_RETAILER[] = "ALTER TABLE dispatch ADD COLUMN retailer TEXT;";

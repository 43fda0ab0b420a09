/* Step 14: what kind of preserving ingredient a use is of, and where it was applied. Columns of its
 * record: loaded, exported and kept in history with the rest of it. NULL: not told. */
#include "store/schema.h"

const char SCHEMA_PRESERVER[] = "ALTER TABLE material_use ADD COLUMN kind TEXT;"
                                "ALTER TABLE material_use ADD COLUMN applied TEXT"
                                " CHECK(applied IN ('dough', 'surface'));";

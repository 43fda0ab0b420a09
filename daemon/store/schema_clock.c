/* Step 19: where weeks begin at a plant whose time zone is not the company's (pattern_week has
 * those of all others): what is a plant's is counted by its own Mondays. */
#include "store/schema.h"

const char SCHEMA_CLOCK[] =
    "CREATE TABLE pattern_clock(plant TEXT NOT NULL, from_ms INTEGER NOT NULL,"
    " week INTEGER NOT NULL, PRIMARY KEY(plant, from_ms)) STRICT, WITHOUT ROWID;";

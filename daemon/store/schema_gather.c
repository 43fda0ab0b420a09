/* Step 13: urgent mails of one case that tell no new kind of harm wait for each other. */
#include "store/schema.h"

/* taken_up: one that gathers is as it leaves, or may be: nothing is added to it any more. */
const char SCHEMA_GATHER[] = "ALTER TABLE outbox ADD COLUMN not_before_ms INTEGER;"
                             "ALTER TABLE outbox ADD COLUMN taken_up INTEGER NOT NULL DEFAULT 0;";

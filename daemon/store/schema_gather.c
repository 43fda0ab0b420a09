/* Step 13: urgent mails of one case that tell no new kind of harm wait for each other. */
#include "store/schema.h"

const char SCHEMA_GATHER[] = "ALTER TABLE outbox ADD COLUMN not_before_ms INTEGER;";

/* Step 10: harm that is reported of a case after it was settled is not settled with it. */
#include "store/schema.h"

const char SCHEMA_HARM_CASES[] =
    "ALTER TABLE complaint_case ADD COLUMN harm_unseen INTEGER NOT NULL DEFAULT 0"
    " CHECK(harm_unseen IN (0, 1));";

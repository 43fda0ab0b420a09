/* Step 12: whether QA's mail of a case told harm. Who was mailed a case before is mailed again when
 * harm is reported; of older files only what is reported from now on. */
#include "store/schema.h"

const char SCHEMA_HARM_TOLD[] =
    "ALTER TABLE ranking ADD COLUMN harm INTEGER NOT NULL DEFAULT 0 CHECK(harm IN (0, 1));"
    "UPDATE ranking SET harm = 1 WHERE EXISTS (SELECT 1 FROM complaint_case c"
    " WHERE c.id = ranking.case_id AND c.harm);";

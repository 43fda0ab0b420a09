/* Step 14: what the plant wrote is found by the case it is about: whoever calls and gives a name
 * has it looked through (noted.h). */
#include "store/schema.h"

const char SCHEMA_NOTED[] =
    "CREATE INDEX hold_case ON hold(case_id) WHERE case_id IS NOT NULL;"
    "CREATE INDEX measured_case ON measured(case_id) WHERE case_id IS NOT NULL;"
    "CREATE INDEX measured_lot ON measured(lot_id);"
    "CREATE INDEX verdict_case ON verdict(case_id);";

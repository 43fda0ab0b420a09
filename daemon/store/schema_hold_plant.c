/* Step 18: whose a hold is of a code that no lot bears is a column of its row. Before, it was a
 * setting beside the numbers of holds, 'hold/plant/7'. */
#include "store/schema.h"

/* clang-format off */
const char SCHEMA_HOLD_PLANT[] =
    "ALTER TABLE hold ADD COLUMN plant TEXT NOT NULL DEFAULT '';"
    "UPDATE hold SET plant = coalesce((SELECT s.value FROM setting s WHERE s.key = 'hold/plant/' ||"
    " hold.id), '') WHERE EXISTS (SELECT 1 FROM setting s WHERE s.key = 'hold/plant/' || hold.id);"
    "DELETE FROM setting WHERE key LIKE 'hold/plant/%';";
/* clang-format on */

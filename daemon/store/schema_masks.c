/* Steps 12 to 14: names are found in more writings (13: in all Latin letters), and (14) who called
 * by the story alone, and whom it names besides. Reports are looked through again from the first
 * entry on (desk/older.h), and their keys are made anew. */
#include "store/schema.h"

const char SCHEMA_MASKS[] =
    "INSERT INTO setting(key, value) SELECT 'apart/after', '0' WHERE EXISTS (SELECT 1 FROM entry)"
    " ON CONFLICT(key) DO UPDATE SET value = excluded.value;";

/* Step 15: what a case's causes have of each of its complaints is read out of the ranking's text at
 * once, as JSON. Every cause looked for in it took a fifth of what logging a complaint did. */
#include "store/schema.h"

/* clang-format off */
#define PAIRS "'{\"' || replace(replace(trim(r.causes, ';'), ':', '\":'), ';', ',\"') || '}'"

/* The verdict's all of it, or else as the newest ranking says (schema_size.c). */
const char SCHEMA_SHARE[] =
    "DROP VIEW pattern_share;"
    "CREATE VIEW pattern_share AS SELECT c.id AS case_id, s.id AS series_id, j.value AS n"
    " FROM complaint_case c LEFT JOIN verdict v ON v.case_id = c.id AND v.reopened_ms IS NULL"
    " LEFT JOIN ranking r ON r.case_id = c.id AND r.revision = c.revision AND v.id IS NULL"
    " CROSS JOIN json_each(CASE WHEN v.id IS NOT NULL THEN '{\"0\":1000000}'"
    " WHEN length(r.causes) > 1 THEN " PAIRS " ELSE '{}' END) j"
    " CROSS JOIN pattern_series s ON s.factor = 'cause' AND s.level = CASE WHEN v.id IS NULL THEN"
    " (SELECT k.name FROM cause k WHERE k.id = CAST(j.key AS INTEGER)) ELSE v.cause END"
    " AND s.symptom = c.symptom WHERE j.value >= 100;";
/* clang-format on */

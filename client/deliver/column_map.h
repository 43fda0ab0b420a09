/* Which column of the file is which field, and which of the file's words are ours:
 *   {"columns": {"Cust Ref": "note", "Defect": "symptom", "Internal": "-"},
 *    "values": {"symptom": {"Mould": "mold", "Stale bread": "staling"}},
 *    "dates": {"code_date": "DD.MM.YYYY", "received_at": "MM/DD/YY hh:mm"}}
 * "-" leaves a column out. "dates" says how the file writes a field's dates: YYYY or YY (of this
 * century), MM, DD, hh and mm (by the plant's clock) stand for their digits, a number
 * may lack its leading zero, all else stands for itself. What isn't written so is refused: nothing
 * is guessed then. */
#ifndef ODDLOAF_CLIENT_DELIVER_COLUMN_MAP_H
#define ODDLOAF_CLIENT_DELIVER_COLUMN_MAP_H

#include "base/error.h"
#include <stdbool.h>
#include <stddef.h>

struct column_map;

struct column_map *column_map_new(void);
void column_map_free(struct column_map *map);
/* "COLUMN=FIELD", or the path of a JSON file as above. */
int column_map_add(struct column_map *map, const char *text, struct error *err);
/* The field a column stands for; NULL if it is neither mapped nor a field's own name. *ret_skip
 * is set for a column that is left out on purpose. */
const char *column_map_field(const struct column_map *map, const char *column, bool *ret_skip);
/* The unit of a header like "core_at_pack [degF]", written to `unit`; NULL if it carries none.
 * *ret_bare: length of the name before it. */
#define COLUMN_UNIT 24
const char *column_map_unit(const char *column, char unit[static COLUMN_UNIT], size_t *ret_bare);
/* Whether a form is declared for the field's dates; then `cell` read by it is in `out`,
 * "2026-11-27" or "2026-11-27 09:14", as form_set() takes it. ERROR_INVALID (with field and value):
 * it is not written so. */
#define COLUMN_DATE 64
int column_map_date(const struct column_map *map, const char *field, const char *cell,
                    bool *ret_declared, char out[static COLUMN_DATE], struct error *err);
/* Our word for the file's word in a field; `value` itself if the map has none. */
const char *column_map_value(const struct column_map *map, const char *field, const char *value);

#endif

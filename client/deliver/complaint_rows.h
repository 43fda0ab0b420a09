/* Complaints in a file, one a row: CSV with a column map, or JSON lines. */
#ifndef ODDLOAF_CLIENT_DELIVER_COMPLAINT_ROWS_H
#define ODDLOAF_CLIENT_DELIVER_COMPLAINT_ROWS_H

#include "deliver/source.h"
#include "form/form.h"
#include <jansson.h>

/* ---- the column map ---- */

/* Which column of the file is which field, and which of the file's words are ours:
 *   {"columns": {"Cust Ref": "note", "Defect": "symptom", "Internal": "-"},
 *    "values": {"symptom": {"Mould": "mold", "Stale bread": "staling"}}}
 * "-" leaves a column out. */
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
/* Our word for the file's word in a field; `value` itself if the map has none. */
const char *column_map_value(const struct column_map *map, const char *field, const char *value);

/* ---- rows ---- */

struct row {
    long line;
    json_t *complaint;           /* NULL: the row could not be read, see `refused` */
    const struct error *refused; /* the first thing wrong with it, NULL if nothing is */
    json_t *faults; /* of the values the complaint lacks for it: complaint_form_fault() */
};

/* What the row points to is borrowed. Non-zero stops the reading and is returned. */
typedef int (*row_each)(void *arg, const struct row *row);

/* *ret_unused gets the names of columns that mean nothing to us, comma-separated (caller frees;
 * may be NULL). Errors are those of the file as a whole: no header, quotes that never end. */
int complaint_rows_csv(struct source *s, const struct column_map *map, const struct form_day *day,
                       row_each each, void *arg, char **ret_unused, struct error *err);
int complaint_rows_ndjson(struct source *s, row_each each, void *arg, struct error *err);

#endif

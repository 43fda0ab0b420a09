/* Which column of a file is which field of ours, and how the file writes things: one map for
 * complaints and for records of production.
 *   {"columns": {"Cust Ref": "note", "Defect": "symptom", "Internal": "-"},
 *    "values": {"symptom": {"Mould": "mold", "Stale bread": "staling"}},
 *    "dates": {"code_date": "DD.MM.YYYY", "received_at": "MM/DD/YY hh:mm"}}
 * "-" leaves a column out. "dates" says how the file writes a field's dates (date_form.h). What
 * isn't written so is refused: nothing is guessed then. A map of records may say more:
 *   {"kind": "lots", "header": 3, "zone": "America/Chicago", "decimal": ",", "thousands": ".",
 *    "columns": {"Charge": "lot", "Datum": ["made_from", "made_to"], "Beginn": "made_from",
 *                "Ende": "made_to", "Kerntemp": "core_at_pack [degC]"},
 *    "constants": {"plant": "north"}, "units": {"Grad": "degC"}, "needs": ["lot"]}
 * Columns that go to one of ours are joined by a blank, in the order of the map; "header" is the
 * line of the column names; "needs" passes over rows that lack one, "sheet" names one of a
 * workbook. Several kinds in one file are a list "kinds" of such objects, each with its kind,
 * loaded in that order. */
#ifndef ODDLOAF_TABLES_COLUMN_MAP_H
#define ODDLOAF_TABLES_COLUMN_MAP_H

#include "base/doc.h"
#include "base/record_kind.h"
#include "rules/catalogue.h"

struct column_map;

void column_map_free(struct column_map *map); /* NULL is fine */

/* ---- of complaints ---- */

struct column_map *column_map_new(void);
/* "COLUMN=FIELD", or the path of a JSON file as above: its first fault is in `err`. */
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

/* ---- of records ---- */

/* Reads and checks the file at `path`. `kind` is that of a map that names none, NULL if there is no
 * such; the catalogue may be NULL where it is not at hand: names of quantities are not checked
 * then. Every fault is reported with its line and column; 0, or the first one's code. */
struct column_map_source {
    const char *path;
    const char *text; /* of the map itself, `path` then only names it; or NULL */
    const enum record_kind *kind;
    const struct catalogue *catalogue;
    doc_report report; /* may be NULL */
    void *arg;
};
int column_map_load(const struct column_map_source *source, struct column_map **ret,
                    struct error *err);
int column_map_parts(const struct column_map *map); /* how many kinds it is of, 1 or more */
enum record_kind column_map_kind(const struct column_map *map, int part);
/* Which sheet of a workbook; NULL if the map names none. */
const char *column_map_sheet(const struct column_map *map);
char column_map_decimal(const struct column_map *map); /* '.' or ',' */
/* The file's column that goes to the column of ours `name` ("core_at_pack [degF]"); NULL if the map
 * names none. */
const char *column_map_column(const struct column_map *map, int part, const char *name);

#endif

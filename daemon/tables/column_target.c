/* What the names mean that a map gives columns. */
#include "base/text.h"
#include "base/units.h"
#include "intake/fields.h"
#include "tables/column_map_inside.h"
#include <stdio.h>
#include <string.h>

static const enum column_type TYPES[] = {
    [RECORD_WHEN] = COLUMN_TIME,   [RECORD_DAY] = COLUMN_DAY,      [RECORD_WHOLE] = COLUMN_NUMBER,
    [RECORD_REAL] = COLUMN_NUMBER, [RECORD_VALUE] = COLUMN_NUMBER, [RECORD_FOLD] = COLUMN_TEXT,
};

static int no_column(const struct record_table *table, struct error *err)
{
    struct text_buffer known = {0};
    for (int i = 0; i < table->count; i++)
        if (table->columns[i].type != RECORD_FOLD)
            text_appendf(&known, "%s%s", known.length ? ", " : "", table->columns[i].name);
    error_hint(err, "they are %s%s; - leaves the column out", known.data,
               strcmp(table->kind, "readings") == 0 ? ", or a quantity" : "");
    text_buffer_free(&known);
    return error_set(err, ERROR_INVALID, "no such column of %s", table->kind);
}

/* "flour" with a unit, for flour_kg; and a quantity as a column of its own. */
static int number_of(const struct record_table *table, const struct catalogue *catalogue,
                     struct column_target *target, struct error *err)
{
    const struct catalogue_quantity *quantity = NULL;
    const struct catalogue_column *column = NULL;
    const char *unit = *target->unit ? target->unit : NULL;
    bool readings = strcmp(table->kind, "readings") == 0;
    size_t length = strlen(target->name);
    bool found = readings && !catalogue;
    for (int i = 0; i < table->count; i++)
        found = found || (unit && strncmp(table->columns[i].name, target->name, length) == 0 &&
                          table->columns[i].name[length] == '_');
    int rc = catalogue ? catalogue_match_column(catalogue, target->name, unit, &column, err) : 0;
    if (!rc && catalogue && readings)
        rc = catalogue_match(catalogue, target->name, unit, &quantity, err);
    target->type = COLUMN_NUMBER;
    return rc ? rc : found || quantity ? 0 : no_column(table, err);
}

static int of_records(const struct record_table *table, const struct catalogue *catalogue,
                      struct column_target *target, struct error *err)
{
    int at = record_kind_column(table, target->name);
    if (*target->unit && !units_known(target->unit))
        return error_set(err, ERROR_INVALID, "the unit is not known");
    if (at < 0 || table->columns[at].type == RECORD_FOLD)
        return number_of(table, catalogue, target, err);
    target->type = TYPES[table->columns[at].type];
    if (*target->unit && target->type != COLUMN_NUMBER)
        return error_set(err, ERROR_INVALID, "takes no unit");
    return 0;
}

static int of_complaints(const char *text, struct column_target *target, struct error *err)
{
    const struct field *f =
        strncmp(text, "measured.", 9) == 0 && text[9] ? NULL : fields_named(text);
    target->type = COLUMN_NUMBER;
    *target->unit = '\0';
    if (strncmp(text, "measured.", 9) == 0 && text[9]) {
        snprintf(target->name, sizeof target->name, "%s", text);
        return 0;
    }
    if (!f) {
        error_hint(err, "fields are the options of `oddloaf help log`, measured.QUANTITY, or - "
                        "to leave the column out");
        return error_set(err, ERROR_INVALID, "no such field of a complaint");
    }
    snprintf(target->name, sizeof target->name, "%s", f->name);
    target->type = f->type == FIELD_PAST || f->type == FIELD_NEAR ? COLUMN_DAY
                   : f->type == FIELD_TIME                        ? COLUMN_TIME
                                                                  : COLUMN_TEXT;
    return 0;
}

const char *column_map_unit(const char *column, char unit[static COLUMN_UNIT], size_t *ret_bare)
{
    const char *bracket = strrchr(column, '[');
    const char *end = bracket ? strchr(bracket, ']') : NULL;
    size_t length = end ? (size_t)(end - bracket - 1) : 0;
    if (!end || end[1 + strspn(end + 1, " ")] || length == 0 || length >= COLUMN_UNIT)
        return NULL;
    memcpy(unit, bracket + 1, length);
    unit[length] = '\0';
    *ret_bare = (size_t)(bracket - column);
    while (*ret_bare && column[*ret_bare - 1] == ' ')
        --*ret_bare;
    return unit;
}

int column_map_target(const struct column_part *part, const struct catalogue *catalogue,
                      const char *text, struct column_target *ret, struct error *err)
{
    size_t bare = strlen(text);
    *ret = (struct column_target){.type = COLUMN_TEXT};
    if (bare >= COLUMN_NAME)
        return error_set(err, ERROR_INVALID, "is longer than %d bytes", COLUMN_NAME - 1);
    if (part->kind == COLUMN_COMPLAINTS)
        return of_complaints(text, ret, err);
    if (part->kind < 0) /* told of already */
        return 0;
    if (column_map_unit(text, ret->unit, &bare) == NULL)
        *ret->unit = '\0';
    snprintf(ret->name, sizeof ret->name, "%.*s", (int)bare, text);
    return of_records(record_kind_table((enum record_kind)part->kind), catalogue, ret, err);
}

#include "records/header.h"
#include "base/text.h"
#include "base/units.h"
#include <stdio.h>
#include <string.h>

/* ---- one name ---- */

/* "Core_at_pack [degF]" gives "core_at_pack" and "degF". */
static int split(const char *text, char name[HEADER_NAME], char unit[HEADER_UNIT],
                 struct error *err)
{
    const char *bracket = strchr(text, '[');
    size_t length = bracket ? (size_t)(bracket - text) : strlen(text);
    while (length > 0 && text[length - 1] == ' ')
        length--;
    while (length > 0 && *text == ' ') {
        text++;
        length--;
    }
    if (length == 0)
        return error_set(err, ERROR_INVALID, "a column has no name");
    if (length >= HEADER_NAME)
        return error_set(err, ERROR_INVALID, "the name is longer than %d bytes", HEADER_NAME - 1);
    for (size_t i = 0; i < length; i++)
        name[i] = (char)(text[i] >= 'A' && text[i] <= 'Z' ? text[i] + ('a' - 'A') : text[i]);
    name[length] = '\0';
    unit[0] = '\0';
    if (!bracket)
        return 0;
    size_t inside = strcspn(bracket + 1, "]");
    if (bracket[1 + inside] != ']' ||
        strspn(bracket + 2 + inside, " ") != strlen(bracket + 2 + inside))
        return error_set(err, ERROR_INVALID, "the unit's bracket is not closed at the end");
    if (inside == 0 || inside >= HEADER_UNIT)
        return error_set(err, ERROR_INVALID, "there is no unit in the brackets");
    snprintf(unit, HEADER_UNIT, "%.*s", (int)inside, bracket + 1);
    return 0;
}

static bool is_number(enum record_type type)
{
    return type == RECORD_REAL || type == RECORD_WHOLE;
}

/* The names a file of this kind may use. */
static int unknown(enum record_kind kind, struct error *err)
{
    const struct record_table *table = record_kind_table(kind);
    struct text_buffer known = {0};
    for (int i = 0; i < table->count; i++)
        if (table->columns[i].type != RECORD_FOLD)
            text_appendf(&known, "%s%s", i ? ", " : "", table->columns[i].name);
    int rc = error_set(err, ERROR_INVALID, "is no column of %s; they are %s%s", table->kind,
                       known.data, kind == RECORD_READINGS ? ", or a quantity each" : "");
    text_buffer_free(&known);
    return rc;
}

static int own_quantity(const struct catalogue *catalogue, enum record_kind kind, const char *name,
                        struct header_column *ret, struct error *err)
{
    const struct catalogue_quantity *quantity = NULL;
    if (kind == RECORD_READINGS) {
        int rc = catalogue_match(catalogue, name, *ret->unit ? ret->unit : NULL, &quantity, err);
        if (rc)
            return rc;
    }
    if (!quantity)
        return unknown(kind, err);
    if (quantity->of != QUANTITY_OF_LOT)
        return error_set(err, ERROR_INVALID, "belongs to the plant log: load it as plantlog");
    ret->quantity = quantity;
    ret->column = -1;
    return 0;
}

/* A number whose unit is known: in the file's unit or the catalogue's. */
static int number_column(const struct catalogue *catalogue, const struct record_table *table,
                         const char *name, struct header_column *ret, struct error *err)
{
    const struct catalogue_column *number = NULL;
    int rc = catalogue_match_column(catalogue, name, *ret->unit ? ret->unit : NULL, &number, err);
    int column = number ? record_kind_column(table, number->column) : -1;
    if (column < 0)
        return rc && record_kind_column(table, name) >= 0 ? rc : 0;
    ret->number = number;
    ret->column = column;
    return 0;
}

int header_column(const struct catalogue *catalogue, enum record_kind kind, const char *text,
                  struct header_column *ret, struct error *err)
{
    const struct record_table *table = record_kind_table(kind);
    char name[HEADER_NAME];
    *ret = (struct header_column){.column = -1};
    text_clip(text, ret->name, sizeof ret->name);
    int rc = split(text, name, ret->unit, err);
    if (rc)
        return rc;
    int column = record_kind_column(table, name);
    enum record_type type = column < 0 ? RECORD_FOLD : table->columns[column].type;
    if (strcmp(name, "amount") == 0 && column >= 0 && *ret->unit) {
        ret->number = catalogue_column(catalogue, name);
        ret->column = column; /* its unit is checked against each row's dimension */
        return units_known(ret->unit)
                   ? 0
                   : error_set(err, ERROR_INVALID, "unit '%s' is not known", ret->unit);
    }
    if (column < 0 || is_number(type)) {
        rc = number_column(catalogue, table, name, ret, err);
        if (rc || ret->column >= 0)
            return rc;
    }
    if (type == RECORD_FOLD)
        return own_quantity(catalogue, kind, name, ret, err);
    if (*ret->unit && type != RECORD_VALUE)
        return error_set(err, ERROR_INVALID, "takes no unit");
    ret->column = column;
    return 0;
}

/* ---- the set ---- */

static bool same_column(const struct header_column *a, const struct header_column *b)
{
    return a->column == b->column && a->quantity == b->quantity;
}

static int settle_twice(const struct header *h, header_fault fault, void *arg)
{
    int faults = 0;
    for (int i = 1; i < h->count; i++) {
        for (int k = 0; k < i; k++) {
            if (same_column(&h->columns[i], &h->columns[k])) {
                fault(arg, h->columns[i].name, "this column is there twice");
                faults++;
                break;
            }
        }
    }
    return faults;
}

static bool is_long_only(enum record_kind kind, const struct record_column *column)
{
    return kind == RECORD_READINGS &&
           (column->type == RECORD_QUANTITY || column->type == RECORD_VALUE);
}

int header_settle(struct header *h, enum record_kind kind, header_fault fault, void *arg)
{
    const struct record_table *table = record_kind_table(kind);
    int faults = settle_twice(h, fault, arg);
    h->wide = false;
    for (int i = 0; i < RECORD_COLUMNS; i++)
        h->at[i] = -1;
    for (int i = 0; i < h->count; i++) {
        if (h->columns[i].column < 0)
            h->wide = true;
        else
            h->at[h->columns[i].column] = i;
    }
    for (int i = 0; i < table->count; i++) {
        const struct record_column *column = &table->columns[i];
        bool long_only = is_long_only(kind, column);
        if (h->wide && long_only && h->at[i] >= 0) {
            fault(arg, column->name, "a file has either quantity and value or a column a quantity");
            faults++;
        } else if ((column->flags & RECORD_REQUIRED) && h->at[i] < 0 && !(h->wide && long_only)) {
            fault(arg, column->name,
                  long_only ? "this column is missing (or a column for each quantity)"
                            : "this column is missing");
            faults++;
        }
    }
    int amount = record_kind_column(table, "amount"), unit = record_kind_column(table, "unit");
    if (amount >= 0 && unit >= 0 && h->at[amount] >= 0 && h->at[unit] >= 0 &&
        *h->columns[h->at[amount]].unit) {
        fault(arg, h->columns[h->at[amount]].name, "the unit is given twice: here and in unit");
        faults++;
    }
    return faults;
}

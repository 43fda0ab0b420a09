#include "records/check.h"
#include "base/text.h"
#include "base/units.h"
#include "base/when.h"
#include "records/check_inside.h"
#include "store/lot_find.h"
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- a row's cells ---- */

static const check_taker TAKERS[] = {
    [RECORD_CODE] = check_take_code,
    [RECORD_NAME] = check_take_name,
    [RECORD_NOTE] = check_take_note,
    [RECORD_WORD] = check_take_word,
    [RECORD_FAMILY] = check_take_family,
    [RECORD_GTIN] = check_take_gtin,
    [RECORD_UNIT] = check_take_unit,
    [RECORD_PRESERVER] = check_take_preserver,
    [RECORD_APPLIED] = check_take_applied,
    [RECORD_QUANTITY] = check_take_quantity,
    [RECORD_PLACE] = check_take_place,
    [RECORD_LOT_REF] = check_take_lot,
    [RECORD_PRODUCT_REF] = check_take_product,
    [RECORD_WHEN] = check_take_when,
    [RECORD_DAY] = check_take_day,
    [RECORD_WHOLE] = check_take_whole,
    [RECORD_REAL] = check_take_real,
    [RECORD_VALUE] = check_take_value,
};

static void trim(struct check_value *value)
{
    while (value->length > 0 && value->text[value->length - 1] == ' ')
        value->text[--value->length] = '\0';
    while (value->length > 0 && *value->text == ' ') {
        value->text++;
        value->length--;
    }
}

/* Blanks around a value are nobody's intention, except in what people wrote for people. */
static void tidy(struct check_value *value, enum record_type type)
{
    if (value->form == CHECK_TEXT && type != RECORD_NAME && type != RECORD_NOTE)
        trim(value);
    if (value->form == CHECK_TEXT && value->length == 0)
        value->form = CHECK_ABSENT;
}

/* Nothing is given: required, or what stands for it. */
static void absent(struct check *c, int i, const struct header_column *header)
{
    const struct record_column *column = &c->table->columns[i];
    struct record_cell *out = &c->row.cells[i];
    struct check_value none = {.form = CHECK_ABSENT};
    if (column->flags & RECORD_REQUIRED) { /* its column is there: the header was settled */
        check_refuse(c, &(struct check_input){i, header, &none}, "is required");
    } else if (column->flags & RECORD_PACKED) {
        out->form = RECORD_INTEGER;
        out->integer = c->lot_packed_ms;
    } else if (column->flags & RECORD_FIRST) {
        out->form = RECORD_INTEGER;
        out->integer = 0;
    } else if (column->flags & RECORD_BLANK) {
        out->form = RECORD_TEXT;
        out->text = "";
        out->length = 0;
    }
}

static void take_cell(struct check *c, int i, struct check_value *values)
{
    const struct record_column *column = &c->table->columns[i];
    bool left_out =
        c->header->wide && (column->type == RECORD_QUANTITY || column->type == RECORD_VALUE);
    int at = c->header->at[i];
    c->row.cells[i].form = RECORD_NOTHING;
    if (column->type == RECORD_FOLD || left_out)
        return;
    if (at >= 0)
        tidy(&values[at], column->type);
    if (at < 0)
        absent(c, i, NULL);
    else if (values[at].form == CHECK_ABSENT)
        absent(c, i, &c->header->columns[at]);
    else
        TAKERS[column->type](c, &(struct check_input){i, &c->header->columns[at], &values[at]},
                             &c->row.cells[i]);
}

static void take_wide(struct check *c, struct check_value *values)
{
    c->row.measured_count = 0;
    for (int i = 0; c->header->wide && i < c->header->count; i++) {
        const struct header_column *header = &c->header->columns[i];
        struct check_measured *m = &c->row.measured[c->row.measured_count];
        if (header->column >= 0)
            continue;
        tidy(&values[i], RECORD_REAL);
        if (values[i].form == CHECK_ABSENT)
            continue;
        m->quantity = header->quantity;
        if (check_take_measured(c, &(struct check_input){-1, header, &values[i]}, m->quantity,
                                &m->value))
            c->row.measured_count++;
    }
}

/* ---- a row as a whole ---- */

static struct record_cell *cell(struct check *c, const char *name)
{
    return &c->row.cells[record_kind_column(c->table, name)];
}

static void refuse_row(struct check *c, const char *name, struct check_value *values,
                       const char *reason)
{
    const struct header_column *header =
        &c->header->columns[c->header->at[record_kind_column(c->table, name)]];
    check_refuse(
        c, &(struct check_input){header->column, header, &values[header - c->header->columns]},
        "%s", reason);
}

/* A code is one lot's: rows of another plant would take it, with its cases and its hold. */
static void check_whose(struct check *c, struct check_value *values)
{
    const struct record_cell *plant = cell(c, "plant");
    char has[LENGTH_CODE + 1] = "", why[320];
    if (plant->form != RECORD_TEXT || !*plant->text || c->code)
        return;
    c->code = c->source->plant(c->source->arg, cell(c, "lot")->text, has, sizeof has, c->err);
    if (c->code || !*has || strcmp(has, plant->text) == 0)
        return;
    snprintf(why, sizeof why,
             "a lot of this code is plant %s's: codes differ between plants, by a letter of the "
             "plant's; if that was a mistake, load the lot without a plant first",
             has);
    refuse_row(c, "plant", values, why);
}

static void check_lot(struct check *c, struct check_value *values)
{
    int64_t made_from = cell(c, "made_from")->integer, made_to = cell(c, "made_to")->integer;
    int64_t packed_from = cell(c, "packed_from")->integer;
    if (made_to < made_from)
        refuse_row(c, "made_to", values, "is before made_from");
    if (packed_from < made_from)
        refuse_row(c, "packed_from", values, "is before made_from");
    if (cell(c, "packed_to")->integer < packed_from)
        refuse_row(c, "packed_to", values, "is before packed_from");
    /* a day of slack: the date is the plant's, the instant is everybody's */
    if ((cell(c, "code_date")->integer + 2) * WHEN_DAY_MS <= packed_from)
        refuse_row(c, "code_date", values, "is before the lot was packed");
    char *room = c->scratch + c->scratch_used;
    lot_find_fold(cell(c, "lot")->text, room, LOT_FIND_CODE);
    *cell(c, "fold") =
        (struct record_cell){.form = RECORD_TEXT, .text = room, .length = (uint32_t)strlen(room)};
    const struct record_cell *plant = cell(c, "plant");
    if (*room == '\0')
        refuse_row(c, "lot", values, "has no letter or digit");
    else if (plant->form == RECORD_TEXT && strchr(plant->text, ','))
        refuse_row(c, "plant", values, "a plant's name has no comma in it");
    else
        check_whose(c, values);
}

static void check_target(struct check *c, struct check_value *values)
{
    const struct record_cell *low = cell(c, "low"), *high = cell(c, "high");
    double target = cell(c, "target")->number;
    if (low->form == RECORD_NUMBER && low->number > target)
        refuse_row(c, "low", values, "is more than the target");
    if (high->form == RECORD_NUMBER && high->number < target)
        refuse_row(c, "high", values, "is less than the target");
}

/* An amount in kg, L, m or pieces, whichever its unit is of. */
static void check_use(struct check *c, struct check_value *values)
{
    struct record_cell *amount = cell(c, "amount"), *unit = cell(c, "unit");
    const struct catalogue_column *range = catalogue_column(c->catalogue, "amount");
    int at = c->header->at[record_kind_column(c->table, "amount")];
    const char *given = unit->form == RECORD_TEXT ? unit->text : NULL;
    if (at >= 0 && *c->header->columns[at].unit && amount->form == RECORD_NUMBER)
        given = c->header->columns[at].unit;
    if (!given)
        return;
    const char *base = check_base_unit(given);
    if (!base) {
        refuse_row(c, "amount", values, "its unit is none of mass, volume, length or count");
        return;
    }
    *unit =
        (struct record_cell){.form = RECORD_TEXT, .text = base, .length = (uint32_t)strlen(base)};
    if (amount->form != RECORD_NUMBER)
        return;
    units_convert(amount->number, given, base, &amount->number, NULL);
    if (amount->number > range->high)
        refuse_row(c, "amount", values, "is more than anybody weighs in");
}

static void check_whole_row(struct check *c, struct check_value *values)
{
    static void (*const checks[RECORD_KINDS])(struct check *, struct check_value *) = {
        [RECORD_LOTS] = check_lot,
        [RECORD_TARGETS] = check_target,
        [RECORD_USES] = check_use,
    };
    if (checks[c->kind])
        checks[c->kind](c, values);
}

/* ---- outside ---- */

struct check *check_new(enum record_kind kind, const struct catalogue *catalogue,
                        check_refused refused, void *arg)
{
    struct check *c = xcalloc(1, sizeof *c);
    c->kind = kind;
    c->table = record_kind_table(kind);
    c->catalogue = catalogue;
    c->refused = refused;
    c->arg = arg;
    c->refs = refs_new();
    catalogue_times(catalogue, &c->from_ms, &c->to_ms);
    return c;
}

void check_free(struct check *c)
{
    if (!c)
        return;
    refs_free(c->refs);
    free(c);
}

int check_row(struct check *c, const struct refs_source *source, const struct header *header,
              struct check_value *values, const struct check_row **ret_row, struct error *err)
{
    c->source = source;
    c->header = header;
    c->err = err;
    c->code = 0;
    c->faults = 0;
    c->lot_packed_ms = 0;
    c->quantity = NULL;
    c->scratch_used = 0;
    for (int i = 0; i < c->table->count && !c->code; i++)
        take_cell(c, i, values);
    take_wide(c, values);
    if (!c->faults && !c->code)
        check_whole_row(c, values);
    if (c->code)
        return c->code;
    *ret_row = c->faults ? NULL : &c->row;
    return 0;
}

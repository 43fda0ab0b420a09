#include "records/check.h"
#include "base/text.h"
#include "base/units.h"
#include "base/when.h"
#include "store/lot_find.h"
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { SCRATCH = 2048, MEMO = 40 };

/* The time a column had in the row before: many rows share it. */
struct memo {
    char text[MEMO];
    int64_t ms;
};

struct check {
    enum record_kind kind;
    const struct record_table *table;
    const struct catalogue *catalogue;
    check_refused refused;
    void *arg;
    struct refs *refs;
    int64_t from_ms, to_ms;
    struct memo memos[RECORD_COLUMNS];
    /* of the row at hand */
    const struct refs_source *source;
    const struct header *header;
    struct error *err;
    int code; /* of a system error */
    int faults;
    int64_t lot_packed_ms;
    const struct catalogue_quantity *quantity;
    struct check_row row;
    char scratch[SCRATCH];
    size_t scratch_used;
};

/* One value on its way. */
struct input {
    int column; /* of the kind's table, -1 a quantity as a column */
    const struct header_column *header;
    struct check_value *value;
};

/* ---- refusing ---- */

static const char *shown(const struct check_value *value, char buffer[static 32])
{
    static const char *const truths[] = {"false", "true"};
    switch (value->form) {
    case CHECK_TEXT:
        return value->text;
    case CHECK_NUMBER:
        snprintf(buffer, 32, "%.15g", value->number);
        return buffer;
    case CHECK_TRUTH:
        return truths[value->number != 0];
    default:
        return "";
    }
}

static bool refuse(struct check *c, const struct input *in, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

/* Always false, so that checkers end with it. */
static bool refuse(struct check *c, const struct input *in, const char *format, ...)
{
    char number[32];
    struct text_buffer reason = {0};
    va_list args;
    va_start(args, format);
    text_vappendf(&reason, format, args);
    va_end(args);
    c->faults++;
    c->refused(c->arg, in->header->name, shown(in->value, number), reason.data);
    text_buffer_free(&reason);
    return false;
}

/* ---- texts ---- */

static const char *unclean(const char *text, size_t length, bool line_breaks)
{
    bool ascii = true;
    for (size_t i = 0; i < length; i++) {
        unsigned char byte = (unsigned char)text[i];
        ascii = ascii && byte < 0x7F;
        if (byte >= 0x20 && byte != 0x7F)
            continue;
        if (!line_breaks || (byte != '\n' && byte != '\r' && byte != '\t'))
            return byte == '\n' || byte == '\r' ? "has a line break in it"
                                                : "has a control character in it";
    }
    return ascii || text_is_utf8(text, length) ? NULL : "is not UTF-8";
}

static void trim(struct check_value *value)
{
    while (value->length > 0 && value->text[value->length - 1] == ' ')
        value->text[--value->length] = '\0';
    while (value->length > 0 && *value->text == ' ') {
        value->text++;
        value->length--;
    }
}

static bool has_nul(const struct check_value *value)
{
    return strlen(value->text) != value->length;
}

/* A number in a text column (a lot called 4711) becomes its digits. */
static bool as_text(struct check *c, const struct input *in)
{
    struct check_value *value = in->value;
    if (value->form == CHECK_TEXT)
        return !has_nul(value) || refuse(c, in, "has a control character in it");
    if (value->form != CHECK_NUMBER)
        return refuse(c, in, "must be text");
    char *room = c->scratch + c->scratch_used;
    int length = snprintf(room, SCRATCH - c->scratch_used, "%.15g", value->number);
    if (length < 0 || (size_t)length >= SCRATCH - c->scratch_used)
        return refuse(c, in, "must be text");
    c->scratch_used += (size_t)length + 1;
    *value = (struct check_value){CHECK_TEXT, room, (size_t)length, 0};
    return true;
}

static bool take_text(struct check *c, const struct input *in, size_t limit, bool line_breaks,
                      struct record_cell *out)
{
    if (!as_text(c, in))
        return false;
    const char *why = unclean(in->value->text, in->value->length, line_breaks);
    if (why)
        return refuse(c, in, "%s", why);
    if (in->value->length > limit)
        return refuse(c, in, "is longer than %zu bytes", limit);
    out->form = RECORD_TEXT;
    out->text = in->value->text;
    out->length = (uint32_t)in->value->length;
    return true;
}

static bool take_code(struct check *c, const struct input *in, struct record_cell *out)
{
    return take_text(c, in, CHECK_CODE_BYTES, false, out);
}

static bool take_name(struct check *c, const struct input *in, struct record_cell *out)
{
    return take_text(c, in, CHECK_NAME_BYTES, false, out);
}

static bool take_note(struct check *c, const struct input *in, struct record_cell *out)
{
    return take_text(c, in, CHECK_NOTE_BYTES, true, out);
}

static bool take_word(struct check *c, const struct input *in, struct record_cell *out)
{
    if (!take_text(c, in, CHECK_CODE_BYTES, false, out))
        return false;
    bool good = true;
    for (char *p = in->value->text; *p; p++) {
        if (*p >= 'A' && *p <= 'Z')
            *p = (char)(*p + ('a' - 'A'));
        good = good && ((*p >= 'a' && *p <= 'z') || (*p >= '0' && *p <= '9') || *p == '-');
    }
    return good || refuse(c, in, "must be one word of letters, digits and hyphens");
}

static bool take_family(struct check *c, const struct input *in, struct record_cell *out)
{
    static const char *const families[] = {"pan-bread", "bun", "flatbread", "sweet-good"};
    if (!take_word(c, in, out))
        return false;
    for (size_t i = 0; i < sizeof families / sizeof *families; i++)
        if (strcmp(out->text, families[i]) == 0)
            return true;
    return refuse(c, in, "is no family; they are pan-bread, bun, flatbread, sweet-good");
}

/* Modulo-10 check digit: from the right, weights 3, 1, 3 … (GS1 General Specifications). */
static bool good_check_digit(const char *digits, size_t length)
{
    int sum = 0;
    for (size_t i = 0; i < length; i++)
        sum += (digits[length - 1 - i] - '0') * (i % 2 ? 3 : 1);
    return sum % 10 == 0;
}

static bool take_gtin(struct check *c, const struct input *in, struct record_cell *out)
{
    if (!take_code(c, in, out))
        return false;
    size_t length = out->length;
    if (strspn(out->text, "0123456789") != length || (length != 8 && (length < 12 || length > 14)))
        return refuse(c, in, "must be 8, 12, 13 or 14 digits");
    if (strspn(out->text, "0") == length || !good_check_digit(out->text, length))
        return refuse(c, in, "its check digit does not fit");
    if (SCRATCH - c->scratch_used < 15)
        return refuse(c, in, "must be text");
    char *room = c->scratch + c->scratch_used;
    c->scratch_used += 15;
    memset(room, '0', 14);
    memcpy(room + 14 - length, out->text, length + 1);
    out->text = room;
    out->length = 14;
    return true;
}

/* The one unit its dimension is kept in. */
static const char *base_unit(const char *unit)
{
    static const char *const bases[] = {"kg", "L", "m", "1"};
    double ignored;
    for (size_t i = 0; i < sizeof bases / sizeof *bases; i++)
        if (units_convert(1, unit, bases[i], &ignored, NULL) == 0)
            return bases[i];
    return NULL;
}

static bool take_unit(struct check *c, const struct input *in, struct record_cell *out)
{
    if (!take_code(c, in, out))
        return false;
    if (!units_known(out->text))
        return refuse(c, in, "the unit is not known");
    return base_unit(out->text) || refuse(c, in, "is no unit of mass, volume, length or count");
}

/* ---- what other records and the catalogue know ---- */

static bool take_quantity(struct check *c, const struct input *in, struct record_cell *out)
{
    if (!take_code(c, in, out))
        return false;
    c->quantity = catalogue_quantity(c->catalogue, out->text);
    if (!c->quantity)
        return refuse(c, in, "there is no such quantity");
    bool wants_plant = c->kind == RECORD_PLANTLOG;
    if (wants_plant == (c->quantity->of == QUANTITY_OF_PLANT))
        return true;
    return refuse(c, in,
                  wants_plant ? "is measured on lots, not in the plant log"
                              : "belongs to the plant log");
}

static bool take_place(struct check *c, const struct input *in, struct record_cell *out)
{
    return take_word(c, in, out) &&
           (catalogue_place(c->catalogue, out->text) || refuse(c, in, "there is no such place"));
}

static bool take_lot(struct check *c, const struct input *in, struct record_cell *out)
{
    if (!take_code(c, in, out))
        return false;
    int rc = refs_lot(c->refs, c->source, out->text, out->length, &out->integer, &c->lot_packed_ms,
                      c->err);
    out->form = RECORD_INTEGER;
    if (rc) {
        c->code = rc;
        return false;
    }
    return out->integer || refuse(c, in, "there is no such lot (lots are loaded first)");
}

static bool take_product(struct check *c, const struct input *in, struct record_cell *out)
{
    if (!take_code(c, in, out))
        return false;
    int rc = refs_product(c->refs, c->source, out->text, out->length, &out->integer, c->err);
    out->form = RECORD_INTEGER;
    if (rc) {
        c->code = rc;
        return false;
    }
    return out->integer || refuse(c, in, "there is no such product (products are loaded first)");
}

/* ---- times ---- */

static bool take_when(struct check *c, const struct input *in, struct record_cell *out)
{
    struct memo *memo = &c->memos[in->column];
    struct error why = {0};
    if (!as_text(c, in))
        return false;
    out->form = RECORD_INTEGER;
    if (strcmp(memo->text, in->value->text) == 0) {
        out->integer = memo->ms;
        return true;
    }
    if (when_parse(in->value->text, &out->integer, &why))
        return refuse(c, in, "%s%s%s", why.text, *why.hint ? "; " : "", why.hint);
    if (out->integer < c->from_ms || out->integer >= c->to_ms)
        return refuse(c, in, "this cannot be the year");
    if (in->value->length < MEMO) {
        memcpy(memo->text, in->value->text, in->value->length + 1);
        memo->ms = out->integer;
    }
    return true;
}

static bool take_day(struct check *c, const struct input *in, struct record_cell *out)
{
    struct error why = {0};
    int32_t day;
    if (!as_text(c, in))
        return false;
    if (day_parse(in->value->text, &day, &why))
        return refuse(c, in, "%s", why.text);
    if (day * WHEN_DAY_MS < c->from_ms || day * WHEN_DAY_MS >= c->to_ms)
        return refuse(c, in, "this cannot be the year");
    out->form = RECORD_INTEGER;
    out->integer = day;
    return true;
}

/* ---- numbers ---- */

static bool parse_number(struct check *c, const struct input *in, double *ret)
{
    const struct check_value *value = in->value;
    if (value->form == CHECK_NUMBER || value->form == CHECK_TRUTH) {
        *ret = value->number;
        return isfinite(*ret) || refuse(c, in, "is no number");
    }
    if (value->form == CHECK_TEXT && !has_nul(value) && text_to_double(value->text, ret) == 0)
        return true;
    bool comma = value->form == CHECK_TEXT && strchr(value->text, ',');
    return refuse(c, in, comma ? "is no number (the decimal sign is a point)" : "is no number");
}

static bool convert(struct check *c, const struct input *in, const char *own, double *value)
{
    struct error why = {0};
    const char *unit = *in->header->unit ? in->header->unit : NULL;
    return catalogue_convert(*value, unit, own, value, &why) == 0 || refuse(c, in, "%s", why.text);
}

static bool in_range(struct check *c, const struct input *in, double value, double low, double high,
                     const char *unit)
{
    bool plain = strcmp(unit, "1") == 0;
    if (value >= low && value <= high)
        return true;
    return refuse(c, in, "is outside the plausible range %.10g to %.10g%s%s", low, high,
                  plain ? "" : " ", plain ? "" : unit);
}

static bool is_amount(const struct check *c, const struct input *in)
{
    return c->kind == RECORD_USES && strcmp(c->table->columns[in->column].name, "amount") == 0;
}

static bool take_real(struct check *c, const struct input *in, struct record_cell *out)
{
    const struct catalogue_column *number =
        in->header->number ? in->header->number
                           : catalogue_column(c->catalogue, c->table->columns[in->column].name);
    double value;
    if (!parse_number(c, in, &value))
        return false;
    out->form = RECORD_NUMBER;
    out->number = value;
    if (is_amount(c, in)) /* its range waits for its unit */
        return value >= 0 || refuse(c, in, "is less than 0");
    if (!convert(c, in, number->unit, &out->number))
        return false;
    return in_range(c, in, out->number, number->low, number->high, number->unit);
}

static bool take_whole(struct check *c, const struct input *in, struct record_cell *out)
{
    if (!take_real(c, in, out))
        return false;
    double rounded = round(out->number);
    if (fabs(out->number - rounded) > 1e-9 * fmax(1, fabs(rounded)))
        return refuse(c, in, "is no whole number");
    out->form = RECORD_INTEGER;
    out->integer = (int64_t)rounded;
    return true;
}

static bool take_measured(struct check *c, const struct input *in,
                          const struct catalogue_quantity *quantity, double *ret)
{
    if (!parse_number(c, in, ret) || !convert(c, in, quantity->unit, ret))
        return false;
    if (quantity->yes_no && *ret != 0 && *ret != 1)
        return refuse(c, in, "must be 0 or 1");
    return in_range(c, in, *ret, quantity->low, quantity->high, quantity->unit);
}

static bool take_value(struct check *c, const struct input *in, struct record_cell *out)
{
    out->form = RECORD_NUMBER;
    /* the quantity was refused already: only whether it is a number can be said */
    return c->quantity ? take_measured(c, in, c->quantity, &out->number)
                       : parse_number(c, in, &out->number);
}

/* ---- a row's cells ---- */

typedef bool (*taker)(struct check *, const struct input *, struct record_cell *);
static const taker TAKERS[] = {
    [RECORD_CODE] = take_code,   [RECORD_NAME] = take_name,           [RECORD_NOTE] = take_note,
    [RECORD_WORD] = take_word,   [RECORD_FAMILY] = take_family,       [RECORD_GTIN] = take_gtin,
    [RECORD_UNIT] = take_unit,   [RECORD_QUANTITY] = take_quantity,   [RECORD_PLACE] = take_place,
    [RECORD_LOT_REF] = take_lot, [RECORD_PRODUCT_REF] = take_product, [RECORD_WHEN] = take_when,
    [RECORD_DAY] = take_day,     [RECORD_WHOLE] = take_whole,         [RECORD_REAL] = take_real,
    [RECORD_VALUE] = take_value,
};

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
        refuse(c, &(struct input){i, header, &none}, "is required");
    } else if (column->flags & RECORD_PACKED) {
        out->form = RECORD_INTEGER;
        out->integer = c->lot_packed_ms;
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
        TAKERS[column->type](c, &(struct input){i, &c->header->columns[at], &values[at]},
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
        if (take_measured(c, &(struct input){-1, header, &values[i]}, m->quantity, &m->value))
            c->row.measured_count++;
    }
}

/* ---- a row as a whole ---- */

static struct record_cell *cell(struct check *c, const char *name)
{
    return &c->row.cells[record_column_find(c->table, name)];
}

static void refuse_row(struct check *c, const char *name, struct check_value *values,
                       const char *reason)
{
    const struct header_column *header =
        &c->header->columns[c->header->at[record_column_find(c->table, name)]];
    refuse(c, &(struct input){header->column, header, &values[header - c->header->columns]}, "%s",
           reason);
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
    if (*room == '\0')
        refuse_row(c, "lot", values, "has no letter or digit");
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
    int at = c->header->at[record_column_find(c->table, "amount")];
    const char *given = unit->form == RECORD_TEXT ? unit->text : NULL;
    if (at >= 0 && *c->header->columns[at].unit && amount->form == RECORD_NUMBER)
        given = c->header->columns[at].unit;
    if (!given)
        return;
    const char *base = base_unit(given);
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
    c->table = record_table(kind);
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

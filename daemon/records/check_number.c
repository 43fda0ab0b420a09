/* Checks of numbers and times. */
#include "base/text.h"
#include "base/when.h"
#include "records/check_inside.h"
#include <math.h>
#include <string.h>

/* ---- numbers ---- */

static bool parse_number(struct check *c, const struct check_input *in, double *ret)
{
    const struct check_value *value = in->value;
    if (value->form == CHECK_NUMBER || value->form == CHECK_TRUTH) {
        *ret = value->number;
        return isfinite(*ret) || check_refuse(c, in, "is no number");
    }
    if (value->form == CHECK_TEXT && !check_has_nul(value) && text_to_double(value->text, ret) == 0)
        return true;
    bool comma = value->form == CHECK_TEXT && strchr(value->text, ',');
    return check_refuse(
        c, in,
        comma ? "is no number (the decimal sign is a point; a map of the file may say "
                "another: \"decimal\": \",\")"
              : "is no number");
}

static bool convert(struct check *c, const struct check_input *in, const char *own, double *value)
{
    struct error why = {0};
    const char *unit = *in->header->unit ? in->header->unit : NULL;
    return catalogue_convert(*value, unit, own, value, &why) == 0 ||
           check_refuse(c, in, "%s", why.text);
}

static bool in_range(struct check *c, const struct check_input *in, double value, double low,
                     double high, const char *unit)
{
    bool plain = strcmp(unit, "1") == 0;
    if (value >= low && value <= high)
        return true;
    return check_refuse(c, in, "is outside the plausible range %.10g to %.10g%s%s", low, high,
                        plain ? "" : " ", plain ? "" : unit);
}

static bool is_amount(const struct check *c, const struct check_input *in)
{
    return c->kind == RECORD_USES && strcmp(c->table->columns[in->column].name, "amount") == 0;
}

bool check_take_real(struct check *c, const struct check_input *in, struct record_cell *out)
{
    const struct catalogue_column *number =
        in->header->number ? in->header->number
                           : catalogue_column(c->catalogue, c->table->columns[in->column].name);
    double value = 0;
    if (!parse_number(c, in, &value))
        return false;
    out->form = RECORD_NUMBER;
    out->number = value;
    if (is_amount(c, in)) /* its range waits for its unit */
        return value >= 0 || check_refuse(c, in, "is less than 0");
    if (!convert(c, in, number->unit, &out->number))
        return false;
    return in_range(c, in, out->number, number->low, number->high, number->unit);
}

/* "1.000", "12.500": a thousand to one writer, one to another. */
static bool may_be_thousands(const struct check_value *value)
{
    if (value->form != CHECK_TEXT)
        return false;
    const char *digits = value->text + strspn(value->text, "+-");
    size_t before = strspn(digits, "0123456789");
    return before >= 1 && before <= 3 && digits[before] == '.' &&
           strspn(digits + before + 1, "0123456789") == 3 && !digits[before + 4];
}

bool check_take_whole(struct check *c, const struct check_input *in, struct record_cell *out)
{
    if (may_be_thousands(in->value))
        return check_refuse(c, in, "may mean thousands: write whole numbers without a point");
    if (!check_take_real(c, in, out))
        return false;
    double rounded = round(out->number);
    if (fabs(out->number - rounded) > 1e-9 * fmax(1, fabs(rounded)))
        return check_refuse(c, in, "is no whole number");
    out->form = RECORD_INTEGER;
    out->integer = (int64_t)rounded;
    return true;
}

bool check_take_measured(struct check *c, const struct check_input *in,
                         const struct catalogue_quantity *quantity, double *ret)
{
    if (quantity->words)
        return check_refuse(c, in, "%s is told in words: enter it with `oddloaf measure`",
                            quantity->name);
    if (!parse_number(c, in, ret) || !convert(c, in, quantity->unit, ret))
        return false;
    if (quantity->yes_no && *ret != 0 && *ret != 1)
        return check_refuse(c, in, "must be 0 or 1");
    return in_range(c, in, *ret, quantity->low, quantity->high, quantity->unit);
}

bool check_take_value(struct check *c, const struct check_input *in, struct record_cell *out)
{
    out->form = RECORD_NUMBER;
    /* the quantity was refused already: only whether it is a number can be said */
    return c->quantity ? check_take_measured(c, in, c->quantity, &out->number)
                       : parse_number(c, in, &out->number);
}

/* ---- times ---- */

bool check_take_when(struct check *c, const struct check_input *in, struct record_cell *out)
{
    struct check_memo *memo = &c->memos[in->column];
    struct error why = {0};
    if (!check_as_text(c, in))
        return false;
    out->form = RECORD_INTEGER;
    if (strcmp(memo->text, in->value->text) == 0) {
        out->integer = memo->ms;
        return true;
    }
    if (when_parse(in->value->text, &out->integer, &why))
        return check_refuse(c, in, "%s%s%s", why.text, *why.hint ? "; " : "", why.hint);
    if (out->integer < c->from_ms || out->integer >= c->to_ms)
        return check_refuse(c, in, "this cannot be the year");
    if (in->value->length < CHECK_MEMO) {
        memcpy(memo->text, in->value->text, in->value->length + 1);
        memo->ms = out->integer;
    }
    return true;
}

bool check_take_day(struct check *c, const struct check_input *in, struct record_cell *out)
{
    struct error why = {0};
    int32_t day;
    if (!check_as_text(c, in))
        return false;
    if (day_parse(in->value->text, &day, &why))
        return check_refuse(c, in, "%s", why.text);
    if (day * WHEN_DAY_MS < c->from_ms || day * WHEN_DAY_MS >= c->to_ms)
        return check_refuse(c, in, "this cannot be the year");
    out->form = RECORD_INTEGER;
    out->integer = day;
    return true;
}

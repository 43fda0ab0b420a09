/* Checks of texts, and of names that other records and the catalogue know. */
#include "base/text.h"
#include "base/units.h"
#include "records/check_inside.h"
#include <stdio.h>
#include <string.h>

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

bool check_has_nul(const struct check_value *value)
{
    return strlen(value->text) != value->length;
}

/* A number in a text column (a lot called 4711) becomes its digits. */
bool check_as_text(struct check *c, const struct check_input *in)
{
    struct check_value *value = in->value;
    if (value->form == CHECK_TEXT)
        return !check_has_nul(value) || check_refuse(c, in, "has a control character in it");
    if (value->form != CHECK_NUMBER)
        return check_refuse(c, in, "must be text");
    char *room = c->scratch + c->scratch_used;
    int length = snprintf(room, CHECK_SCRATCH - c->scratch_used, "%.15g", value->number);
    if (length < 0 || (size_t)length >= CHECK_SCRATCH - c->scratch_used)
        return check_refuse(c, in, "must be text");
    c->scratch_used += (size_t)length + 1;
    *value = (struct check_value){CHECK_TEXT, room, (size_t)length, 0};
    return true;
}

static bool take_text(struct check *c, const struct check_input *in, size_t limit, bool line_breaks,
                      struct record_cell *out)
{
    if (!check_as_text(c, in))
        return false;
    const char *why = unclean(in->value->text, in->value->length, line_breaks);
    if (why)
        return check_refuse(c, in, "%s", why);
    if (in->value->length > limit)
        return check_refuse(c, in, "is longer than %zu bytes", limit);
    out->form = RECORD_TEXT;
    out->text = in->value->text;
    out->length = (uint32_t)in->value->length;
    return true;
}

bool check_take_code(struct check *c, const struct check_input *in, struct record_cell *out)
{
    return take_text(c, in, LENGTH_CODE, false, out);
}

bool check_take_name(struct check *c, const struct check_input *in, struct record_cell *out)
{
    return take_text(c, in, LENGTH_NAME, false, out);
}

bool check_take_note(struct check *c, const struct check_input *in, struct record_cell *out)
{
    return take_text(c, in, CHECK_NOTE_BYTES, true, out);
}

bool check_take_word(struct check *c, const struct check_input *in, struct record_cell *out)
{
    if (!take_text(c, in, LENGTH_CODE, false, out))
        return false;
    bool good = true;
    for (char *p = in->value->text; *p; p++) {
        if (*p >= 'A' && *p <= 'Z')
            *p = (char)(*p + ('a' - 'A'));
        good = good && ((*p >= 'a' && *p <= 'z') || (*p >= '0' && *p <= '9') || *p == '-');
    }
    return good || check_refuse(c, in, "must be one word of letters, digits and hyphens");
}

bool check_take_family(struct check *c, const struct check_input *in, struct record_cell *out)
{
    static const char *const families[] = {"pan-bread", "bun", "flatbread", "sweet-good"};
    if (!check_take_word(c, in, out))
        return false;
    for (size_t i = 0; i < sizeof families / sizeof *families; i++)
        if (strcmp(out->text, families[i]) == 0)
            return true;
    return check_refuse(c, in, "is no family; they are pan-bread, bun, flatbread, sweet-good");
}

/* Modulo-10 check digit: from the right, weights 3, 1, 3 … (GS1 General Specifications). */
static bool good_check_digit(const char *digits, size_t length)
{
    int sum = 0;
    for (size_t i = 0; i < length; i++)
        sum += (digits[length - 1 - i] - '0') * (i % 2 ? 3 : 1);
    return sum % 10 == 0;
}

bool check_take_gtin(struct check *c, const struct check_input *in, struct record_cell *out)
{
    if (!check_take_code(c, in, out))
        return false;
    size_t length = out->length;
    if (strspn(out->text, "0123456789") != length || (length != 8 && (length < 12 || length > 14)))
        return check_refuse(c, in, "must be 8, 12, 13 or 14 digits");
    if (strspn(out->text, "0") == length || !good_check_digit(out->text, length))
        return check_refuse(c, in, "its check digit does not fit");
    if (CHECK_SCRATCH - c->scratch_used < 15)
        return check_refuse(c, in, "must be text");
    char *room = c->scratch + c->scratch_used;
    c->scratch_used += 15;
    memset(room, '0', 14);
    memcpy(room + 14 - length, out->text, length + 1);
    out->text = room;
    out->length = 14;
    return true;
}

/* The one unit its dimension is kept in. */
const char *check_base_unit(const char *unit)
{
    static const char *const bases[] = {"kg", "L", "m", "1"};
    double ignored;
    for (size_t i = 0; i < sizeof bases / sizeof *bases; i++)
        if (units_convert(1, unit, bases[i], &ignored, NULL) == 0)
            return bases[i];
    return NULL;
}

bool check_take_unit(struct check *c, const struct check_input *in, struct record_cell *out)
{
    if (!check_take_code(c, in, out))
        return false;
    if (!units_known(out->text))
        return check_refuse(c, in, "the unit is not known");
    return check_base_unit(out->text) ||
           check_refuse(c, in, "is no unit of mass, volume, length or count");
}

/* ---- what other records and the catalogue know ---- */

static bool refuse_unknown(struct check *c, const struct check_input *in, const char *what,
                           const char *all, const char *const *names, int count)
{
    return check_refuse(c, in, "there is no such %s; nearest: %s%s%s%s%s; all: oddloaf rules %s",
                        what, count ? names[0] : "none", count > 1 ? ", " : "",
                        count > 1 ? names[1] : "", count > 2 ? ", " : "", count > 2 ? names[2] : "",
                        all);
}

bool check_take_quantity(struct check *c, const struct check_input *in, struct record_cell *out)
{
    const char *names[CATALOGUE_NEAREST];
    if (!check_take_code(c, in, out))
        return false;
    c->quantity = catalogue_quantity(c->catalogue, out->text);
    if (!c->quantity) {
        int count = catalogue_nearest(c->catalogue, out->text, names);
        return refuse_unknown(c, in, "quantity", "quantities", names, count);
    }
    bool wants_plant = c->kind == RECORD_PLANTLOG;
    if (wants_plant == (c->quantity->of == QUANTITY_OF_PLANT))
        return true;
    return check_refuse(c, in,
                        wants_plant ? "is measured on lots, not in the plant log"
                                    : "belongs to the plant log");
}

bool check_take_place(struct check *c, const struct check_input *in, struct record_cell *out)
{
    const char *names[CATALOGUE_NEAREST];
    if (!check_take_word(c, in, out))
        return false;
    if (catalogue_place(c->catalogue, out->text))
        return true;
    int count = catalogue_nearest_place(c->catalogue, out->text, names);
    return refuse_unknown(c, in, "place", "places", names, count);
}

bool check_take_preserver(struct check *c, const struct check_input *in, struct record_cell *out)
{
    return check_take_word(c, in, out) &&
           (catalogue_preserver(c->catalogue, out->text) ||
            check_refuse(c, in,
                         "is no kind of preserving ingredient; rules/preservers.json has "
                         "them, and a plant adds its own"));
}

bool check_take_applied(struct check *c, const struct check_input *in, struct record_cell *out)
{
    if (!check_take_word(c, in, out))
        return false;
    return strcmp(out->text, "dough") == 0 || strcmp(out->text, "surface") == 0 ||
           check_refuse(c, in, "must be dough or surface");
}

bool check_take_lot(struct check *c, const struct check_input *in, struct record_cell *out)
{
    if (!check_take_code(c, in, out))
        return false;
    struct refs_lot lot;
    int rc = refs_lot(c->refs, c->source, out->text, out->length, &lot, c->err);
    out->form = RECORD_INTEGER;
    out->integer = lot.id;
    c->lot_packed_ms = lot.packed_ms;
    if (rc) {
        c->code = rc;
        return false;
    }
    return out->integer || check_refuse(c, in, "there is no such lot (lots are loaded first)");
}

bool check_take_product(struct check *c, const struct check_input *in, struct record_cell *out)
{
    if (!check_take_code(c, in, out))
        return false;
    int rc = refs_product(c->refs, c->source, out->text, out->length, &out->integer, c->err);
    out->form = RECORD_INTEGER;
    if (rc) {
        c->code = rc;
        return false;
    }
    return out->integer ||
           check_refuse(c, in, "there is no such product (products are loaded first)");
}

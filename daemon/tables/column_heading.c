#include "tables/column_heading.h"
#include "base/text.h"
#include "base/units.h"
#include "base/words.h"
#include "tables/column_names.h"
#include <ctype.h>
#include <stdio.h>
#include <string.h>

/* A heading taken apart. */
struct parts {
    char name[COLUMN_HEADING_NAME]; /* without the unit */
    char unit[COLUMN_UNIT];
    bool bracketed;
};

static bool is_letter(char c)
{
    return isalpha((unsigned char)c) || (unsigned char)c >= 0x80;
}

/* Between `at` and the byte before it one word ends and another begins: "Core F", "core_f",
 * "Core,F", "CoreF", "Dose%". */
static bool is_seam(const char *text, size_t at)
{
    unsigned char before = (unsigned char)text[at - 1], here = (unsigned char)text[at];
    bool camel = islower(before) && isupper(here);
    bool sign = here == '%' || (here >= 0x80 && before < 0x80);
    return camel || sign || (!is_letter(text[at - 1]) && !isdigit(before));
}

/* Blanks and stops around it gone; false: it does not fit a unit. */
static bool tidy(const char *text, size_t length, char out[static COLUMN_UNIT])
{
    while (length && strchr(" .,:;-_/", *text)) {
        text++;
        length--;
    }
    while (length && strchr(" .,:;-_", text[length - 1]))
        length--;
    if (length == 0 || length >= COLUMN_UNIT)
        return false;
    memcpy(out, text, length);
    out[length] = '\0';
    return true;
}

/* "Core 1" is the first of several. */
static bool is_unit(const char *text, size_t length, char out[static COLUMN_UNIT])
{
    return tidy(text, length, out) && !isdigit((unsigned char)*out) && units_known(out);
}

/* The name without words that only lead to its unit. */
static void take_name(struct parts *p, const char *text, size_t length)
{
    static const char *const ENDS[] = {" in", " en"}, *const BEGINS[] = {"of ", "de "};
    snprintf(p->name, sizeof p->name, "%.*s", (int)length, text);
    for (size_t n = strlen(p->name); n && strchr(" ,:-_./", p->name[n - 1]); n--)
        p->name[n - 1] = '\0';
    for (size_t i = 0; i < 2; i++) {
        size_t n = strlen(p->name), end = strlen(ENDS[i]), start = strlen(BEGINS[i]);
        if (n > end && text_equal_fold(p->name + n - end, ENDS[i]))
            p->name[n - end] = '\0';
        const char *name = p->name + strspn(p->name, " _-");
        if (strncmp(name, BEGINS[i], start) == 0)
            memmove(p->name, name + start, strlen(name + start) + 1);
    }
}

/* "Flour (lbs)", "Core [degF] at packing". */
static bool of_brackets(const char *heading, struct parts *p)
{
    size_t at = strcspn(heading, "([{"), length = heading[at] ? strcspn(heading + at, ")]}") : 0;
    char rest[COLUMN_HEADING_NAME];
    if (at == 0 || length < 2)
        return false;
    const char *after = heading + at + length + (heading[at + length] != '\0');
    if (!tidy(heading + at + 1, length - 1, p->unit))
        return false;
    snprintf(rest, sizeof rest, "%.*s %s", (int)at, heading, after);
    take_name(p, rest, strlen(rest));
    p->bracketed = true;
    return true;
}

/* "Flour lb", "Core deg F": the longest end that is a unit; "lbs of flour": the longest beginning.
 */
static bool of_words(const char *heading, struct parts *p)
{
    size_t length = strlen(heading);
    for (size_t i = 1; i < length; i++) {
        if (is_seam(heading, i) && is_unit(heading + i, length - i, p->unit)) {
            take_name(p, heading, i);
            return *p->name != '\0';
        }
    }
    for (size_t i = length - 1; length && i > 0; i--) {
        if (is_seam(heading, i) && is_unit(heading, i, p->unit)) {
            take_name(p, heading + i, length - i);
            return *p->name != '\0';
        }
    }
    return false;
}

/* ---- whether the unit is one of the column's ---- */

enum fit { FITS, SAYS_NOTHING, ODD };

static bool converts(const char *unit, const char *to)
{
    double ignored;
    return units_convert(1, unit, to, &ignored, NULL) == 0;
}

static bool is_number(enum record_kind kind, const char *ours)
{
    const struct record_table *table = record_kind_table(kind);
    int at = record_kind_column(table, ours);
    enum record_type type = at < 0 ? RECORD_REAL : table->columns[at].type;
    return type == RECORD_REAL || type == RECORD_VALUE || type == RECORD_WHOLE;
}

/* Nobody writes a lot's code or a day in pounds; a letter or "day" behind it is part of its name.
 */
static bool is_measure(const struct parts *p)
{
    return p->bracketed
               ? units_known(p->unit)
               : strlen(p->unit) > 1 && (converts(p->unit, "kg") || converts(p->unit, "L") ||
                                         converts(p->unit, "degC"));
}

/* Words in brackets that are no unit, and leave open which it is. */
static bool is_said_of_any(const char *word)
{
    static const char WORDS[] = "avg average mean max min total actual net center centre core "
                                "internal no nr code value result promedio total media max.";
    char key[COLUMN_UNIT];
    return words_has(WORDS, text_fold(word, key, sizeof key));
}

static enum fit fit_of(enum record_kind kind, const char *ours, const struct parts *p)
{
    const char *suffix, *own = units_promised(ours, &suffix);
    const struct record_table *table = record_kind_table(kind);
    int at = record_kind_column(table, ours);
    bool number = is_number(kind, ours), count = at >= 0 && table->columns[at].type == RECORD_WHOLE;
    if (number && own && converts(p->unit, own))
        return FITS;
    if (number && !own && (count ? converts(p->unit, "1") : is_measure(p)))
        return count ? SAYS_NOTHING : FITS;
    bool odd = is_measure(p) || (number && p->bracketed && !is_said_of_any(p->unit));
    return odd ? ODD : SAYS_NOTHING;
}

/* ---- outside ---- */

void column_heading_read(enum record_kind kind, const char *heading, struct column_heading *ret)
{
    struct parts p = {.bracketed = false};
    const char *ours = NULL;
    *ret = (struct column_heading){.sure = COLUMN_NAMES_NONE};
    ret->sure = *heading ? column_names_find(kind, heading, &ret->ours) : COLUMN_NAMES_NONE;
    if (!(of_brackets(heading, &p) || of_words(heading, &p)))
        return;
    if (ret->sure == COLUMN_NAMES_SURE) { /* "flour_kg" */
        if (fit_of(kind, ret->ours, &p) == FITS)
            memcpy(ret->unit, p.unit, sizeof ret->unit);
        return;
    }
    int sure = column_names_find(kind, p.name, &ours);
    if (sure == COLUMN_NAMES_NONE)
        return;
    enum fit fit = fit_of(kind, ours, &p);
    if (fit == FITS)
        memcpy(ret->unit, p.unit, sizeof ret->unit);
    else if (fit == ODD)
        memcpy(ret->odd, p.unit, sizeof ret->odd);
    ret->ours = ours;
    ret->sure = sure;
}

const char *column_heading_own(enum record_kind kind, const char *name, const char *unit)
{
    const struct record_table *table = record_kind_table(kind);
    size_t length = strlen(name);
    for (int i = 0; i < table->count; i++) {
        const char *suffix, *own = units_promised(table->columns[i].name, &suffix);
        if (own && strncmp(table->columns[i].name, name, length) == 0 &&
            suffix == table->columns[i].name + length && converts(unit, own))
            return table->columns[i].name;
    }
    return kind == RECORD_READINGS ? column_names_quantity(name, unit) : NULL;
}

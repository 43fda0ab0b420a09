#include "base/units.h"
#include "base/text.h"
#include "base/words.h"
#include <assert.h>
#include <math.h>
#include <string.h>

enum quantity {
    TEMPERATURE,
    MASS,
    VOLUME,
    LENGTH,
    TIME,
    PRESSURE,
    FRACTION,
    COUNT,
    AIR_COUNT,
    MASS_COUNT,
    SURFACE_COUNT,
    CONCENTRATION,
    /* each of one unit, to which nothing converts */
    ACIDITY,
    LIGHT,   /* of a residue swab, by the make of meter */
    STRENGTH /* of vinegar */
};

/* A value in the quantity's base unit is (value - zero) * times / per. Two whole factors rather
 * than one quotient, so that what is exact on paper is rounded once only. `also`: spellings met in
 * plant files next to the name, lower case and without blanks in themselves, blanks between them.
 */
struct unit {
    const char *name; /* as written back to people */
    enum quantity quantity;
    double times, per, zero;
    const char *also;
    const char *suffixes; /* ends of names that promise it, blanks between them */
};

/* All exact by definition: pound 0.45359237 kg, inch 25.4 mm, US gallon 231 in3, pound-force per
 * square inch 4.4482216152605 N / 645.16 mm2, inch of water 25.4 mm at 1000 kg/m3 and 9.80665 m/s2
 * (A. Thompson, B. N. Taylor, Guide for the Use of the SI, NIST SP 811, 2008, Appendix B). */
// clang-format off
static const struct unit units[] = {
    {"degC",       TEMPERATURE,   1, 1, 0,       "c \u00b0c \u00bac \u2103 celsius", "_c"},
    {"degF",       TEMPERATURE,   1, 1.8, 32,    "f \u00b0f \u00baf \u2109 fahrenheit", "_f"},
    {"K",          TEMPERATURE,   1, 1, 273.15,  "kelvin", ""},
    {"kg",         MASS,          1, 1, 0,       "kgs kilo kilos kilogram kilograms kilogramo kilogramos", "_kg"},
    {"g",          MASS,          1, 1e3, 0,     "gram grams gramo gramos", "_g"},
    {"mg",         MASS,          1, 1e6, 0,     "milligram milligrams", ""},
    {"t",          MASS,          1e3, 1, 0,     "tonne tonnes", ""},
    {"lb",         MASS,          45359237, 1e8, 0, "lbs pound pounds libra libras", "_lb"},
    {"oz",         MASS,          28349523125, 1e12, 0, "ozs ounce ounces onza onzas", ""},
    {"L",          VOLUME,        1, 1, 0,       "lt lts liter liters litre litres litro litros", "_l"},
    {"mL",         VOLUME,        1, 1e3, 0,     "milliliter milliliters millilitre millilitres", ""},
    {"m3",         VOLUME,        1e3, 1, 0,     "m\u00b3", ""},
    {"gal_us",     VOLUME,        3785411784, 1e9, 0, "gal gallon gallons", ""},
    {"floz_us",    VOLUME,        295735295625, 1e13, 0, "floz", ""},
    {"ft3",        VOLUME,        28316846592, 1e9, 0, "ft\u00b3 cuft", ""},
    {"m",          LENGTH,        1, 1, 0,       "meter meters metre metres", ""},
    {"mm",         LENGTH,        1, 1e3, 0,     "", ""},
    {"cm",         LENGTH,        1, 1e2, 0,     "", ""},
    {"um",         LENGTH,        1, 1e6, 0,     "\u00b5m \u03bcm micron microns", "_um"},
    {"mil",        LENGTH,        254, 1e7, 0,   "mils", ""},
    {"in",         LENGTH,        254, 1e4, 0,   "inch inches", ""},
    {"ft",         LENGTH,        3048, 1e4, 0,  "foot feet", ""},
    {"s",          TIME,          1, 1, 0,       "sec secs second seconds", "_s"},
    {"min",        TIME,          60, 1, 0,      "mins minute minutes minuto minutos", "_min"},
    {"h",          TIME,          3600, 1, 0,    "hr hrs hour hours hora horas", "_h"},
    {"d",          TIME,          86400, 1, 0,   "day days dia dias", "_days"},
    {"Pa",         PRESSURE,      1, 1, 0,       "", "_pa"},
    {"hPa",        PRESSURE,      1e2, 1, 0,     "mbar", ""},
    {"kPa",        PRESSURE,      1e3, 1, 0,     "", ""},
    {"bar",        PRESSURE,      1e5, 1, 0,     "", ""},
    {"psi",        PRESSURE,      44482216152605, 6451600000, 0, "", ""},
    {"inH2O",      PRESSURE,      24908891, 1e5, 0, "inwc", ""},
    {"fraction",   FRACTION,      1, 1, 0,       "", ""},
    {"%",          FRACTION,      1, 1e2, 0,     "percent pct", "_pct _pct_flour"},
    {"ppm",        FRACTION,      1, 1e6, 0,     "", "_ppm"},
    {"mg/kg",      FRACTION,      1, 1e6, 0,     "", ""},
    {"g/kg",       FRACTION,      1, 1e3, 0,     "", ""},
    {"1",          COUNT,         1, 1, 0,       "count pc pcs pieces ea each", "_aw"},
    {"cfu",        COUNT,         1, 1, 0,       "", "_cfu"},
    {"cfu/m3",     AIR_COUNT,     1, 1, 0,       "cfu/m\u00b3", "_cfu_m3"},
    {"cfu/ft3",    AIR_COUNT,     1e12, 28316846592, 0, "cfu/ft\u00b3", ""},
    {"cfu/g",      MASS_COUNT,    1, 1, 0,       "", "_cfu_g"},
    {"cfu/100cm2", SURFACE_COUNT, 1, 1, 0,       "cfu/100cm\u00b2", ""},
    {"cfu/25cm2",  SURFACE_COUNT, 4, 1, 0,       "cfu/25cm\u00b2", ""},
    {"mmol/L",     CONCENTRATION, 1, 1, 0,       "", "_mmol_l"},
    {"pH",         ACIDITY,       1, 1, 0,       "", "_ph"},
    {"RLU",        LIGHT,         1, 1, 0,       "", "_rlu"},
    {"grain",      STRENGTH,      1, 1, 0,       "", "_grain"},
};
// clang-format on

/* ASCII letters lowered, blanks dropped; false if that cannot be a unit. */
static bool squeeze(const char *s, char *out, size_t size)
{
    size_t n = 0;
    for (; *s; s++) {
        if (*s == ' ' || *s == '\t')
            continue;
        if (n + 1 >= size)
            return false;
        out[n++] = (char)(*s >= 'A' && *s <= 'Z' ? *s + ('a' - 'A') : *s);
    }
    out[n] = '\0';
    return n > 0;
}

static const struct unit *find(const char *text)
{
    char key[32];
    if (!text || !squeeze(text, key, sizeof key))
        return NULL;
    for (size_t i = 0; i < sizeof units / sizeof *units; i++)
        if (text_equal_fold(units[i].name, key) || words_has(units[i].also, key))
            return &units[i];
    return NULL;
}

bool units_known(const char *unit)
{
    return find(unit) != NULL;
}

/* The longest of the suffixes that the name ends in, with something before it; 0: none. */
static size_t ends_in(const char *name, const char *suffixes)
{
    size_t length = strlen(name), longest = 0;
    for (const char *at = suffixes; *at; at += strspn(at, " ")) {
        size_t n = strcspn(at, " ");
        if (n > longest && n < length && memcmp(name + length - n, at, n) == 0)
            longest = n;
        at += n;
    }
    return longest;
}

const char *units_promised(const char *name, const char **ret_suffix)
{
    assert(name && ret_suffix);
    const char *unit = NULL;
    size_t longest = 0;
    for (size_t i = 0; i < sizeof units / sizeof *units; i++) {
        size_t n = ends_in(name, units[i].suffixes);
        if (n > longest) {
            longest = n;
            unit = units[i].name;
        }
    }
    *ret_suffix = name + strlen(name) - longest;
    return unit;
}

static int unknown(struct error *err, const char *unit)
{
    return error_set(err, ERROR_INVALID, "unit '%s' is not known", unit ? unit : "");
}

int units_convert(double value, const char *from, const char *to, double *ret, struct error *err)
{
    const struct unit *a = find(from);
    const struct unit *b = find(to);
    if (!a)
        return unknown(err, from);
    if (!b)
        return unknown(err, to);
    if (a->quantity != b->quantity)
        return error_set(err, ERROR_INVALID, "unit '%s' cannot become '%s'", a->name, b->name);
    double base = (value - a->zero) * a->times / a->per;
    double result = a == b ? value : base * b->per / b->times + b->zero;
    if (!isfinite(result))
        return error_set(err, ERROR_INVALID, "is no finite number");
    *ret = result;
    return 0;
}

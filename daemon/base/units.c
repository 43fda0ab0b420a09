#include "base/units.h"
#include "base/text.h"
#include <math.h>
#include <stdbool.h>
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
    CONCENTRATION
};

/* A value in the quantity's base unit is value * times / per + plus. Two whole factors rather than
 * one quotient, so that what is exact on paper stays exact in binary. */
struct unit {
    const char *name; /* as written back to people */
    enum quantity quantity;
    double times, per, plus;
};

/* Exact by definition: pound, ounce, inch, gallon (NIST SP 811 Appendix B, 2008). The one measured
 * entry is the inch of water, at its conventional density of 1 g/cm3 (249.08891 Pa, same source).
 */
static const struct unit units[] = {
    {"degC", TEMPERATURE, 1, 1, 273.15},
    {"degF", TEMPERATURE, 1, 1.8, 459.67 / 1.8},
    {"K", TEMPERATURE, 1, 1, 0},
    {"kg", MASS, 1, 1, 0},
    {"g", MASS, 1, 1000, 0},
    {"mg", MASS, 1, 1e6, 0},
    {"t", MASS, 1000, 1, 0},
    {"lb", MASS, 45359237, 1e8, 0},
    {"oz", MASS, 28349523125, 1e12, 0},
    {"L", VOLUME, 1, 1, 0},
    {"mL", VOLUME, 1, 1000, 0},
    {"m3", VOLUME, 1000, 1, 0},
    {"gal_us", VOLUME, 3785411784, 1e9, 0},
    {"floz_us", VOLUME, 295735295625, 1e13, 0},
    {"ft3", VOLUME, 28316846592, 1e9, 0},
    {"m", LENGTH, 1, 1, 0},
    {"mm", LENGTH, 1, 1000, 0},
    {"cm", LENGTH, 1, 100, 0},
    {"in", LENGTH, 254, 1e4, 0},
    {"ft", LENGTH, 3048, 1e4, 0},
    {"s", TIME, 1, 1, 0},
    {"min", TIME, 60, 1, 0},
    {"h", TIME, 3600, 1, 0},
    {"d", TIME, 86400, 1, 0},
    {"Pa", PRESSURE, 1, 1, 0},
    {"hPa", PRESSURE, 100, 1, 0},
    {"kPa", PRESSURE, 1000, 1, 0},
    {"bar", PRESSURE, 1e5, 1, 0},
    {"psi", PRESSURE, 6894.757293168361, 1, 0},
    {"inH2O", PRESSURE, 249.08891, 1, 0},
    {"fraction", FRACTION, 1, 1, 0},
    {"%", FRACTION, 1, 100, 0},
    {"ppm", FRACTION, 1, 1e6, 0},
    {"mg/kg", FRACTION, 1, 1e6, 0},
    {"g/kg", FRACTION, 1, 1000, 0},
    {"1", COUNT, 1, 1, 0},
    {"cfu", COUNT, 1, 1, 0},
    {"cfu/m3", AIR_COUNT, 1, 1, 0},
    {"cfu/ft3", AIR_COUNT, 1e9, 28316846.592, 0},
    {"cfu/g", MASS_COUNT, 1, 1, 0},
    {"cfu/100cm2", SURFACE_COUNT, 1, 1, 0},
    {"cfu/25cm2", SURFACE_COUNT, 4, 1, 0},
    {"mmol/L", CONCENTRATION, 1, 1, 0},
};

/* Spellings met in plant files, lower case and without blanks, next to the names above. */
static const struct {
    const char *spelling, *name;
} spellings[] = {
    {"c", "degC"},
    {"\u00b0c", "degC"},
    {"celsius", "degC"},
    {"\u2103", "degC"},
    {"f", "degF"},
    {"\u00b0f", "degF"},
    {"fahrenheit", "degF"},
    {"\u2109", "degF"},
    {"kelvin", "K"},
    {"kgs", "kg"},
    {"kilogram", "kg"},
    {"kilograms", "kg"},
    {"gram", "g"},
    {"grams", "g"},
    {"gr", "g"},
    {"tonne", "t"},
    {"tonnes", "t"},
    {"lbs", "lb"},
    {"pound", "lb"},
    {"pounds", "lb"},
    {"ozs", "oz"},
    {"ounce", "oz"},
    {"ounces", "oz"},
    {"liter", "L"},
    {"liters", "L"},
    {"litre", "L"},
    {"litres", "L"},
    {"m\u00b3", "m3"},
    {"ft\u00b3", "ft3"},
    {"cuft", "ft3"},
    {"gal", "gal_us"},
    {"gallon", "gal_us"},
    {"gallons", "gal_us"},
    {"floz", "floz_us"},
    {"inch", "in"},
    {"inches", "in"},
    {"sec", "s"},
    {"secs", "s"},
    {"second", "s"},
    {"seconds", "s"},
    {"mins", "min"},
    {"minute", "min"},
    {"minutes", "min"},
    {"hr", "h"},
    {"hrs", "h"},
    {"hour", "h"},
    {"hours", "h"},
    {"day", "d"},
    {"days", "d"},
    {"mbar", "hPa"},
    {"inwc", "inH2O"},
    {"percent", "%"},
    {"pct", "%"},
    {"count", "1"},
    {"cfu/m\u00b3", "cfu/m3"},
    {"cfu/ft\u00b3", "cfu/ft3"},
    {"cfu/100cm\u00b2", "cfu/100cm2"},
    {"cfu/25cm\u00b2", "cfu/25cm2"},
    {"mmol/l", "mmol/L"},
    {"mm/l", "mmol/L"},
};

/* ASCII letters lowered, blanks and the degree words' blanks dropped; false if it cannot be one. */
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

static const struct unit *by_name(const char *name)
{
    for (size_t i = 0; i < sizeof units / sizeof *units; i++)
        if (text_equal_fold(units[i].name, name))
            return &units[i];
    return NULL;
}

static const struct unit *find(const char *text)
{
    char key[32];
    if (!text || !squeeze(text, key, sizeof key))
        return NULL;
    const struct unit *unit = by_name(key);
    for (size_t i = 0; !unit && i < sizeof spellings / sizeof *spellings; i++)
        if (strcmp(spellings[i].spelling, key) == 0)
            unit = by_name(spellings[i].name);
    return unit;
}

int units_known(const char *unit)
{
    return find(unit) != NULL;
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
    double result =
        a == b ? value : ((value * a->times / a->per) + a->plus - b->plus) * b->per / b->times;
    if (!isfinite(result))
        return error_set(err, ERROR_INVALID, "is no finite number");
    *ret = result;
    return 0;
}

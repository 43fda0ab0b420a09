#include "check.h"

#include "base/units.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

struct conversion {
    double value;
    const char *from, *to;
    double expected, tolerance;
};

static void check(const struct conversion *c)
{
    double got = NAN;
    struct error err = {0};
    if (units_convert(c->value, c->from, c->to, &got, &err))
        fail_msg("%s to %s: %s", c->from, c->to, err.text);
    if (!(fabs(got - c->expected) <= c->tolerance))
        fail_msg("%g %s = %.17g %s, not %.17g", c->value, c->from, got, c->to, c->expected);
}

/* Definitions: A. Thompson, B. N. Taylor, Guide for the Use of the International System of Units,
 * NIST SP 811, 2008, Appendix B. Values are exact unless a tolerance says where they were cut. */
static void published_values(void **state)
{
    (void)state;
    static const struct conversion cases[] = {
        {-40, "degC", "degF", -40, 0},
        {-40, "degF", "degC", -40, 0},
        {-18, "C", "F", -0.4, 1e-14},
        {4, "degC", "degF", 39.2, 1e-14},
        {25, "degC", "degF", 77, 0},
        {96, "degC", "degF", 204.8, 1e-13},
        {80, "degF", "degC", 26.6667, 5e-5},
        {205, "degF", "degC", 96.1111, 5e-5},
        {0, "degC", "K", 273.15, 0},
        {32, "degF", "K", 273.15, 0},
        {50, "lb", "kg", 22.6796185, 0},
        {1, "lb", "kg", 0.45359237, 0},
        {1, "oz", "g", 28.349523125, 1e-14},
        {16, "oz", "lb", 1, 1e-15},
        {1, "gal_us", "L", 3.785411784, 0},
        {1, "floz_us", "mL", 29.5735295625, 1e-14},
        {128, "floz_us", "gal_us", 1, 1e-15},
        {1, "ft3", "L", 28.316846592, 0},
        {1, "in", "cm", 2.54, 0},
        {1, "ft", "in", 12, 1e-14},
        {1, "psi", "Pa", 6894.757, 5e-4},
        {1, "inH2O", "Pa", 249.0889, 5e-5},
        {1, "bar", "hPa", 1000, 0},
        {1, "t", "kg", 1000, 0},
    };
    for (size_t i = 0; i < COUNT_OF(cases); i++)
        check(&cases[i]);
}

/* Arithmetic, no source. */
static void ratios_and_counts(void **state)
{
    (void)state;
    static const struct conversion cases[] = {
        {1, "%", "ppm", 10000, 0},
        {0.3, "%", "ppm", 3000, 1e-12},
        {3000, "mg/kg", "%", 0.3, 1e-16},
        {3, "g/kg", "%", 0.3, 1e-16},
        {50, "percent", "fraction", 0.5, 0},
        {12, "cfu/25cm2", "cfu/100cm2", 48, 0},
        {48, "cfu/100cm2", "cfu/25cm2", 12, 0},
        {1, "cfu/ft3", "cfu/m3", 35.314667, 5e-7},
        {7, "cfu", "1", 7, 0},
        {2, "h", "min", 120, 0},
        {36, "h", "d", 1.5, 0},
        {90, "minutes", "hr", 1.5, 0},
        {23, "cfu/m\u00b3", "CFU/m3", 23, 0},
        {2, "mmol/l", "mmol/L", 2, 0},
    };
    for (size_t i = 0; i < COUNT_OF(cases); i++)
        check(&cases[i]);
}

static void spellings(void **state)
{
    (void)state;
    static const struct {
        const char *spelling, *name;
    } same[] = {
        {"\u00b0C", "degC"},  {"\u00b0 F", "degF"},
        {"Deg C", "degC"},    {"DEGF", "degF"},
        {"f", "degF"},        {"\u2103", "degC"},
        {" LBS ", "lb"},      {"Pounds", "lb"},
        {"ML", "mL"},         {"l", "L"},
        {"fl oz", "floz_us"}, {"HR", "h"},
        {"PCT", "%"},         {"cfu / 25 cm2", "cfu/25cm2"},
    };
    for (size_t i = 0; i < COUNT_OF(same); i++) {
        struct conversion c = {12.5, same[i].spelling, same[i].name, 12.5, 0};
        check(&c);
        assert_true(units_known(same[i].spelling));
    }
}

static void refusals(void **state)
{
    (void)state;
    static const struct {
        const char *from, *to, *text;
    } cases[] = {
        {"degC", "kg", "unit 'degC' cannot become 'kg'"},
        {"lbs", "L", "unit 'lb' cannot become 'L'"},
        {"cfu/m3", "cfu/g", "unit 'cfu/m3' cannot become 'cfu/g'"},
        {"stone", "kg", "unit 'stone' is not known"},
        {"kg", "", "unit '' is not known"},
        {"kg", " ", "unit ' ' is not known"},
        {"kg", "c celsius", "unit 'c celsius' is not known"},
        {"kg", "a very long name that no unit has and never will", NULL},
        {NULL, "kg", NULL},
    };
    for (size_t i = 0; i < COUNT_OF(cases); i++) {
        double got = -77;
        struct error err = {0};
        assert_int_equal(units_convert(1, cases[i].from, cases[i].to, &got, &err), ERROR_INVALID);
        assert_true(got == -77);
        if (cases[i].text)
            assert_string_equal(err.text, cases[i].text);
    }
    double got = -77;
    assert_int_equal(units_convert(NAN, "kg", "g", &got, NULL), ERROR_INVALID);
    assert_int_equal(units_convert(1e308, "kg", "mg", &got, NULL), ERROR_INVALID);
    assert_true(got == -77);
    assert_false(units_known("furlong"));
    assert_false(units_known(NULL));
}

/* Blanks are no letters of it, however many there are; no unit's name is longer than 30 letters. */
static void long_ones(void **state)
{
    static const char blanks[] = "          "
                                 "          "
                                 "          "
                                 "          ";
    char text[64];
    (void)state;
    snprintf(text, sizeof text, "k%sg", blanks);
    assert_true(units_known(text));
    snprintf(text, sizeof text, "\tk\tg\t");
    assert_true(units_known(text));
    for (size_t length = 30; length < 34; length++) {
        snprintf(text, sizeof text, "kg%.*s", (int)length - 2,
                 "aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa");
        assert_false(units_known(text));
    }
}

static void what_names_promise(void **state)
{
    static const struct {
        const char *name, *unit, *suffix;
    } CASES[] = {{"flour_kg", "kg", "_kg"},
                 {"unit_g", "g", "_g"},
                 {"dose_pct", "%", "_pct"},
                 {"dose_pct_flour", "%", "_pct_flour"},
                 {"shelf_life_days", "d", "_days"},
                 {"spores_cfu_g", "cfu/g", "_cfu_g"}, /* and not g: the longest */
                 {"crumb_ph", "pH", "_ph"},
                 {"_kg", NULL, ""},
                 {"kg", NULL, ""},
                 {"flour_kgs", NULL, ""},
                 {"", NULL, ""}};
    (void)state;
    for (size_t i = 0; i < COUNT_OF(CASES); i++) {
        const char *suffix = NULL, *unit = units_promised(CASES[i].name, &suffix);
        if (strcmp(unit ? unit : "-", CASES[i].unit ? CASES[i].unit : "-") != 0 ||
            strcmp(suffix, CASES[i].suffix) != 0)
            fail_msg("%s: %s %s", CASES[i].name, unit ? unit : "-", suffix);
        assert_ptr_equal(suffix + strlen(suffix), CASES[i].name + strlen(CASES[i].name));
    }
}

/* There and back again: two roundings at most on each way. */
static void round_trips(void **state)
{
    (void)state;
    static const char *const pairs[][2] = {
        {"degC", "degF"}, {"degF", "K"}, {"lb", "kg"},     {"oz", "t"},           {"floz_us", "m3"},
        {"in", "m"},      {"d", "s"},    {"psi", "inH2O"}, {"cfu/ft3", "cfu/m3"},
    };
    for (size_t i = 0; i < COUNT_OF(pairs); i++)
        for (int n = -400; n < 5000; n += 73) {
            double x = n / 10.0;
            double there = 0;
            double back = 0;
            assert_int_equal(units_convert(x, pairs[i][0], pairs[i][1], &there, NULL), 0);
            assert_int_equal(units_convert(there, pairs[i][1], pairs[i][0], &back, NULL), 0);
            assert_true(fabs(back - x) <= 1e-15 * (fabs(x) + 1000));
        }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(published_values),   cmocka_unit_test(ratios_and_counts),
        cmocka_unit_test(spellings),          cmocka_unit_test(refusals),
        cmocka_unit_test(round_trips),        cmocka_unit_test(long_ones),
        cmocka_unit_test(what_names_promise),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

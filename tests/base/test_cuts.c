/* The cuts of the week: one table, its words, its sets. */
#include "check.h"

#include "base/cuts.h"
#include "base/error.h"
#include <stdlib.h>
#include <string.h>

static void set_is(unsigned set, const char *names)
{
    struct text_buffer text = {0};
    text_append(&text, "");
    for (const struct cut *c = cuts_all(); c->name; c++)
        if (cuts_in(set, c))
            text_appendf(&text, "%s%s", text.length ? " " : "", c->name);
    assert_string_equal(text.data, names);
    text_buffer_free(&text);
}

static void each_flag_has_its_cuts(void **state)
{
    (void)state;
    set_is(cuts_set(CUT_JUDGED), "line product cause route shift store");
    set_is(cuts_set(CUT_MANY), "store");
    set_is(cuts_set(CUT_USUAL), "line product cause place route shift");
    set_is(cuts_set(CUT_SENT), "route store retailer");
    set_is(0, "");
}

static void what_is_counted_in_fractions_and_by_lent_units(void **state)
{
    (void)state;
    unsigned fractional = 0, lent = 0;
    for (const struct cut *c = cuts_all(); c->name; c++) {
        fractional |= cuts_fractional(c) ? 1u << (c - cuts_all()) : 0;
        lent |= cuts_lent_units(c) ? 1u << (c - cuts_all()) : 0;
    }
    set_is(fractional, "cause place");
    set_is(lent, "cause place channel");
}

static void words_are_read(void **state)
{
    unsigned set = 99;
    struct text_buffer all = {0};
    (void)state;
    assert_int_equal(cuts_parse(" route,, line ", &set, NULL), 0);
    set_is(set, "line route");
    assert_int_equal(cuts_parse(NULL, &set, NULL), 0);
    set_is(set, "");
    cuts_list(&all);
    assert_string_equal(
        all.data, "line, product, cause, place, route, shift, plant, store, channel, retailer");
    assert_int_equal(cuts_parse(all.data, &set, NULL), 0);
    set_is(set, "line product cause place route shift plant store channel retailer");
    text_buffer_free(&all);
    assert_string_equal(cuts_find("store")->where, "at store");
    assert_null(cuts_find("stor"));
    assert_null(cuts_find(""));
}

static void what_is_none_is_named(void **state)
{
    unsigned set = 99;
    struct error err = {0};
    (void)state;
    assert_int_equal(cuts_parse("line, moon, star", &set, &err), ERROR_INVALID);
    assert_int_equal(set, 99);
    assert_string_equal(err.field, "by");
    assert_string_equal(err.value, "moon");
    assert_non_null(strstr(err.text, "must be among line, product"));
    err = (struct error){0};
    assert_int_equal(cuts_parse("lines-that-go-on-for-more-than-one-and-thirty", &set, &err),
                     ERROR_INVALID);
    assert_string_equal(err.value, "lines-that-go-on-for-more-than-");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(each_flag_has_its_cuts),
        cmocka_unit_test(what_is_counted_in_fractions_and_by_lent_units),
        cmocka_unit_test(words_are_read),
        cmocka_unit_test(what_is_none_is_named),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

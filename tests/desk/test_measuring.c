/* Results as people write them: what they are taken for, and what cannot be so. */
#include "check.h"
#include "desk/measuring.h"
#include <math.h>
#include <string.h>

static int setup(void **state)
{
    struct error err = {0};
    struct triage *triage = NULL;
    int rc = triage_new(ODDLOAF_SOURCE_DIR "/rules", NULL, NULL, NULL, &triage, &err);
    *state = triage;
    return rc;
}

static int teardown(void **state)
{
    triage_free(*state);
    return 0;
}

static struct measuring read_as(const struct triage *triage, const char *name, json_t *value)
{
    struct measuring m;
    struct error err = {0};
    if (measuring_read(triage, name, value, &m, &err))
        fail_msg("%s: %s", name, err.text);
    json_decref(value);
    return m;
}

static void test_names_units_and_words(void **state)
{
    static const struct {
        const char *name, *said, *quantity, *word;
        double value;
    } READ[] = {
        {"crumb_ph", "5.9", "crumb_ph", "", 5.9},
        {"Crumb pH", " 5.9 ", "crumb_ph", "", 5.9},
        {"crumb-ph", "5.9 pH", "crumb_ph", "", 5.9},
        {"core_at_pack", "104 degF", "core_at_pack_c", "", 40},
        {"core_at_pack_c", "104 F", "core_at_pack_c", "", 40},
        {"propionate_ppm", "0.16 %", "propionate_ppm", "", 1600},
        {"mold_genus", "Penicillium", "mold_genus", "penicillium", NAN},
        {"mold_genus", "PENICILLIUM roqueforti", "mold_genus", "penicillium", NAN},
        {"mold_genus", "Wallemia (W. sebi)", "mold_genus", "wallemia", NAN},
        {"mold_genus", "Fusarium", "mold_genus", "", NAN},
    };
    for (size_t i = 0; i < COUNT_OF(READ); i++) {
        struct measuring m = read_as(*state, READ[i].name, json_string(READ[i].said));
        assert_true(m.known);
        assert_string_equal(m.quantity, READ[i].quantity);
        assert_string_equal(m.word, READ[i].word);
        assert_true(isnan(READ[i].value) ? isnan(m.value) : fabs(m.value - READ[i].value) < 1e-9);
    }
    assert_true(read_as(*state, "crumb_ph", json_real(5.25)).value == 5.25);
    assert_string_equal(read_as(*state, "crumb_ph", json_null()).said, "");
}

/* Its title is a quantity's name as well. */
static void test_a_title_is_a_name(void **state)
{
    struct measuring m = read_as(*state, "Crumb water activity", json_string("0.97"));
    assert_true(m.known);
    assert_string_equal(m.quantity, "crumb_aw");
    assert_true(m.value > 0.969 && m.value < 0.971);
}

static void test_what_the_rules_do_not_know_is_kept(void **state)
{
    static const struct {
        const char *name, *like;
    } NAMES[] = {{"crumb_hp", "crumb_ph"},
                 {"propionat", "propionate_ppm"},
                 {"cumb_ph", "crumb_ph"},
                 {"mold genius", "mold_genus"},
                 {"moisture", "crumb_moisture_pct"},
                 {"yeasts_cfu_g", NULL},
                 {"E. coli", NULL},
                 {"ash", NULL}};
    for (size_t i = 0; i < COUNT_OF(NAMES); i++) {
        struct measuring m = read_as(*state, NAMES[i].name, json_string("<10"));
        assert_false(m.known);
        assert_true(isnan(m.value));
        assert_string_equal(m.said, "<10");
        assert_string_equal(m.quantity, NAMES[i].name);
        if (!NAMES[i].like && m.like)
            fail_msg("%s is taken for %s", NAMES[i].name, m.like);
        if (NAMES[i].like && (!m.like || strcmp(m.like, NAMES[i].like) != 0))
            fail_msg("%s is taken for %s, not %s", NAMES[i].name, m.like ? m.like : "nothing",
                     NAMES[i].like);
    }
}

static void refused(const struct triage *triage, const char *name, json_t *value, const char *why)
{
    struct measuring m;
    struct error err = {0};
    assert_int_equal(measuring_read(triage, name, value, &m, &err), ERROR_INVALID);
    if (!strstr(err.text, why))
        fail_msg("%s: %s, not %s", name, err.text, why);
    assert_string_equal(err.field, m.quantity);
    json_decref(value);
}

static void test_what_cannot_be_so_is_refused(void **state)
{
    char longest[200];
    memset(longest, 'x', sizeof longest - 1);
    longest[sizeof longest - 1] = '\0';
    refused(*state, "crumb_ph", json_string("52"), "outside the plausible range 2.5 to 9.5 pH");
    refused(*state, "crumb_ph", json_string("5.4pH"), "is no number");
    refused(*state, "crumb_ph", json_string("5,4"), "the decimal sign is a point");
    refused(*state, "crumb_ph", json_string("<5"), "is no number");
    refused(*state, "crumb_ph", json_string("nan"), "is no number");
    refused(*state, "crumb_ph", json_string("5 kg"), "");
    refused(*state, "crumb_ph", json_string(" "), "must be a result");
    refused(*state, "crumb_ph", json_string(longest), "must be a result of at most");
    refused(*state, "crumb_ph", json_true(), "must be a number or a text");
    refused(*state, "mold_genus", json_string("7"), "is told in words");
    refused(*state, "mold_genus", json_integer(7), "is told in words");
    refused(*state, "settle_plate_cfu", json_string("7"), "of a place of the plant");
    refused(*state, "yeast_pct_flour", json_string("2"), "is worked out from");
    refused(*state, "", json_string("2"), "1 to 47 bytes");
    refused(*state, longest, json_string("2"), "1 to 47 bytes");
}

static void test_what_cannot_be_so_of_the_lot_is_refused(void **state)
{
    struct evidence_lot lot = {.made_from_ms = 10 * WHEN_DAY_MS,
                               .packed_from_ms = 11 * WHEN_DAY_MS,
                               .packed_to_ms = 11 * WHEN_DAY_MS};
    struct measuring ph = read_as(*state, "crumb_ph", json_real(5.3));
    struct measuring free_days = read_as(*state, "mold_free_days", json_integer(9));
    struct error err = {0};
    assert_int_equal(measuring_check(&ph, &lot, NULL, 10 * WHEN_DAY_MS, &err), 0);
    assert_int_equal(measuring_check(&ph, &lot, NULL, 10 * WHEN_DAY_MS - 1, &err), ERROR_INVALID);
    assert_string_equal(err.field, "at");
    error_clear(&err);
    assert_int_equal(measuring_check(&free_days, &lot, NULL, 20 * WHEN_DAY_MS, &err), 0);
    assert_int_equal(measuring_check(&free_days, &lot, NULL, 18 * WHEN_DAY_MS, &err),
                     ERROR_INVALID);
    assert_non_null(strstr(err.text, "7.0 days before that look"));
    struct measuring frozen = read_as(*state, "frozen_days", json_integer(9));
    error_clear(&err);
    assert_int_equal(measuring_check(&frozen, &lot, NULL, 20 * WHEN_DAY_MS, &err), 0);
    assert_int_equal(measuring_check(&frozen, &lot, NULL, 18 * WHEN_DAY_MS, &err), ERROR_INVALID);
    assert_non_null(strstr(err.text, "cannot have been frozen longer"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_names_units_and_words),
        cmocka_unit_test(test_a_title_is_a_name),
        cmocka_unit_test(test_what_the_rules_do_not_know_is_kept),
        cmocka_unit_test(test_what_cannot_be_so_is_refused),
        cmocka_unit_test(test_what_cannot_be_so_of_the_lot_is_refused),
    };
    return cmocka_run_group_tests(tests, setup, teardown);
}

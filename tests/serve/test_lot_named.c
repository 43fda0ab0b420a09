/* A lot that somebody names: as printed, as read, on no record, read as two. */
#include "../store/fixture.h"
#include "lots/lot_rules.h"
#include "serve/lot_named.h"

static struct setup *rules(void)
{
    static struct setup setup;
    struct error err = {0};
    if (!setup.matcher &&
        (tz_open("UTC", &setup.tz, &err) ||
         lot_rules_load(ODDLOAF_SOURCE_DIR "/rules/lots.json", NULL, NULL, &setup.matcher, &err)))
        fail_msg("%s", err.text);
    return &setup;
}

static int setup(void **state)
{
    return fixture_with(
        state, FIXTURE_LOT
        "INSERT INTO lot(id, lot, fold, product_id, line, made_from_ms, made_to_ms, packed_from_ms,"
        " packed_to_ms, units, code_day) VALUES(2, 'K 2', 'K2', 1, '1', 0, 1, 2, 3, 1000, 10),"
        " (3, 'M-3', 'M3', 1, '1', 0, 1, 2, 3, 1000, 10), (4, 'm 3', 'M3', 1, '1', 0, 1, 2, 3,"
        " 1000, 10), (5, 'L9 6326 B1846', 'L96326B1846', 1, '1', 0, 1, 2, 3, 1000, 10)");
}

static void named(struct store *store, const char *text, int64_t lot_id, const char *code)
{
    struct hold_of of;
    struct error err = {0};
    if (lot_named(rules(), store, text, 0, &of, &err))
        fail_msg("%s: %s", text, err.text);
    assert_int_equal(of.lot_id, lot_id);
    assert_string_equal(of.code, code);
}

static void a_code_is_a_lots_or_its_own(void **state)
{
    struct fixture *f = *state;
    struct hold_of of;
    struct error err = {0};
    named(f->store, "L1", 1, "L1");
    named(f->store, "k-2", 2, "K 2");
    named(f->store, "M-3", 3, "M-3"); /* letter for letter */
    named(f->store, "Z9 0000", 0, "Z9 0000");
    assert_int_equal(lot_named(rules(), f->store, "m3", 0, &of, &err), ERROR_CONFLICT);
    assert_string_equal(err.text, "m3 may be m 3 or M-3; nothing was recorded");
    assert_string_equal(err.field, "lots");
    assert_string_equal(err.value, "m3");
    assert_non_null(strstr(err.hint, "write the code as it is on record"));
}

/* 0, or that they are refused as one code. */
static int words(struct store *store, const char *a, const char *b, const char *c,
                 struct error *err)
{
    json_t *texts = json_pack("[s, s, s]", a, b, c);
    struct hold_of of[3];
    size_t i;
    json_t *one;
    json_array_foreach(texts, i, one)
        assert_int_equal(lot_named(rules(), store, json_string_value(one), 0, &of[i], err), 0);
    int rc = lot_named_whole(store, texts, of, err);
    json_decref(texts);
    return rc;
}

static void words_of_one_code_lost_their_quotes(void **state)
{
    struct fixture *f = *state;
    struct error err = {0};
    assert_int_equal(words(f->store, "L9", "6326", "B1846", &err), ERROR_CONFLICT);
    assert_non_null(strstr(err.text, "together they are lot L9 6326 B1846"));
    assert_string_equal(err.field, "lots");
    assert_non_null(strstr(err.hint, "'L9 6326 B1846'"));
    error_clear(&err);
    assert_int_equal(words(f->store, "L9", "6326", "B1847", &err), 0);
    assert_int_equal(words(f->store, "L1", "K2", "Z9 0000", &err), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(a_code_is_a_lots_or_its_own, setup, fixture_close),
        cmocka_unit_test_setup_teardown(words_of_one_code_lost_their_quotes, setup, fixture_close),
    };
    int rc = cmocka_run_group_tests(tests, NULL, NULL);
    lot_rules_free(rules()->matcher);
    tz_close(rules()->tz);
    return rc;
}

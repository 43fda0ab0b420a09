/* What is doubted of a case: once, however many said the same, with the newest that did. */
#include "desk/logged.h"
#include "fixture.h"

#define THIRD "01990000-0000-7000-8000-000000000003"
#define FOURTH "01990000-0000-7000-8000-000000000004"
#define WRONG(day) "{'code_date':'2026-12-" day "','received_at':'2026-11-20T09:"

/* "field value complaint; …" of what is doubted. */
static void assert_doubted(const json_t *into, const char *wanted)
{
    struct text_buffer told = {0};
    const json_t *doubts = json_object_get(into, "doubts"), *one;
    size_t i;
    assert_true(json_is_array(doubts));
    json_array_foreach(doubts, i, one)
        text_appendf(&told, "%s%s %s %s", told.length ? "; " : "",
                     json_string_value(json_object_get(one, "field")),
                     json_string_value(json_object_get(one, "value")),
                     json_string_value(json_object_get(one, "complaint")) + UUID_TEXT - 2);
    if (strcmp(told.data ? told.data : "", wanted) != 0)
        fail_msg("%s is not %s", told.data ? told.data : "", wanted);
    text_buffer_free(&told);
}

static void doubts_of(struct fixture *f, const char *wanted)
{
    json_t *into = json_object();
    logged_case_doubts(&f->desk, f->store, 1, into);
    assert_doubted(into, wanted);
    json_decref(into);
}

static void the_same_is_doubted_once(void **state)
{
    struct fixture *f = *state;
    fixture_log(f, FIRST, WRONG("24") "14:00-05:00'}");
    doubts_of(f, "code_date 2026-12-24 1");
    fixture_log(f, SECOND, WRONG("24") "15:00-05:00'}");
    fixture_log(f, THIRD, WRONG("25") "16:00-05:00'}");
    fixture_log(f, FOURTH, "{}");
    assert_int_equal(fixture_number(f, "SELECT count(*) FROM complaint_case"), 1);
    doubts_of(f, "code_date 2026-12-25 3; code_date 2026-12-24 2");
    json_t *into = json_object();
    logged_doubts(&f->desk, f->store,
                  fixture_number(f, "SELECT id FROM complaint WHERE uuid = '" SECOND "'"), into);
    assert_doubted(into, "code_date 2026-12-24 2");
    json_decref(into);
}

static const char *says_of(const json_t *into)
{
    const json_t *one = json_array_get(json_object_get(into, "doubts"), 0);
    return one ? json_string_value(json_object_get(one, "says")) : "";
}

/* Lot 1 was packed on 14 November: mold takes its days, staling does not. */
static void mold_a_day_after_packing_is_doubted(void **state)
{
    static const struct {
        const char *body, *doubted, *says;
    } CASES[] = {
        {"{'found_on':'2026-11-15'}", "found_on 2026-11-15 1", "the day after lot L1 6318 A0400"},
        {"{'found_on':'2026-11-14'}", "found_on 2026-11-14 1", "the day lot L1 6318 A0400"},
        {"{'received_at':'2026-11-15T18:00:00-05:00'}", "received_at 2026-11-15T18:00:00-05:00 1",
         "older bread was packed with it"},
        {"{'found_on':'2026-11-16'}", "", ""},
        {"{'symptom':'staling','found_on':'2026-11-15'}", "", ""}};
    struct fixture *f = *state;
    for (size_t i = 0; i < sizeof CASES / sizeof *CASES; i++) {
        json_t *into = json_object();
        fixture_begin(f);
        fixture_log(f, FIRST, CASES[i].body);
        logged_case_doubts(&f->desk, f->store, 1, into);
        assert_doubted(into, CASES[i].doubted);
        assert_non_null(strstr(says_of(into), CASES[i].says));
        json_decref(into);
        fixture_end(f, false);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(mold_a_day_after_packing_is_doubted, fixture_clean,
                                        fixture_cleaned),
        cmocka_unit_test_setup_teardown(the_same_is_doubted_once, fixture_clean, fixture_cleaned),
    };
    return cmocka_run_group_tests(tests, fixture_open, fixture_close);
}

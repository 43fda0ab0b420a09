#include "base/phone_key.h"
#include "base/text.h"
#include "check.h"

static void writings_of_a_number_begin_alike(void **state)
{
    static const struct {
        const char *written, *key;
    } CASES[] = {
        {"555-0100", "#0010555"},
        {"(555) 0100-123", "#321001055"},
        {"030-55501", "#1055503"},
        {"03055501", "#1055503"},
        {"+49 30 55501", "#105550394"},
        {"0049 (0)30/55501", "#105550309"},
        {"12345", "#54321"},
    };
    (void)state;
    for (size_t i = 0; i < COUNT_OF(CASES); i++) {
        char folded[64], key[64] = "";
        assert_true(phone_key(text_fold(CASES[i].written, folded, sizeof folded), key, sizeof key));
        assert_string_equal(key, CASES[i].key);
    }
}

static void what_is_no_number_stays(void **state)
{
    static const char *const WORDS[] = {"", "1234", "lot 12345", "a@b.example", "#"};
    (void)state;
    for (size_t i = 0; i < COUNT_OF(WORDS); i++) {
        char key[64] = "as it was";
        assert_false(phone_key(WORDS[i], key, sizeof key));
        assert_string_equal(key, "as it was");
    }
}

static void a_key_is_cut_to_its_room(void **state)
{
    char key[6];
    (void)state;
    assert_true(phone_key("5550100", key, sizeof key));
    assert_string_equal(key, "#0010");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(writings_of_a_number_begin_alike),
        cmocka_unit_test(what_is_no_number_stays),
        cmocka_unit_test(a_key_is_cut_to_its_room),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

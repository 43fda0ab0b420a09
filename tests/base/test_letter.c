/* The lengths of UTF-8's table (RFC 3629, 3) at both ends of each, and its own examples (7). */
#include "base/letter.h"
#include "check.h"
#include <string.h>

static void a_letter_has_its_bytes(void **state)
{
    static const struct {
        uint32_t letter;
        const char *utf8;
    } LETTERS[] = {{0x01, "\x01"},
                   {0x41, "A"},
                   {0x7F, "\x7F"},
                   {0x80, "\xC2\x80"},
                   {0x391, "\xCE\x91"},
                   {0x7FF, "\xDF\xBF"},
                   {0x800, "\xE0\xA0\x80"},
                   {0x2262, "\xE2\x89\xA2"},
                   {0xFFFF, "\xEF\xBF\xBF"},
                   {0x10000, "\xF0\x90\x80\x80"},
                   {0x233B4, "\xF0\xA3\x8E\xB4"},
                   {0x10FFFF, "\xF4\x8F\xBF\xBF"}};
    (void)state;
    for (size_t i = 0; i < COUNT_OF(LETTERS); i++) {
        char out[LETTER_BYTES];
        size_t count = letter_utf8(LETTERS[i].letter, out);
        assert_int_equal(count, strlen(LETTERS[i].utf8));
        assert_memory_equal(out, LETTERS[i].utf8, count);
    }
}

static void four_digits_are_a_number(void **state)
{
    static const struct {
        const char *text;
        bool whole;
        uint32_t value;
    } TEXTS[] = {{"0000", true, 0},      {"00e9", true, 0xE9}, {"20AC!", true, 0x20AC},
                 {"fFfF", true, 0xFFFF}, {"90aG", false, 0},   {"90a", false, 0},
                 {"", false, 0},         {"-001", false, 0},   {"9:@`", false, 0},
                 {"/000", false, 0},     {"000g", false, 0}};
    (void)state;
    for (size_t i = 0; i < COUNT_OF(TEXTS); i++) {
        uint32_t value = 0;
        assert_int_equal(letter_hex(TEXTS[i].text, strlen(TEXTS[i].text), &value), TEXTS[i].whole);
        assert_int_equal(value, TEXTS[i].value);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_letter_has_its_bytes),
        cmocka_unit_test(four_digits_are_a_number),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

/* What others than the desk read of a caller's words. */
#include "check.h"
#include "intake/mask.h"
#include <stdlib.h>

static void assert_masked(const char *text, const char *expected)
{
    json_t *contact = json_pack("{s:s, s:s, s:s}", "name", "Dana O'Neill de la Peña", "phone",
                                "+1 (607) 555-0142", "email", "dana@example.invalid");
    char *masked = mask_contact(text, contact);
    assert_string_equal(masked, expected);
    free(masked);
    json_decref(contact);
}

static void names_in_any_case(void **state)
{
    (void)state;
    assert_masked("call Dana, DANA or dana's son", "call [name], [name] or [name]'s son");
    assert_masked("Mrs. Neill or pena, de la casa", "Mrs. [name] or [name], de la casa");
    assert_masked("Danae is another", "Danae is another");
}

static void phone_numbers_in_any_writing(void **state)
{
    (void)state;
    assert_masked("ring 555-0142", "ring [phone]");
    assert_masked("ring 50142!", "ring [phone]!");
    assert_masked("+1 (607) 555-0142 or 607.555.0199.", "[phone] or [phone].");
    assert_masked("(607) 555 0142 after six", "[phone] after six");
}

static void mail_addresses(void **state)
{
    (void)state;
    assert_masked("write to dana@example.invalid.", "write to [mail address].");
    assert_masked("<d.o+x@a.example>", "<[mail address]>");
    assert_masked("2 loaves @ 3 each", "2 loaves @ 3 each");
}

static void what_is_no_contact_data_stays(void **state)
{
    (void)state;
    assert_masked("best by 2026-11-27, bought 11/16/2026", "best by 2026-11-27, bought 11/16/2026");
    assert_masked("L2 6321 B0412, 4 spots, 680 g", "L2 6321 B0412, 4 spots, 680 g");
    assert_masked("mold\r\nBcc: on it\t", "mold Bcc: on it ");
    assert_masked("schimmel auf dem Brötchen", "schimmel auf dem Brötchen");
    assert_masked("", "");
    char *masked = mask_contact("ask Dana at 555-0142", NULL);
    assert_string_equal(masked, "ask Dana at [phone]");
    free(masked);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(names_in_any_case),
        cmocka_unit_test(phone_numbers_in_any_writing),
        cmocka_unit_test(mail_addresses),
        cmocka_unit_test(what_is_no_contact_data_stays),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

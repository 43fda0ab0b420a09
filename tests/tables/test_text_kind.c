/* Files that spreadsheets save and nobody here reads. */
#include "check.h"
#include "tables/text_kind.h"
#include <string.h>

static void text_of_two_bytes_is_named(void **state)
{
    static const struct {
        const char *head;
        size_t length;
        bool text;
    } ROWS[] = {{"", 0, true},
                {"l", 1, true},
                {"lot,line", 8, true},
                {"\xEF\xBB\xBFlot", 6, true},
                {"\xC3\xA9\xC3\xA9", 4, true},
                {"a\0bc", 4, true}, /* a stray NUL is another fault */
                {"\xFF\xFEl\0o\0", 6, false},
                {"\xFE\xFF\0l\0o", 6, false},
                {"l\0o\0", 4, false},
                {"\0l\0o", 4, false},
                {"\xFF\xFE\0\0l\0\0\0", 8, false},
                {"l\0\0\0", 4, false}};
    (void)state;
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        struct error err = {0};
        int rc = text_kind_check(ROWS[i].head, ROWS[i].length, &err);
        if (rc != (ROWS[i].text ? 0 : ERROR_INVALID))
            fail_msg("row %zu: %d", i, rc);
        assert_true(ROWS[i].text || (strstr(err.text, "UTF-16") && strstr(err.hint, "CSV UTF-8")));
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(text_of_two_bytes_is_named)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}

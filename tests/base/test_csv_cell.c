/* Cells of CSV files: what a spreadsheet or a screen would make of them, and that they come back.
 */
#include "base/csv_cell.h"
#include "check.h"
#include <stdlib.h>
#include <string.h>

static void assert_cell(const char *text, const char *cell)
{
    struct text_buffer b = {0};
    csv_cell_append(&b, text);
    assert_string_equal(b.data, cell);
    text_buffer_free(&b);
}

static void formulas_have_an_apostrophe(void **state)
{
    (void)state;
    assert_cell("plain \"quoted\"", "\"plain \"\"quoted\"\"\"");
    assert_cell("=1+1", "\"'=1+1\"");
    assert_cell("\uFF1D1+1", "\"'\uFF1D1+1\"");
    assert_cell("''-x", "\"'''-x\"");
}

/* A row that reads as two, or backwards, says what was never written. */
static void marks_are_written_out(void **state)
{
    (void)state;
    assert_cell("a\u202Eb", "\"a\\u202Eb\"");
    assert_cell("\u2066x\u2069", "\"\\u2066x\\u2069\"");
    assert_cell("a\u2028b\u2029c\xC2\x85.\x0B\x7F", "\"a\\u2028b\\u2029c\\u0085.\\u000B\\u007F\"");
    assert_cell("a\u061Cb\uFEFFc\u200Bd", "\"a\\u061Cb\\uFEFFc\\u200Bd\"");
    assert_cell("a\r\nb\tc", "\"a\\u000D\nb\tc\"");
    assert_cell("C:\\users\\new", "\"C:\\u005Cusers\\new\"");
}

static void every_text_comes_back(void **state)
{
    static const char *const TEXTS[] = {"a\u202Eb\u2028", "C:\\users",    "\\u202E", "\\\\u202E\\u",
                                        "\xC2\x85\r\x7F", "é \\",         "\\u12",   "",
                                        "=1+1",           "\r=x",         "'\r",     "''\t'",
                                        "\uFF20x",        "\uFEFFa\u061C"};
    (void)state;
    for (size_t i = 0; i < sizeof TEXTS / sizeof TEXTS[0]; i++) {
        struct text_buffer b = {0};
        csv_cell_append(&b, TEXTS[i]);
        char *cell = xstrndup(b.data + 1, b.length - 2); /* without its quotes */
        size_t length = csv_cell_unmark(cell, strlen(cell)), escape = csv_cell_escape(cell, length);
        assert_int_equal(length - escape, strlen(TEXTS[i]));
        assert_string_equal(cell + escape, TEXTS[i]);
        free(cell);
        text_buffer_free(&b);
    }
}

static void what_others_wrote_stays(void **state)
{
    char cell[] = "\\u0041 \\u00e9 \\u202 \\u0000 \\x";
    (void)state;
    assert_int_equal(csv_cell_unmark(cell, sizeof cell - 1), sizeof cell - 1);
    assert_string_equal(cell, "\\u0041 \\u00e9 \\u202 \\u0000 \\x");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(formulas_have_an_apostrophe),
        cmocka_unit_test(marks_are_written_out),
        cmocka_unit_test(every_text_comes_back),
        cmocka_unit_test(what_others_wrote_stays),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

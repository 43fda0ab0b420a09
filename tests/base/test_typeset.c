/* Lines and numbers as people read them. */
#include "base/typeset.h"
#include "check.h"
#include <math.h>
#include <string.h>

/* Breaks `text` until nothing is left; pieces joined by '|'. */
static void broken(const char *text, int width, const char *expected)
{
    struct text_buffer out = {0};
    do {
        size_t next, length = typeset_break(text, width, &next);
        text_append_bytes(&out, text, length);
        text += next;
        text_append(&out, *text ? "|" : "");
    } while (*text);
    assert_string_equal(out.data, expected);
    text_buffer_free(&out);
}

static void lines(void **state)
{
    (void)state;
    broken("one two  three", 8, "one two|three");
    broken("exactly ten", 11, "exactly ten");
    broken("a\nb", 80, "a|b");
    broken("contamination-cooler-air", 16, "contamination-|cooler-air");
    broken("abcdefghij", 4, "abcd|efgh|ij");
    broken("ñandúes corren", 7, "ñandúes|corren");
    broken("パン屋", 4, "パン|屋");                 /* two columns a character */
    broken("ab\x7f\x1b\x7f", 3, "ab\x7f|\x1b\x7f"); /* shown as marks: a column each */
}

static void numbers(void **state)
{
    static const struct {
        double value;
        const char *shown;
    } ROWS[] = {{0, "0"},
                {7, "7"},
                {-3, "-3"},
                {0.004, "<0.01"},
                {0.19, "0.19"},
                {0.996, "1.0"},
                {65.84, "65.8"},
                {99.96, "100"},
                {999.6, "1 000"},
                {1234, "1 234"},
                {-182400, "-182 400"},
                {958173, "958 173"},
                {INFINITY, "-"},
                {NAN, "-"}};
    char text[TYPESET_NUMBER];
    struct text_buffer out = {0};
    (void)state;
    for (size_t i = 0; i < COUNT_OF(ROWS); i++)
        assert_string_equal(typeset_rough(ROWS[i].value, " ", text), ROWS[i].shown);
    assert_string_equal(typeset_rough(1e300, "\u202f", text), "1e+300");
    typeset_digits(&out, "1234567.8901", "'");
    assert_string_equal(out.data, "1'234'567.8901");
    text_buffer_free(&out);
}

static void test_counts_name_what_they_count(void **state)
{
    (void)state;
    static const struct {
        double count;
        const char *noun, *text;
    } rows[] = {
        {1, "file", "1 file"},     {0, "file", "0 files"},        {2, "complaint", "2 complaints"},
        {1, "copy", "1 copy"},     {3, "copy", "3 copies"},       {5, "day", "5 days"},
        {2, "batch", "2 batches"}, {1200, "unit", "1_200 units"}, {1.5, "day", "1.5 days"},
        {1, "loss", "1 loss"},     {2, "loss", "2 losses"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        char text[TYPESET_COUNT];
        assert_string_equal(typeset_count(rows[i].count, rows[i].noun, "_", text), rows[i].text);
    }
}

/* Nobody complains by halves. */
static void what_is_counted_by_shares_is_told_about(void **state)
{
    static const struct {
        double count;
        const char *text;
    } ROWS[] = {{0, "0"}, {7, "7"}, {3.4, "about_3"}, {0.3, "<1"}, {39.2, "39"}, {1234.6, "1_235"}};
    (void)state;
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        char text[TYPESET_NUMBER];
        assert_string_equal(typeset_about(ROWS[i].count, "_", text), ROWS[i].text);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(lines), cmocka_unit_test(numbers),
                                       cmocka_unit_test(test_counts_name_what_they_count),
                                       cmocka_unit_test(what_is_counted_by_shares_is_told_about)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}

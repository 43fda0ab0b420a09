/* The layout: wrapped, never wider than the terminal, plain where only ASCII can be shown. */
#include "base/text.h"
#include "show/table.h"
#include "show/view.h"
#include <fcntl.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* cmocka.h needs these before it */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

struct page {
    struct view v;
    char *text;
    size_t length;
};

static void page_open(struct page *p, int width, bool utf8)
{
    *p = (struct page){0};
    p->v = (struct view){.width = width, .utf8 = utf8};
    p->v.out = open_memstream(&p->text, &p->length);
}

static void page_is(struct page *p, const char *expected)
{
    fclose(p->v.out);
    assert_string_equal(p->text, expected);
    free(p->text);
}

static void lines_wrap_at_words(void **state)
{
    struct page p;
    (void)state;
    page_open(&p, 20, true);
    view_text(&p.v, VIEW_PLAIN, 2, 2, "one two three four five six");
    view_text(&p.v, VIEW_PLAIN, 0, 2, "exactly twenty chars");
    view_text(&p.v, VIEW_PLAIN, 0, 0, "a\nb");
    view_text(&p.v, VIEW_PLAIN, 0, 0, "");
    page_is(&p, "  one two three four\n    five six\nexactly twenty chars\na\nb\n\n");
}

static void a_word_too_long_is_cut_not_lost(void **state)
{
    struct page p;
    (void)state;
    page_open(&p, 10, true);
    view_text(&p.v, VIEW_PLAIN, 0, 0, "abcdefghijklmnop q");
    page_is(&p, "abcdefghij\nklmnop q\n");
}

static void a_long_label_keeps_its_distance(void **state)
{
    struct page p;
    (void)state;
    page_open(&p, 60, true);
    view_label(&p.v, "label", "value");
    view_label(&p.v, "a label far too long", "value");
    page_is(&p, "  label           value\n  a label far too long value\n");
}

static void columns_are_counted_not_bytes(void **state)
{
    struct page p;
    (void)state;
    page_open(&p, 10, true);
    view_text(&p.v, VIEW_PLAIN, 0, 0, "éééé ééééé é");
    page_is(&p, "éééé ééééé\né\n");
}

static void kept_together_at_a_hard_blank(void **state)
{
    struct page p;
    (void)state;
    page_open(&p, 10, true);
    view_text(&p.v, VIEW_PLAIN, 0, 0, "chance 81" VIEW_NBSP "% so");
    page_is(&p, "chance\n81 % so\n");
}

static void data_cannot_drive_the_terminal(void **state)
{
    struct page p;
    (void)state;
    page_open(&p, 40, true);
    view_text(&p.v, VIEW_PLAIN, 0, 0, "a\033[31mred\007 \xE2\x80\xAEltr");
    page_is(&p, "a?[31mred? ?ltr\n");
}

static void ascii_where_nothing_else_is_shown(void **state)
{
    struct page p;
    char bar[VIEW_BAR];
    (void)state;
    page_open(&p, 40, false);
    view_textf(&p.v, VIEW_PLAIN, 0, 0, "LOT… 5×3 caf\xC3\xA9 \xE6\x97\xA5 %s",
               view_bar(&p.v, 0.5, 4, bar));
    page_is(&p, "LOT... 5x3 cafe ? ==..\n");
}

static void numbers_as_people_read_them(void **state)
{
    static const struct {
        double value;
        const char *shown;
    } rows[] = {{0, "0"},
                {47.5, "47.5"},
                {-0.8, "-0.8"},
                {1200, "1" VIEW_NBSP "200"},
                {12400, "12" VIEW_NBSP "400"},
                {1234567.8, "1" VIEW_NBSP "234" VIEW_NBSP "568"},
                {0.12345, "0.1235"},
                {0.00000032, "3.2e-07"},
                {NAN, "-"}};
    char text[VIEW_NUMBER];
    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
        assert_string_equal(view_number(rows[i].value, text), rows[i].shown);
}

static void shares_never_round_to_certainty(void **state)
{
    char text[VIEW_NUMBER];
    (void)state;
    assert_string_equal(view_percent(0.81, text), "81" VIEW_NBSP "%");
    assert_string_equal(view_percent(0.004, text), "<1" VIEW_NBSP "%");
    assert_string_equal(view_percent(0.996, text), ">99" VIEW_NBSP "%");
    assert_string_equal(view_percent(0, text), "0" VIEW_NBSP "%");
    assert_string_equal(view_percent(1, text), "100" VIEW_NBSP "%");
    assert_string_equal(view_likely(0.81), "very likely");
    assert_string_equal(view_likely(0.01), "very unlikely");
}

static void bars_and_lines_of_marks(void **state)
{
    struct view v = {.utf8 = true};
    char text[VIEW_BAR];
    const double values[] = {0, 1, NAN, 2};
    (void)state;
    assert_string_equal(view_bar(&v, 0.5, 4, text), "━━··");
    assert_string_equal(view_bar(&v, 0.375, 4, text), "━╸··");
    assert_string_equal(view_bar(&v, 7, 4, text), "━━━━");
    assert_string_equal(view_bar(&v, NAN, 4, text), "····");
    assert_string_equal(view_spark(&v, values, 4, text), "▁▅" VIEW_NBSP "█");
}

static const struct column columns[] = {
    {"lot", COLUMN_LEFT, 0}, {"units", COLUMN_RIGHT, 0}, {"because", COLUMN_LEFT, 10}};

static struct table *sample(void)
{
    struct table *t = table_new(columns, 3);
    table_add(t, "L2-6321");
    table_add(t, "12 400");
    table_add(t, "packed at 46 degrees, hotter than its target");
    table_add(t, "L2");
    table_add(t, "7");
    table_add(t, NULL);
    return t;
}

static void a_table_shrinks_the_column_that_may(void **state)
{
    struct page p;
    struct table *t = sample();
    (void)state;
    page_open(&p, 40, true);
    table_print(t, &p.v, 2);
    table_free(t);
    page_is(&p, "  lot       units  because\n"
                "  L2-6321  12 400  packed at 46 degrees,\n"
                "                   hotter than its\n"
                "                   target\n"
                "  L2            7\n");
}

static void a_table_never_overflows(void **state)
{
    (void)state;
    for (int width = 30; width <= 90; width++) {
        struct page p;
        struct table *t = sample();
        page_open(&p, width, true);
        table_print(t, &p.v, 2);
        table_free(t);
        fclose(p.v.out);
        for (char *save = NULL, *line = strtok_r(p.text, "\n", &save); line;
             line = strtok_r(NULL, "\n", &save))
            assert_true(text_columns(line) <= width);
        free(p.text);
    }
}

/* Of what is broken, a heading between its words comes before a number. */
static void a_number_is_not_broken_while_a_heading_can_be(void **state)
{
    static const struct column heads[] = {{"store", COLUMN_LEFT, 0},
                                          {"units per million", COLUMN_RIGHT, 0},
                                          {"interval", COLUMN_LEFT, 0}};
    struct page p;
    struct table *t = table_new(heads, 3);
    (void)state;
    table_add(t, "R4");
    table_add(t, "40" VIEW_NBSP "000");
    table_add(t, "25" VIEW_NBSP "600" VIEW_NBSP "to" VIEW_NBSP "59" VIEW_NBSP "500");
    page_open(&p, 34, true);
    table_print(t, &p.v, 0);
    page_is(&p, "store  units per  interval\n"
                "         million\n"
                "R4        40 000  25 600 to 59 500\n");
    page_open(&p, 24, true); /* no other way */
    table_print(t, &p.v, 0);
    table_free(t);
    fclose(p.v.out);
    assert_non_null(strstr(p.text, "R4"));
    free(p.text);
}

/* A narrow terminal breaks names at their hyphens, before any word or number. */
static void cells_break_at_hyphens_first(void **state)
{
    static const struct column narrow[] = {
        {"what", COLUMN_LEFT, 4}, {"since", COLUMN_LEFT, 8}, {"times", COLUMN_LEFT, 0}};
    struct table *t = table_new(narrow, 3);
    struct page p;
    (void)state;
    table_add(t, "inhibitor-ineffective-ph");
    table_add(t, "W45," VIEW_NBSP "easing");
    table_add(t, "100" VIEW_NBSP "(90.4" VIEW_NBSP "to" VIEW_NBSP "123)");
    page_open(&p, 46, true);
    table_print(t, &p.v, 0);
    page_is(&p, "what            since        times\n"
                "inhibitor-      W45, easing  100 (90.4 to 123)\n"
                "ineffective-ph\n");
    table_free(t);
}

/* Refusals go to stderr: wrapped for people, whole for programs. */
static void a_line_is_wrapped_on_a_terminal_only(void **state)
{
    static const char TEXT[] = "oddloaf: log: the daemon refuses what was said of it because it "
                               "is longer than a line of the terminal";
    char shown[400] = "";
    char *whole;
    size_t length;
    (void)state;
    int primary = posix_openpt(O_RDWR | O_NOCTTY);
    assert_true(primary >= 0 && grantpt(primary) == 0 && unlockpt(primary) == 0);
    FILE *terminal = fopen(ptsname(primary), "r+");
    assert_non_null(terminal);
    view_line(terminal, 0, TEXT);
    fflush(terminal);
    for (ssize_t more = 1; strlen(shown) <= strlen(TEXT) && more > 0;)
        more = read(primary, shown + strlen(shown), sizeof shown - 1 - strlen(shown));
    fclose(terminal);
    close(primary);
    assert_true(strcspn(shown, "\r\n") <= 80);
    assert_non_null(strstr(shown, "\n  "));
    FILE *out = open_memstream(&whole, &length);
    view_line(out, 2, TEXT);
    fclose(out);
    assert_int_equal(strcspn(whole, "\n"), 2 + strlen(TEXT));
    free(whole);
}

static void harm_is_red_where_there_are_colours(void **state)
{
    struct page p;
    (void)state;
    page_open(&p, 80, true);
    p.v.styled = true;
    view_text(&p.v, VIEW_HARM, 0, 0, "HARM");
    view_text(&p.v, VIEW_BOLD, 0, 0, "bold");
    page_is(&p, "\033[1;31mHARM\033[0m\n\033[1mbold\033[0m\n");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(lines_wrap_at_words),
        cmocka_unit_test(a_word_too_long_is_cut_not_lost),
        cmocka_unit_test(a_long_label_keeps_its_distance),
        cmocka_unit_test(columns_are_counted_not_bytes),
        cmocka_unit_test(kept_together_at_a_hard_blank),
        cmocka_unit_test(data_cannot_drive_the_terminal),
        cmocka_unit_test(ascii_where_nothing_else_is_shown),
        cmocka_unit_test(numbers_as_people_read_them),
        cmocka_unit_test(shares_never_round_to_certainty),
        cmocka_unit_test(bars_and_lines_of_marks),
        cmocka_unit_test(a_table_shrinks_the_column_that_may),
        cmocka_unit_test(a_table_never_overflows),
        cmocka_unit_test(a_number_is_not_broken_while_a_heading_can_be),
        cmocka_unit_test(cells_break_at_hyphens_first),
        cmocka_unit_test(a_line_is_wrapped_on_a_terminal_only),
        cmocka_unit_test(harm_is_red_where_there_are_colours),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

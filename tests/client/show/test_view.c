/* The layout: wrapped, never wider than the terminal, plain where only ASCII can be shown. */
#include "base/text.h"
#include "show/table.h"
#include "show/view.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

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
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

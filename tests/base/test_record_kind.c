/* Kinds of records and their columns by name; what is no name is none of them. */
#include "base/record_kind.h"
#include "check.h"
#include <stdio.h>
#include <string.h>

static void names_and_back(void **state)
{
    (void)state;
    for (int kind = 0; kind < RECORD_KINDS; kind++) {
        const struct record_table *table = record_kind_table((enum record_kind)kind);
        enum record_kind parsed = RECORD_KINDS;
        assert_true(record_kind_parse(table->kind, &parsed));
        assert_int_equal(parsed, kind);
        assert_in_range(table->count, 1, RECORD_COLUMNS);
        for (int i = 0; i < table->count; i++)
            assert_int_equal(record_kind_column(table, table->columns[i].name), i);
        assert_int_equal(record_kind_column(table, "none"), -1);
    }
}

static void what_is_none(void **state)
{
    enum record_kind parsed = RECORD_KINDS;
    (void)state;
    assert_false(record_kind_parse("loaves", &parsed));
    assert_int_equal(parsed, RECORD_KINDS);
}

static void cells_are_equal_by_form_and_content(void **state)
{
    static const struct record_cell CELLS[] = {
        {.form = RECORD_NOTHING},
        {.form = RECORD_TEXT, .length = 1, .text = "7"},
        {.form = RECORD_TEXT, .length = 1, .text = "8"},
        {.form = RECORD_TEXT, .length = 2, .text = "78"},
        {.form = RECORD_INTEGER, .integer = 7},
        {.form = RECORD_INTEGER, .integer = 8},
        {.form = RECORD_NUMBER, .number = 7},
        {.form = RECORD_NUMBER, .number = 8},
    };
    (void)state;
    for (size_t i = 0; i < COUNT_OF(CELLS); i++)
        for (size_t j = 0; j < COUNT_OF(CELLS); j++)
            assert_int_equal(record_kind_cell_equal(&CELLS[i], &CELLS[j]), i == j);
}

/* "| `mixes` | mix, lot, at, flour_kg |": a column that need not be there has a '?'; what stands in
 * brackets, or behind a ';', is none. */
static void are_those_of_the_row(const struct record_table *table, const char *row)
{
    int told = 0, there = 0;
    while (*row && *row != '|' && *row != ';') {
        char name[32];
        size_t length = strspn(row, "abcdefghijklmnopqrstuvwxyz_");
        snprintf(name, sizeof name, "%.*s", (int)length, row);
        int column = record_kind_column(table, name);
        if (column < 0)
            fail_msg("%s has no column %s", table->kind, name);
        assert_int_equal(row[length] != '?', (table->columns[column].flags & RECORD_REQUIRED) != 0);
        told++;
        row += length;
        for (int depth = 0; *row && *row != '|' && (depth || (*row != ',' && *row != ';')); row++)
            depth += (*row == '(') - (*row == ')');
        row += *row == ',' ? 2 : 0;
    }
    for (int i = 0; i < table->count; i++)
        there += table->columns[i].type != RECORD_FOLD;
    if (told != there)
        fail_msg("%s has %d columns, README tells %d", table->kind, there, told);
}

static void the_columns_are_those_of_the_readme(void **state)
{
    char line[1000], begin[32];
    int kind = 0;
    FILE *readme = fopen(ODDLOAF_SOURCE_DIR "/README.md", "r");
    (void)state;
    assert_non_null(readme);
    while (kind < RECORD_KINDS && fgets(line, sizeof line, readme)) {
        const struct record_table *table = record_kind_table((enum record_kind)kind);
        snprintf(begin, sizeof begin, "| `%s` | ", table->kind);
        if (strncmp(line, begin, strlen(begin)) != 0)
            continue;
        are_those_of_the_row(table, line + strlen(begin));
        kind++;
    }
    fclose(readme);
    assert_int_equal(kind, RECORD_KINDS);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(names_and_back),
        cmocka_unit_test(what_is_none),
        cmocka_unit_test(cells_are_equal_by_form_and_content),
        cmocka_unit_test(the_columns_are_those_of_the_readme),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

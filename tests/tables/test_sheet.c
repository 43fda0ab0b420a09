/* Sheets: what two other programs wrote reads as the CSV it is (sheets/: openpyxl 3.0, XlsxWriter
 * 3.0); and what nobody should have written is refused. */
#include "base/text.h"
#include "tables/sheet.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <zip.h>

#include "check.h"

static int take(void *arg, const char *bytes, size_t length)
{
    text_append_bytes(arg, bytes, length);
    return 0;
}

/* The CSV, or "CODE: text (hint)". Caller frees. */
static char *read_bytes(const void *bytes, size_t length, const char *name, char decimal)
{
    struct text_buffer out = {0};
    struct error err = {0};
    const struct sheet_options options = {name, decimal};
    int rc = sheet_read(bytes, length, &options, take, &out, &err);
    if (rc) {
        assert_int_equal(rc, err.code);
        text_reset(&out);
        text_appendf(&out, "%s: %s%s%s", error_word(err.code), err.text, *err.hint ? "; " : "",
                     err.hint);
    }
    return text_take(&out);
}

static char *read_file(const char *file, const char *name, char decimal)
{
    char path[512];
    struct text_buffer bytes = {0};
    char chunk[4096];
    snprintf(path, sizeof path, "%s/tests/tables/sheets/%s", ODDLOAF_SOURCE_DIR, file);
    FILE *f = fopen(path, "rb");
    assert_non_null(f);
    for (size_t n; (n = fread(chunk, 1, sizeof chunk, f)) > 0;)
        text_append_bytes(&bytes, chunk, n);
    fclose(f);
    char *out = read_bytes(bytes.data, bytes.length, name, decimal);
    text_buffer_free(&bytes);
    return out;
}

static void check_file(const char *file, const char *name, char decimal, const char *expected)
{
    char *got = read_file(file, name, decimal);
    assert_string_equal(got, expected);
    free(got);
}

static void cells_by_their_types_and_styles(void **state)
{
    (void)state;
#define FIRST_ROWS                                                                                 \
    "\n\"Batch\",\"Day\",\"Start\",\"Made at\",\"Loaves\",\"Core\",\"Film roll\",\"Note\"\n"       \
    "\"N1121-1\",\"2026-11-21\",\"04:10\",\"2026-11-21 04:10\",\"8640\","
#define LAST_ROWS                                                                                  \
    "\"63211121\",\"1900-01-15\",,,\"1000000\",\"0%c3\",\"'=P\",\"two lines and M\xC3\xBCller\"\n" \
    "\"merged\",,,,,,\"M1\",\n\"TRUE\",\"FALSE\",,,,,,\n"
    char expected[1024];
    for (int i = 0; i < 2; i++) {
        char sign = i ? ',' : '.';
        snprintf(expected, sizeof expected,
                 FIRST_ROWS
                 "\"36%c4\",\"P771\",\"a, \"\"quoted\"\" word\"\n\n"
                 "\"N1121-2\",\"2026-11-21\",\"09:30:15\",\"2026-11-21 09:30:15\",\"8512\","
                 "\"36%c5\",,\"'-5 by hand\"\n" LAST_ROWS,
                 sign, sign, sign);
        check_file("openpyxl.xlsx", i ? "batches" : NULL, sign, expected);
    }
}

static void texts_formulas_and_the_1904_system(void **state)
{
    (void)state;
    check_file("xlsxwriter.xlsx", NULL, '.',
               "\"lot\",\"day\",\"from\",\"at\",\"rest\",\"value\",\"sum\"\n"
               "\"L1\",\"2026-11-21\",\"16:05\",\"2026-11-21 16:05\",\"30:00\",\"3.5\",\"7\"\n"
               "\n\"L2\",\"xy\",\"TRUE\",\"#DIV/0!\",\"so bold\",,\n");
    check_file("xlsxwriter.xlsx", "Tag 2", '.', "\"lot\"\n\"only\"\n");
    check_file("xlsxwriter.xlsx", "Tag 3", '.',
               "not-found: has no sheet 'Tag 3'; it has Hidden, Day 1, Tag 2");
}

/* ---- made by hand ---- */

struct part {
    const char *name, *text;
};

#define RELS                                                                                       \
    {                                                                                              \
        "_rels/.rels", "<Relationships xmlns='p'><Relationship Id='1' Type='x/officeDocument' "    \
                       "Target='w/b.xml'/></Relationships>"                                        \
    }
#define BOOK                                                                                       \
    {                                                                                              \
        "w/b.xml", "<workbook xmlns='m' xmlns:r='r'><sheets><sheet name='S' r:id='a'/></sheets>"   \
                   "</workbook>"                                                                   \
    }
#define BOOK_RELS                                                                                  \
    {                                                                                              \
        "w/_rels/b.xml.rels", "<Relationships><Relationship Id='a' Type='x/worksheet' "            \
                              "Target='/w/s.xml'/></Relationships>"                                \
    }

static void make_zip(const struct part *parts, char **ret_bytes, size_t *ret_length)
{
    zip_error_t why;
    zip_error_init(&why);
    zip_source_t *source = zip_source_buffer_create(NULL, 0, 0, &why);
    zip_t *zip = zip_open_from_source(source, ZIP_TRUNCATE, &why);
    assert_non_null(zip);
    zip_source_keep(source);
    for (; parts->name; parts++)
        assert_true(zip_file_add(zip, parts->name,
                                 zip_source_buffer(zip, parts->text, strlen(parts->text), 0),
                                 0) >= 0);
    assert_int_equal(zip_close(zip), 0);
    assert_int_equal(zip_source_open(source), 0);
    zip_source_seek(source, 0, SEEK_END);
    size_t length = (size_t)zip_source_tell(source);
    char *bytes = malloc(length);
    assert_non_null(bytes);
    zip_source_seek(source, 0, SEEK_SET);
    assert_int_equal(zip_source_read(source, bytes, length), (zip_int64_t)length);
    zip_source_close(source);
    zip_source_free(source);
    *ret_bytes = bytes;
    *ret_length = length;
}

static void check_parts(const struct part *parts, const char *expected)
{
    char *bytes = NULL;
    size_t length = 0;
    make_zip(parts, &bytes, &length);
    char *got = read_bytes(bytes, length, NULL, '.');
    assert_string_equal(got, expected);
    free(got);
    for (size_t cut = 0; cut < length; cut += 37) { /* torn anywhere: refused, never a crash */
        got = read_bytes(bytes, cut, NULL, '.');
        assert_string_not_equal(got, "");
        free(got);
    }
    free(bytes);
}

static void check_cells(const char *cells, const char *expected)
{
    struct text_buffer text = {0};
    text_appendf(&text, "<worksheet xmlns='m'><sheetData>%s</sheetData></worksheet>", cells);
    check_parts((struct part[]){RELS, BOOK, BOOK_RELS, {"w/s.xml", text.data}, {0}}, expected);
    text_buffer_free(&text);
}

static void rows_and_cells_by_hand(void **state)
{
    (void)state;
    check_cells("<row><c><v>1</v></c><c t='inlineStr'><is><t>a_x000D_b</t><rPh><t>n</t></rPh></is>"
                "</c></row><row r='4'><c r='B4'><v>2.5</v></c></row>",
                "\"1\",\"a b\"\n\n\n,\"2.5\"\n");
    check_cells("<row r='2'/><row r='2'/>", "invalid: its rows are not in order at row 2");
    check_cells("<row r='9999999'/>", "invalid: its rows are not in order at row 9999999");
    check_cells("<row><c r='B1'/><c r='A1'/></row>",
                "invalid: its cells are not in order in row 1");
    check_cells("<row><c r='ZZ1'><v>1</v></c></row>", "too-large: row 1 has more than 256 columns");
    check_cells("<row><c t='s'><v>0</v></c></row>",
                "invalid: row 1 names a text that is not there");
    check_cells("<row><c r='XYZ9999'/><c/></row>", "");
}

static void a_workbook_in_no_folder(void **state)
{
    (void)state;
    check_parts((struct part[]){{"_rels/.rels", "<Relationships><Relationship Id='1' "
                                                "Type='x/officeDocument' Target='b.xml'/>"
                                                "</Relationships>"},
                                {"b.xml", "<workbook xmlns:r='r'><sheets><sheet name='S' r:id='a'/>"
                                          "</sheets></workbook>"},
                                {"_rels/b.xml.rels", "<Relationships><Relationship Id='a' "
                                                     "Type='x/worksheet' Target='s.xml'/>"
                                                     "</Relationships>"},
                                {"s.xml", "<worksheet><sheetData><row><c><v>7</v></c></row>"
                                          "</sheetData></worksheet>"},
                                {0}},
                "\"7\"\n");
}

static void what_no_spreadsheet_writes_is_refused(void **state)
{
    (void)state;
    struct text_buffer deep = {0};
    for (int i = 0; i < 100; i++)
        text_append(&deep, "<a>");
    check_parts((struct part[]){{"a", "b"}, {0}}, "not-found: its part _rels/.rels is missing");
    check_parts((struct part[]){RELS, {0}}, "not-found: its part w/b.xml is missing");
    check_parts((struct part[]){RELS, BOOK, {0}},
                "not-found: its part w/_rels/b.xml.rels is missing");
    check_parts((struct part[]){{"_rels/.rels", "<Relationships/>"}, {0}},
                "invalid: is no workbook");
    check_parts((struct part[]){RELS, BOOK, {"w/_rels/b.xml.rels", "<Relationships/>"}, {0}},
                "invalid: does not say where its sheet is");
    check_parts((struct part[]){RELS, BOOK, BOOK_RELS, {"w/s.xml", deep.data}, {0}},
                "too-large: is nested deeper than 64");
    check_parts(
        (struct part[]){
            RELS, BOOK, BOOK_RELS, {"w/s.xml", "<!DOCTYPE a [<!ENTITY b 'c'>]><a>&b;</a>"}, {0}},
        "invalid: has a document type: no spreadsheet writes one");
    check_parts((struct part[]){RELS, BOOK, BOOK_RELS, {"w/s.xml", "<a><b></a>"}, {0}},
                "invalid: its part w/s.xml is broken at line 1: mismatched tag");
    text_buffer_free(&deep);
    char *got = read_bytes("\xD0\xCF\x11\xE0 and more", 12, NULL, '.');
    assert_string_equal(got,
                        "invalid: is a workbook of the old form, or has a password; save it as "
                        ".xlsx, without a password");
    free(got);
}

/* 24 MiB that pack to 24 KiB. */
static void a_bomb_is_given_up(void **state)
{
    (void)state;
    size_t length = (size_t)24 << 20;
    char *blanks = malloc(length);
    assert_non_null(blanks);
    memset(blanks, ' ', length - 1);
    memcpy(blanks, "<a>", 3);
    blanks[length - 1] = '\0';
    char *bytes = NULL;
    size_t packed = 0;
    make_zip((struct part[]){RELS, BOOK, BOOK_RELS, {"w/s.xml", blanks}, {0}}, &bytes, &packed);
    char *got = read_bytes(bytes, packed, NULL, '.');
    assert_string_equal(got, "too-large: unpacks to more than 20 MiB");
    free(got);
    free(bytes);
    free(blanks);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(cells_by_their_types_and_styles),
        cmocka_unit_test(texts_formulas_and_the_1904_system),
        cmocka_unit_test(rows_and_cells_by_hand),
        cmocka_unit_test(a_workbook_in_no_folder),
        cmocka_unit_test(what_no_spreadsheet_writes_is_refused),
        cmocka_unit_test(a_bomb_is_given_up),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

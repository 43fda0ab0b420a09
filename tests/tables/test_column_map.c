/* Maps of records: what is wrong in one is told with its line and column; and a plant's own table
 * made rows of ours by one. */
#include "base/jsonx.h"
#include "base/text.h"
#include "tables/cell_number.h"
#include "tables/column_map.h"
#include "tables/date_form.h"
#include "tables/table_rows.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "check.h"

static char path[] = "/tmp/oddloaf-map-XXXXXX";

static void write_map(const char *text)
{
    FILE *file = fopen(path, "w");
    assert_non_null(file);
    fputs(text, file);
    fclose(file);
}

static void on_fault(void *arg, const struct error *fault)
{
    struct text_buffer *out = arg;
    text_appendf(out, "%ld:%ld %s '%s': %s\n", fault->line, fault->column, fault->field,
                 fault->value, fault->text);
}

static void check_faults(const char *map, const char *expected)
{
    struct text_buffer out = {0};
    struct error err = {0};
    struct column_map *read = NULL;
    write_map(map);
    const struct column_map_source source = {.path = path, .report = on_fault, .arg = &out};
    int rc = column_map_load(&source, &read, &err);
    assert_string_equal(out.data ? out.data : "", expected);
    assert_true((rc == 0) == (*expected == '\0'));
    column_map_free(read);
    text_buffer_free(&out);
}

/* The rows of `csv` by `map`, read with the zone of the map or UTC. */
static void check_rows(const char *map, int part, const char *csv, const char *expected)
{
    struct error err = {0};
    struct column_map *read = NULL;
    write_map(map);
    const struct column_map_source source = {.path = path};
    if (column_map_load(&source, &read, &err))
        fail_msg("%ld:%ld %s: %s", err.line, err.column, err.value, err.text);
    for (size_t piece = 1; piece < 40; piece += 13) {
        struct text_buffer out = {0};
        struct table_rows *rows = table_rows_new(read, part, NULL);
        for (size_t at = 0; at < strlen(csv); at += piece)
            table_rows_feed(rows, csv + at, strnlen(csv + at, piece), &out);
        table_rows_finish(rows, &out);
        assert_string_equal(out.data ? out.data : "", expected);
        table_rows_free(rows);
        text_buffer_free(&out);
    }
    column_map_free(read);
}

static void faults_have_their_places(void **state)
{
    (void)state;
    check_faults("{\"columns\": {}}", "1:1  '': says no \"kind\" of record\n");
    check_faults("{\"kind\": \"lots\"}",
                 "1:1  '': needs \"columns\", an object of the file's columns\n");
    check_faults("{\"kind\": \"loaves\",\n \"columns\": {\"A\": \"lot\"}}",
                 "1:10 /kind 'loaves': must be one of products, targets, lots, mixes, uses, "
                 "readings, plantlog, dispatch\n");
    check_faults("{\"kind\": \"lots\",\n \"columns\": {\"A\": \"loot\", \"B\": 3,\n"
                 "  \"C\": [\"lot\", \"line [kg]\"]},\n \"dates\": {\"lot\": \"DD.MM.YY\",\n"
                 "  \"made_from\": \"DD.MM.YYYY\", \"code_date\": \"DD.MM\"},\n \"colour\": 1}",
                 "6:12 /colour '1': no such member\n"
                 "2:19 /columns/A 'loot': no such column of lots\n"
                 "2:32 /columns/B '3': must name a column of ours\n"
                 "3:16 /columns/C/1 'line [kg]': takes no unit\n"
                 "4:19 /dates/lot 'DD.MM.YY': is no field of a date\n"
                 "5:16 /dates/made_from 'DD.MM.YYYY': is a time: the form needs hh and mm\n"
                 "5:43 /dates/code_date 'DD.MM': does not say how a date is written\n");
    check_faults("{\"kind\": \"lots\", \"columns\": {\"A\": \"lot\"},\n \"zone\": \"Bread/Oven\",\n"
                 " \"decimal\": \",\", \"thousands\": \",\"}",
                 "2:10 /zone 'Bread/Oven': is no time zone known here\n"
                 "1:1  '': one sign for decimals and thousands\n");
    check_faults("{\"kinds\": [{\"kind\": \"lots\", \"columns\": {\"A\": \"lot\"}},\n"
                 " {\"columns\": {\"A\": \"lot\"}}]}",
                 "2:2 /kinds/1/kind '': 'kind' is missing\n");
    check_faults(
        "{\"kind\": \"readings\", \"columns\": {\"A\": \"lot\", \"K\": \"core_at_pack_c\"}}", "");
}

#define LOTS                                                                                       \
    "{\"kind\": \"lots\", \"zone\": \"Europe/Berlin\", \"thousands\": \".\", \"decimal\": "        \
    "\",\",\n"                                                                                     \
    " \"columns\": {\"Charge\": \"lot\", \"Datum\": [\"made_from\", \"made_to\"],\n"               \
    "  \"Beginn\": \"made_from\", \"Ende\": \"made_to\", \"St\xC3\xBC"                             \
    "ck\": \"units\", \"MHD\": \"code_date\"},\n"                                                  \
    " \"dates\": {\"made_from\": \"DD.MM.YYYY hh:mm\", \"made_to\": \"DD.MM.YYYY hh:mm\",\n"       \
    "  \"code_date\": \"DD.MM.YY\"}, \"constants\": {\"plant\": \"nord\"}}"

static void columns_dates_and_numbers_become_ours(void **state)
{
    (void)state;
    check_rows(LOTS, 0,
               "Beginn;Charge;St\xC3\xBC"
               "ck;Datum;Ende;MHD;Notiz\r\n"
               "6:05;L 17;12.400;20.11.2026;7:50;27.11.26;\"x\ny\"\r\n"
               ";;;;;;\r\n"
               "24:00;L 18;1.24;20.11.2026;7:50;31.11.26;\r\n"
               "6:05;L 19\r\n",
               "\n{\"made_from\":\"2026-11-20T06:05:00+01:00\",\"lot\":\"L 17\","
               "\"units\":\"12400\",\"made_to\":\"2026-11-20T07:50:00+01:00\","
               "\"code_date\":\"2026-11-27\",\"plant\":\"nord\"}\n\n\n"
               "{\"refused\":[{\"column\":\"Datum\",\"value\":\"20.11.2026 24:00\",\"reason\":"
               "\"is no date written DD.MM.YYYY hh:mm, as the map says\"},"
               "{\"column\":\"St\xC3\xBC"
               "ck\",\"value\":\"1.24\",\"reason\":\"is no number written with a decimal comma and "
               "the sign of thousands that the map names\"},"
               "{\"column\":\"MHD\",\"value\":\"31.11.26\",\"reason\":\"is no date written "
               "DD.MM.YY, as the map says\"}]}\n"
               "{\"refused\":[{\"column\":\"\",\"value\":\"\",\"reason\":\"the row has 2 fields, "
               "the header has 7\"}]}\n");
}

static void a_column_that_is_not_there_ends_the_file(void **state)
{
    (void)state;
    check_rows(
        "{\"kind\": \"lots\", \"columns\": {\"Charge\": \"lot\", \"Band\": \"line\"}}", 0,
        "Charge,Linie\nL1,2\nL2,2\n",
        "{\"refused\":[{\"column\":\"band\",\"value\":\"\",\"reason\":\"the file has no such "
        "column; the map names it\"}]}\n");
    check_rows("{\"kind\": \"lots\", \"columns\": {\"Charge\": \"lot\"}}", 0, "\n\n",
               "{\"refused\":[{\"column\":\"\",\"value\":\"\",\"reason\":\"the file is empty: its "
               "first row must name the columns\"}]}\n");
}

/* What stands open at the end is no row; what may be in it is read anew. */
static void a_quote_that_nothing_closes_is_refused(void **state)
{
    (void)state;
    check_rows("{\"kind\": \"lots\", \"columns\": {\"Charge\": \"lot\"}}", 0,
               "Charge\nL1\n\"L2\nL3\n",
               "\n{\"lot\":\"L1\"}\n{\"refused\":[{\"column\":\"\",\"value\":\"\",\"reason\":\"the "
               "quoted field that begins here does not end\"}]}\n{\"lot\":\"L3\"}\n");
}

/* Columns and words of complaints, from a file or one by one; the field's own name needs no map. */
static void complaints_by_a_file_or_by_pairs(void **state)
{
    struct error err = {0};
    struct column_map *map = column_map_new();
    bool skip = false;
    (void)state;
    write_map("{\"columns\": {\"Defect\": \"symptom\", \"Shop\": \"store\"}, \"values\": "
              "{\"symptom\": {\"Schimmel\": \"mold\"}}}");
    assert_int_equal(column_map_add(map, path, &err), 0);
    assert_int_equal(column_map_add(map, "Batch=lot_text", &err), 0);
    assert_int_equal(column_map_add(map, "Row=-", &err), 0);
    assert_string_equal(column_map_field(map, "defect", &skip), "symptom");
    assert_string_equal(column_map_field(map, "Shop", &skip), "store");
    assert_string_equal(column_map_field(map, "Batch", &skip), "lot_text");
    assert_string_equal(column_map_field(map, "lot text", &skip), "lot_text");
    assert_false(skip);
    assert_null(column_map_field(map, "Row", &skip));
    assert_true(skip);
    assert_null(column_map_field(map, "Colour of the van", &skip));
    assert_string_equal(column_map_value(map, "symptom", "Schimmel"), "mold");
    assert_string_equal(column_map_value(map, "symptom", "trocken"), "trocken");
    assert_int_equal(column_map_add(map, "Batch=no_field", &err), ERROR_INVALID);
    err = (struct error){0};
    write_map("{\"column\": {}}");
    assert_int_equal(column_map_add(map, path, &err), ERROR_INVALID);
    err = (struct error){0};
    assert_true(column_map_add(map, "/nowhere/map.json", &err) < 0);
    assert_int_not_equal(err.code, 0);
    column_map_free(map);
}

static void units_stand_in_the_header_in_the_map_or_in_the_cell(void **state)
{
    (void)state;
    check_rows("{\"kind\": \"readings\", \"header\": 2, \"columns\": {\"Lot\": \"lot\",\n"
               " \"Core\": \"core_at_pack\", \"Aw\": \"crumb_aw\", \"pH\": \"crumb_ph\"},\n"
               " \"units\": {\"Grad F\": \"degF\"}}",
               0,
               "Report of the week\nLot,Core [degC],Aw,pH\nA,96.5 Grad F,0.94,\nB,36,.95 %,"
               "5.4x\n",
               "\n\n{\"lot\":\"A\",\"core_at_pack [degF]\":\"96.5\",\"crumb_aw\":\"0.94\"}\n"
               "{\"refused\":[{\"column\":\"pH\",\"value\":\"5.4x\",\"reason\":\"the unit behind "
               "the number is not known; the map's \\\"units\\\" may name it\"}]}\n");
}

static void several_kinds_come_of_one_sheet(void **state)
{
    static const char map[] =
        "{\"kinds\": [{\"kind\": \"uses\", \"columns\": {\"Lot\": \"lot\", \"Flour lot\": "
        "\"material_lot\"},\n  \"constants\": {\"material\": \"flour\"}, \"needs\": "
        "[\"material_lot\"]},\n {\"kind\": \"uses\", \"columns\": {\"Lot\": \"lot\", \"Film\": "
        "\"material_lot\"},\n  \"constants\": {\"material\": \"film\"}, \"needs\": "
        "[\"material_lot\"]}]}";
    static const char csv[] = "Lot,Flour lot,Film\nA,F7,\nB,F8,P3\n";
    (void)state;
    check_rows(map, 0, csv,
               "\n{\"lot\":\"A\",\"material_lot\":\"F7\",\"material\":\"flour\"}\n"
               "{\"lot\":\"B\",\"material_lot\":\"F8\",\"material\":\"flour\"}\n");
    check_rows(map, 1, csv, "\n\n{\"lot\":\"B\",\"material_lot\":\"P3\",\"material\":\"film\"}\n");
}

static void times_without_a_form_have_the_year_first(void **state)
{
    static const char map[] =
        "{\"kind\": \"mixes\", \"zone\": \"America/Chicago\", \"columns\": "
        "{\"Lot\": \"lot\", \"When\": \"at\"},\n \"values\": {\"lot\": {\"none\": \"\"}}}";
    (void)state;
    check_rows(
        map, 0,
        "Lot,When\nA,2026-11-20 09:14\nB,2026-11-20T09:14:07Z\nC,11/20/2026 "
        "9:14\nD,2026-11-20\n",
        "\n{\"lot\":\"A\",\"at\":\"2026-11-20T09:14:00-06:00\"}\n"
        "{\"lot\":\"B\",\"at\":\"2026-11-20T09:14:07Z\"}\n"
        "{\"refused\":[{\"column\":\"When\",\"value\":\"11/20/2026 9:14\",\"reason\":\"is no "
        "date written 2026-11-20 09:14; the map's \\\"dates\\\" may say how they are "
        "written\"}]}\n"
        "{\"refused\":[{\"column\":\"When\",\"value\":\"2026-11-20\",\"reason\":\"has no time "
        "of day\"}]}\n");
}

static void numbers_by_their_signs(void **state)
{
    static const struct {
        const char *text;
        char decimal, thousands;
        const char *number, *rest; /* NULL: none */
    } ROWS[] = {
        {"118.4", '.', 0, "118.4", ""},
        {"118,4", ',', 0, "118.4", ""},
        {"118.4", ',', 0, NULL, NULL},
        {"1.234", ',', '.', "1234", ""},
        {"1.234.567,8 kg", ',', '.', "1234567.8", "kg"},
        {"1234.567", ',', '.', NULL, NULL},
        {"1,234", '.', ',', "1234", ""},
        {"1,23", '.', ',', NULL, NULL},
        {"12 400", '.', ' ', "12400", ""},
        {" -4 \xC2\xB0"
         "C",
         '.', 0, "-4",
         "\xC2\xB0"
         "C"},
        {"1e3", '.', 0, "1e3", ""},
        {"5 eggs", '.', 0, "5", "eggs"},
        {"", '.', 0, NULL, NULL},
        {"-", '.', 0, NULL, NULL},
        {".5", '.', 0, ".5", ""},
        {"n/a", '.', 0, NULL, NULL},
        {"1'234.5", '.', '\'', "1234.5", ""},
    };
    (void)state;
    for (size_t i = 0; i < sizeof ROWS / sizeof *ROWS; i++) {
        char number[40];
        const char *rest = NULL;
        bool good = cell_number(ROWS[i].text, ROWS[i].decimal, ROWS[i].thousands, number, &rest);
        if (good != (ROWS[i].number != NULL))
            fail_msg("'%s' is %s", ROWS[i].text, good ? number : "refused");
        if (good) {
            assert_string_equal(number, ROWS[i].number);
            assert_string_equal(rest, ROWS[i].rest);
        }
    }
}

static void dates_by_their_forms(void **state)
{
    static const struct {
        const char *form, *text, *day;
        int minutes;
    } ROWS[] = {
        {"MM/DD/YYYY hh:mm AM", "11/2/2026 12:05 am", "2026-11-02", 5},
        {"MM/DD/YYYY hh:mm AM", "11/2/2026 1:05 PM", "2026-11-02", 785},
        {"MM/DD/YYYY hh:mm AM", "11/2/2026 13:05 PM", NULL, 0},
        {"DD.MM.YY hh:mm:ss", "2.11.26 23:59:59", "2026-11-02", 1439},
        {"DD.MM.YY", " 29.02.28 ", "2028-02-29", -61},
        {"DD.MM.YY", "29.02.26", NULL, 0},
        {"YYYYMMDD", "20261102", "2026-11-02", -61},
        {"DD.MM.YY", "29.02.28x", NULL, 0},
    };
    (void)state;
    for (size_t i = 0; i < sizeof ROWS / sizeof *ROWS; i++) {
        struct date_form_read read = {0};
        char day[16];
        bool good = date_form_read(ROWS[i].form, ROWS[i].text, &read);
        if (good != (ROWS[i].day != NULL))
            fail_msg("%s by %s", ROWS[i].text, ROWS[i].form);
        if (good) {
            assert_string_equal(day_format(read.day, day), ROWS[i].day);
            assert_int_equal(read.hour * 60 + read.minute, ROWS[i].minutes);
        }
    }
}

/* ---- bounds of rows ---- */

#define LOT_AND(columns) "{\"kind\": \"lots\", \"columns\": {\"A\": \"lot\"" columns "}}"
#define REFUSED(column, value, reason)                                                             \
    "{\"refused\":[{\"column\":\"" column "\",\"value\":\"" value "\",\"reason\":\"" reason        \
    "\"}]}\n"

static void rows_of_another_width(void **state)
{
    (void)state;
    check_rows(
        LOT_AND(", \"B\": \"line\""), 0, "A,B\nL1,2,,\n,,,x\nL3\nL4,2,x\n , \nL5,\n",
        "\n{\"lot\":\"L1\",\"line\":\"2\"}\n" REFUSED(
            "", "", "the row has 4 fields, the header has 2") REFUSED("", "",
                                                                      "the row has 1 fields, "
                                                                      "the header has 2")
            REFUSED("", "", "the row has 3 fields, the header has 2") "{}\n{\"lot\":\"L5\"}\n");
}

static void several_columns_for_one_of_ours(void **state)
{
    (void)state;
    /* in the order of the map, without the empty ones, blanks and tabs around them gone */
    check_rows("{\"kind\": \"lots\", \"columns\": {\"D\": \"lot\", \"A\": \"lot\", \"C\": \"lot\", "
               "\"B\": \"lot\"}}",
               0, "A,B,C,D\n1,2,3,4\n\t1 , ,3,\n", "\n{\"lot\":\"4 1 3 2\"}\n{\"lot\":\"1 3\"}\n");
    check_rows("{\"kind\": \"lots\", \"columns\": {\"A\": \"lot\", \"B\": \"lot\", \"C\": \"lot\", "
               "\"D\": \"lot\", \"E\": \"lot\"}}",
               0, "A,B,C,D,E\n1,2,3,4,5\n",
               REFUSED("E", "lot", "too many columns go to one of ours"));
    /* one of theirs for two of ours; a column that is left out; ours by its own name */
    check_rows("{\"kind\": \"lots\", \"columns\": {\"A\": [\"lot\", \"line\"], \"line\": \"-\"}}",
               0, "Shift,A,line,else\nS,1,2,3\n",
               "\n{\"shift\":\"S\",\"lot\":\"1\",\"line\":\"1\"}\n");
}

static void constants_needs_and_words(void **state)
{
    static const char map[] =
        "{\"kind\": \"lots\", \"header\": 3, \"columns\": {\"A\": \"lot\", \"B\": \"line\", \"C\": "
        "\"units\"},\n"
        " \"constants\": {\"line\": \"7\", \"units\": 1200, \"shift\": \"x\"}, \"needs\": "
        "[\"lot\"],\n"
        " \"values\": {\"line\": {\"Band Eins\": \"1\"}, \"shift\": {\"X\": \"A\"}}}";
    (void)state;
    check_rows(map, 0, "a report\n\nA,B,C\nL1,BAND EINS,5\n,2,bad\nL2,,\nL3,Band Zwei,\n",
               "\n\n\n{\"lot\":\"L1\",\"line\":\"1\",\"units\":\"5\",\"shift\":\"A\"}\n\n"
               "{\"lot\":\"L2\",\"line\":\"7\",\"units\":\"1200\",\"shift\":\"A\"}\n"
               "{\"lot\":\"L3\",\"line\":\"Band Zwei\",\"units\":\"1200\",\"shift\":\"A\"}\n");
}

static void what_is_not_utf_8(void **state)
{
    (void)state;
    check_rows(LOT_AND(""), 0, "A,B\xE9\nL1,2\n",
               REFUSED("", "B?", "the column's name is not UTF-8: save the file as UTF-8"));
    check_rows(
        LOT_AND(""), 0, "A\nL\xE9\nL2\n",
        "\n" REFUSED("A", "L?", "is not UTF-8: save the file as UTF-8") "{\"lot\":\"L2\"}\n");
}

static void times_to_the_second(void **state)
{
    static const char map[] =
        "{\"kind\": \"lots\", \"columns\": {\"A\": \"lot\", \"F\": \"made_from\", \"D\": "
        "\"code_date\"},\n \"dates\": {\"made_from\": \"DD.MM.YY hh:mm:ss\", \"code_date\": "
        "\"DD.MM.YY hh:mm\"}}";
    (void)state;
    check_rows(map, 0,
               "A,F,D\nL1,20.11.26 09:14:07,27.11.26 10:00\nL2,2026-11-20 "
               "09:14:07,2026-11-27\nL3,2026-11-20T09:14,2026-11-27 "
               "10:00\nL4,20.11.26,27.11.26\n",
               "\n{\"lot\":\"L1\",\"made_from\":\"2026-11-20T09:14:07+00:00\",\"code_date\":"
               "\"2026-11-27\"}\n"
               "{\"lot\":\"L2\",\"made_from\":\"2026-11-20T09:14:07+00:00\",\"code_date\":"
               "\"2026-11-27\"}\n"
               "{\"lot\":\"L3\",\"made_from\":\"2026-11-20T09:14:00+00:00\",\"code_date\":"
               "\"2026-11-27\"}\n"
               "{\"refused\":[{\"column\":\"F\",\"value\":\"20.11.26\",\"reason\":\"is no date "
               "written DD.MM.YY hh:mm:ss, as the map says\"},{\"column\":\"D\",\"value\":"
               "\"27.11.26\",\"reason\":\"is no date written DD.MM.YY hh:mm, as the map "
               "says\"}]}\n");
}

/* What a map says of itself, and which columns of a file nothing is made of. */
static void what_a_map_says(void **state)
{
    static const char map[] =
        "{\"decimal\": \",\", \"sheet\": \"Woche\", \"kinds\": [{\"kind\": \"mixes\", \"columns\": "
        "{\"A\": "
        "\"lot\"}}, {\"kind\": \"readings\", \"columns\": {\"K\": \"core_at_pack [degF]\", \"L\": "
        "\"core_at_pack [degC]\"}}]}";
    const struct column_map_source source = {.path = "a map", .text = map};
    struct column_map *read = NULL;
    struct text_buffer out = {0};
    (void)state;
    assert_int_equal(column_map_load(&source, &read, NULL), 0);
    assert_int_equal(column_map_parts(read), 2);
    assert_int_equal(column_map_kind(read, 0), RECORD_MIXES);
    assert_int_equal(column_map_kind(read, 1), RECORD_READINGS);
    assert_string_equal(column_map_sheet(read), "Woche");
    assert_int_equal(column_map_decimal(read), ',');
    assert_string_equal(column_map_column(read, 1, "core_at_pack [degF]"), "K");
    assert_string_equal(column_map_column(read, 1, "core_at_pack"), "K");
    assert_null(column_map_column(read, 1, "lot"));
    assert_null(column_map_column(read, 0, "core_at_pack"));
    struct table_rows *rows = table_rows_new(read, 0, NULL);
    assert_string_equal(table_rows_unused(rows), "");
    table_rows_feed(rows, "A,B,,at,C\nx,,,,\n", 16, &out);
    table_rows_finish(rows, &out);
    assert_string_equal(table_rows_unused(rows), "B, C");
    table_rows_free(rows);
    text_buffer_free(&out);
    column_map_free(read);
    const struct column_map_source plain = {.path = "a map", .text = LOT_AND("")};
    assert_int_equal(column_map_load(&plain, &read, NULL), 0);
    assert_null(column_map_sheet(read));
    assert_int_equal(column_map_decimal(read), '.');
    assert_int_equal(column_map_parts(read), 1);
    column_map_free(read);
}

static void dates_of_complaints(void **state)
{
    struct error err = {0};
    struct column_map *map = column_map_new();
    char out[COLUMN_DATE];
    bool declared = true;
    (void)state;
    write_map("{\"columns\": {}, \"dates\": {\"code_date\": \"DD.MM.YY\", \"received_at\": "
              "\"DD.MM.YY hh:mm\"}}");
    assert_int_equal(column_map_add(map, path, &err), 0);
    assert_int_equal(column_map_date(map, "found_on", "1.2.26", &declared, out, &err), 0);
    assert_false(declared);
    assert_int_equal(column_map_date(map, "code_date", "", &declared, out, &err), 0);
    assert_false(declared);
    assert_int_equal(column_map_date(map, "code_date", "1.2.26", &declared, out, &err), 0);
    assert_true(declared);
    assert_string_equal(out, "2026-02-01");
    assert_int_equal(column_map_date(map, "received_at", "1.2.26 0:05", &declared, out, &err), 0);
    assert_string_equal(out, "2026-02-01 00:05");
    assert_int_equal(column_map_date(map, "code_date", "2026-02-01", &declared, out, &err),
                     ERROR_INVALID);
    assert_true(declared);
    assert_string_equal(err.text, "is no date written DD.MM.YY, as the map says");
    assert_string_equal(err.field, "code_date");
    /* what is said of a column later stands instead */
    assert_int_equal(column_map_add(map, "X=store", NULL), 0);
    assert_string_equal(column_map_field(map, "X", &declared), "store");
    assert_int_equal(column_map_add(map, "X=note", NULL), 0);
    assert_string_equal(column_map_field(map, "X", &declared), "note");
    column_map_free(map);
}

static void more_faults(void **state)
{
    (void)state;
    check_faults(LOT_AND("") " x", "1:43  '': 'x' is not a JSON value\n");
    check_faults("{\"kind\": \"lots\", \"columns\": {\"A\": \"lot\"},\n"
                 " \"values\": {\"line\": 1, \"shift\": {\"x\": 2}, \"loot\": {}},\n"
                 " \"constants\": {\"line\": [], \"loot\": \"1\"},\n \"needs\": [1, \"loot\"],\n"
                 " \"units\": {\"x\": 1}, \"decimal\": \";\", \"thousands\": \"..\", \"zone\": 1}",
                 "2:21 /values/line '1': must be an object of words\n"
                 "2:39 /values/shift/x '2': must be a text\n"
                 "2:51 /values/loot '': no such column of lots\n"
                 "3:24 /constants/line '': must be a text or a number\n"
                 "3:36 /constants/loot '1': no such column of lots\n"
                 "4:12 /needs/0 '1': must name a column of ours\n"
                 "4:15 /needs/1 'loot': no such column of lots\n"
                 "5:64 /zone '1': is no time zone known here\n"
                 "5:32 /decimal ';': must be a comma, a point, an apostrophe or a blank\n"
                 "5:50 /thousands '..': must be a comma, a point, an apostrophe or a blank\n"
                 "5:17 /units/x '1': must be a unit\n");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(faults_have_their_places),
        cmocka_unit_test(columns_dates_and_numbers_become_ours),
        cmocka_unit_test(a_column_that_is_not_there_ends_the_file),
        cmocka_unit_test(units_stand_in_the_header_in_the_map_or_in_the_cell),
        cmocka_unit_test(several_kinds_come_of_one_sheet),
        cmocka_unit_test(a_quote_that_nothing_closes_is_refused),
        cmocka_unit_test(complaints_by_a_file_or_by_pairs),
        cmocka_unit_test(times_without_a_form_have_the_year_first),
        cmocka_unit_test(numbers_by_their_signs),
        cmocka_unit_test(dates_by_their_forms),
        cmocka_unit_test(rows_of_another_width),
        cmocka_unit_test(several_columns_for_one_of_ours),
        cmocka_unit_test(constants_needs_and_words),
        cmocka_unit_test(what_is_not_utf_8),
        cmocka_unit_test(times_to_the_second),
        cmocka_unit_test(what_a_map_says),
        cmocka_unit_test(dates_of_complaints),
        cmocka_unit_test(more_faults),
    };
    int fd = mkstemp(path);
    if (fd >= 0)
        close(fd);
    int rc = cmocka_run_group_tests(tests, NULL, NULL);
    unlink(path);
    return rc;
}

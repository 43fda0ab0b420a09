/* Complaints in files: the column map, CSV with its line numbers, JSON lines, ids of rows. */
#include "base/jsonx.h"
#include "base/text.h"
#include "base/uuid.h"
#include "base/when.h"
#include "deliver/batch.h"
#include "deliver/complaint_rows.h"
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* cmocka.h needs these before it */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

static char folder[] = "/tmp/oddloaf-rows-XXXXXX";

static char *write_bytes(const char *name, const char *bytes, size_t length)
{
    struct text_buffer path = {0};
    text_appendf(&path, "%s/%s", folder, name);
    FILE *file = fopen(path.data, "w");
    assert_non_null(file);
    assert_int_equal(fwrite(bytes, 1, length, file), length);
    fclose(file);
    return text_take(&path);
}

static char *write_file(const char *name, const char *text)
{
    return write_bytes(name, text, strlen(text));
}

/* "line:{complaint}" or "line:field=value:reason", one a fault. */
static int on_row(void *arg, const struct row *row)
{
    struct text_buffer *out = arg;
    const struct error *refused = row->refused;
    size_t i;
    const json_t *fault;
    if (refused && json_array_size(row->faults) < 2)
        text_appendf(out, "%ld:%s=%s:%s\n", row->line, refused->field, refused->value,
                     refused->text);
    else if (refused)
        json_array_foreach(row->faults, i, fault) text_appendf(
            out, "%ld:%s=%s:%s\n", row->line, json_string_value(json_object_get(fault, "field")),
            json_string_value(json_object_get(fault, "value")),
            json_string_value(json_object_get(fault, "reason")));
    if (refused)
        return 0;
    char *text = jsonx_dump(row->complaint);
    text_appendf(out, "%ld:%s\n", row->line, text);
    free(text);
    return 0;
}

static void check_csv(const struct column_map *map, const char *csv, const char *expected,
                      const char *unused)
{
    struct form_day day = {.today = day_from_civil(2026, 11, 25)};
    struct text_buffer out = {0};
    struct error err = {0};
    struct source *source = NULL;
    char *path = write_file("a.csv", csv);
    struct complaint_rows_seen seen = {0};
    assert_int_equal(source_open(path, &source, &err), 0);
    struct column_map *none = column_map_new();
    const struct complaint_rows_meaning meaning = {map ? map : none, &day};
    if (complaint_rows_csv(source, &meaning, on_row, &out, &seen, &err) != 0)
        text_appendf(&out, "file:%ld:%s\n", err.line, err.text);
    if (seen.dates_by_plant)
        text_appendf(&out, "%ld by the plant\n", seen.dates_by_plant);
    assert_string_equal(out.data ? out.data : "", expected);
    assert_string_equal(seen.unused ? seen.unused : "", unused);
    column_map_free(none);
    source_close(source);
    text_buffer_free(&out);
    free(seen.unused);
    free(path);
}

static void columns_by_field_flag_or_blank_for_underscore(void **state)
{
    (void)state;
    check_csv(NULL,
              "Symptom,Lot Text,found_on,odor,wet-inside,phone,measured.crumb_ph\n"
              "mold,L2 6321,2026-11-19,\"sour, cheesy\",yes,555 0100,5.9\n",
              "2:{\"symptom\":\"mold\",\"lot_text\":\"L2 6321\",\"found_on\":\"2026-11-19\","
              "\"observed\":{\"odor\":[\"sour\",\"cheesy\"],\"wet_inside_bag\":true},"
              "\"contact\":{\"phone\":\"555 0100\"},\"measured\":{\"crumb_ph\":5.9}}\n",
              "");
}

static void rows_know_their_line(void **state)
{
    (void)state;
    check_csv(NULL,
              "\xEF\xBB\xBFsymptom,note\r\n"
              "mold,\"two\r\nlines, and a \"\"quote\"\"\"\r\n"
              "\r\n"
              "grey,x\r\n"
              "staling,last",
              "2:{\"symptom\":\"mold\",\"note\":\"two\\r\\nlines, and a \\\"quote\\\"\"}\n"
              "5:symptom=grey:not one of mold off-odor staling other\n"
              "6:{\"symptom\":\"staling\",\"note\":\"last\"}\n",
              "");
}

static void semicolons_tabs_and_unused_columns(void **state)
{
    (void)state;
    check_csv(NULL, "symptom;Customer Ref;note\nmold;77;a,b\n",
              "2:{\"symptom\":\"mold\",\"unread\":{\"Customer Ref\":\"77\"},\"note\":\"a,b\"}\n",
              "Customer Ref");
    check_csv(NULL, "symptom\tnote\nmold\tx\n", "2:{\"symptom\":\"mold\",\"note\":\"x\"}\n", "");
}

static void what_is_wrong_is_named(void **state)
{
    (void)state;
    check_csv(NULL, "symptom,found_on\nmold,yesterday\nmold,2026-11-19,extra\n",
              "2:found_on=yesterday:must be a whole date like 2026-11-19\n"
              "3:=:has 3 values, the header names 2 columns\n",
              "");
    check_csv(NULL, "symptom,found_on,packs,note\ngrey,yesterday,2,x\n",
              "2:symptom=grey:not one of mold off-odor staling other\n"
              "2:found_on=yesterday:must be a whole date like 2026-11-19\n",
              "");
    check_csv(NULL, "symptom,note\nmold,caf\xE9\n", "2:note=caf?:is not UTF-8\n", "");
    check_csv(NULL, "", "file:0:has no header row\n", "");
    check_csv(NULL, "symptom,note\nmold,a\"b\n",
              "file:2:not CSV: error parsing data while strict checking enabled\n", "");
}

/* Words behind a NUL byte may speak of harm: they go along with the row that is refused. */
static int on_words(void *arg, const struct row *row)
{
    struct text_buffer *out = arg;
    const char *words = json_string_value(json_object_get(row->complaint, "reason"));
    if (!words)
        words = json_string_value(json_object_get(row->complaint, "note"));
    text_appendf(out, "%ld:%s:%s:%s\n", row->line, row->readable ? "read" : "unread",
                 row->refused ? row->refused->text : "", words ? words : "");
    return 0;
}

static void check_words(const char *bytes, size_t length, const char *expected)
{
    struct form_day day = {.today = day_from_civil(2026, 11, 25)};
    struct column_map *map = column_map_new();
    const struct complaint_rows_meaning meaning = {map, &day};
    struct complaint_rows_seen seen = {0};
    struct text_buffer out = {0};
    struct error err = {0};
    struct source *source = NULL;
    char *path = write_bytes("nul", bytes, length);
    assert_int_equal(source_open(path, &source, &err), 0);
    int rc = source_is_ndjson(source)
                 ? complaint_rows_ndjson(source, on_words, &out, &err)
                 : complaint_rows_csv(source, &meaning, on_words, &out, &seen, &err);
    if (rc)
        text_appendf(&out, "file:%ld:%s\n", err.line, err.text);
    assert_string_equal(out.data ? out.data : "", expected);
    source_close(source);
    column_map_free(map);
    text_buffer_free(&out);
    free(seen.unused);
    free(path);
}

static void what_stands_behind_a_nul_byte_goes_along(void **state)
{
    static const char CELL[] = "symptom,lot,note\nmold,L1,\"green \0 my child is in hospital\"\n"
                               "mold,L2,dry\n";
    static const char HEADER[] = "symptom,no\0te\nmold,my child is in hospital\n";
    static const char JSON[] = "{\"symptom\":\"mold\",\"note\":\"green \0 in hospital\"}\n";
    (void)state;
    check_words(CELL, sizeof CELL - 1,
                "2:unread:holds a NUL byte:mold; L1; green   my child is in hospital\n"
                "3:read::dry\n");
    check_words(HEADER, sizeof HEADER - 1, "file:1:the header holds a NUL byte\n");
    check_words(JSON, sizeof JSON - 1,
                "1:unread:holds a NUL byte:"
                "{\"symptom\":\"mold\",\"note\":\"green   in hospital\"}\n");
}

/* Of two columns for one field one would be thrown away. */
static void no_field_has_two_columns(void **state)
{
    struct column_map *map = column_map_new();
    struct error err = {0};
    (void)state;
    check_csv(NULL, "symptom,note,Note\nmold,dry,in hospital\n",
              "file:1:this column is there twice: 'note', column 2, is read as note, too\n", "");
    assert_int_equal(column_map_add(map, "Said=note", &err), 0);
    assert_int_equal(column_map_add(map, "Added=note", &err), 0);
    assert_int_equal(column_map_add(map, "Left=-", &err), 0);
    check_csv(map, "symptom,Said,Added\nmold,dry,in hospital\n",
              "file:1:this column is there twice: 'Said', column 2, is read as note, too\n", "");
    check_csv(map, "symptom,Left,Left,note\nmold,a,b,c\n",
              "2:{\"symptom\":\"mold\",\"note\":\"c\"}\n", "");
    check_csv(NULL, "symptom,measured.core_at_pack,measured.core_at_pack [degF]\nmold,90,91\n",
              "file:1:this column is there twice: 'measured.core_at_pack', column 2, is read as "
              "measured.core_at_pack, too\n",
              "");
    /* of no field of ours: both are heard */
    check_csv(NULL, "symptom,Memo,Memo\nmold,in hospital,dry\n",
              "2:{\"symptom\":\"mold\",\"unread\":{\"Memo\":\"in hospital; dry\"}}\n",
              "Memo, Memo");
    column_map_free(map);
}

/* What stands in it may be all that a row says of harm; one that is empty is nobody's. */
static void a_column_without_a_heading_is_heard(void **state)
{
    (void)state;
    check_csv(NULL, "symptom,,note, \nmold,in hospital,dry,\nmold,again,dry,\n",
              "2:{\"symptom\":\"mold\",\"unread\":{\"column 2\":\"in hospital\"},"
              "\"note\":\"dry\"}\n"
              "3:{\"symptom\":\"mold\",\"unread\":{\"column 2\":\"again\"},"
              "\"note\":\"dry\"}\n",
              "column 2 (it has no heading, and words in line 2)");
    check_csv(NULL, "symptom,\nmold,\n", "2:{\"symptom\":\"mold\"}\n", "");
}

/* One date is read by what the others of its column are. */
static void day_and_month_by_the_whole_column(void **state)
{
    static const char MIXED[] =
        "day and month may each come first here, and the other dates of the "
        "file are of both kinds\n";
    char want[600];
    (void)state;
    check_csv(NULL, "symptom,found_on\nmold,03/11/2026\nmold,13/11/2026\n",
              "2:{\"symptom\":\"mold\",\"found_on\":\"2026-11-03\"}\n"
              "3:{\"symptom\":\"mold\",\"found_on\":\"2026-11-13\"}\n",
              "");
    check_csv(NULL, "symptom,found_on\nmold,03/11/2026\nmold,11/13/2026\n",
              "2:{\"symptom\":\"mold\",\"found_on\":\"2026-03-11\"}\n"
              "3:{\"symptom\":\"mold\",\"found_on\":\"2026-11-13\"}\n",
              "");
    /* another column of the same hand tells */
    check_csv(NULL, "symptom,found_on,code_date\nmold,03/11/2026,27/11/2026\n",
              "2:{\"symptom\":\"mold\",\"found_on\":\"2026-11-03\",\"code_date\":\"2026-11-27\"}\n",
              "");
    /* nothing tells: as the plant writes them, and it is said; 11/11 needs no order */
    check_csv(NULL, "symptom,found_on\nmold,03/11/2026\nmold,11/11/2026\n",
              "2:{\"symptom\":\"mold\",\"found_on\":\"2026-03-11\"}\n"
              "3:{\"symptom\":\"mold\",\"found_on\":\"2026-11-11\"}\n1 by the plant\n",
              "");
    snprintf(want, sizeof want,
             "2:found_on=03/11/2026:%s3:{\"symptom\":\"mold\",\"found_on\":"
             "\"2026-11-13\"}\n4:{\"symptom\":\"mold\",\"found_on\":\"2026-11-14\"}\n",
             MIXED);
    check_csv(NULL, "symptom,found_on\nmold,03/11/2026\nmold,13/11/2026\nmold,11/14/2026\n", want,
              "");
    /* nobody writes month first with dots, unless the column shows it */
    check_csv(NULL, "symptom,found_on\nmold,03.11.2026\n",
              "2:{\"symptom\":\"mold\",\"found_on\":\"2026-11-03\"}\n", "");
    snprintf(want, sizeof want,
             "2:found_on=03.11.2026:%s3:{\"symptom\":\"mold\",\"found_on\":"
             "\"2026-11-13\"}\n",
             MIXED);
    check_csv(NULL, "symptom,found_on\nmold,03.11.2026\nmold,11.13.2026\n", want, "");
    /* what is no date, and words, are as they were */
    check_csv(NULL, "symptom,note\nmold,03/11/2026\n",
              "2:{\"symptom\":\"mold\",\"note\":\"03/11/2026\"}\n", "");
}

/* Of a long file the first rows tell of those behind them, none is held back to the end, and what
 * comes late is known late. */
static void a_long_file_is_not_held(void **state)
{
    enum { ROWS = 12000 };
    struct text_buffer csv = {0}, want = {0};
    (void)state;
    text_append(&csv, "symptom,found_on\n");
    for (int i = 0; i < ROWS; i++) {
        bool tells = i == 9000, other = i == 11000;
        text_appendf(&csv, "mold,%s\n", tells ? "13/11/2026" : other ? "11/14/2026" : "03/11/2026");
        if (i > 11000)
            text_appendf(&want,
                         "%d:found_on=03/11/2026:day and month may each come first here, and the "
                         "other dates of the file are of both kinds\n",
                         i + 2);
        else
            text_appendf(&want, "%d:{\"symptom\":\"mold\",\"found_on\":\"2026-11-%s\"}\n", i + 2,
                         tells   ? "13"
                         : other ? "14"
                                 : "03");
    }
    check_csv(NULL, csv.data, want.data, "");
    text_buffer_free(&csv);
    text_buffer_free(&want);
}

/* A map that says how they are written is asked first. */
static void a_declared_order_stands(void **state)
{
    struct column_map *map = column_map_new();
    struct error err = {0};
    (void)state;
    char *path =
        write_file("dates.json", "{\"columns\": {}, \"dates\": {\"found_on\": \"MM/DD/YYYY\"}}");
    assert_int_equal(column_map_add(map, path, &err), 0);
    check_csv(map, "symptom,found_on,code_date\nmold,03/11/2026,27/11/2026\n",
              "2:{\"symptom\":\"mold\",\"found_on\":\"2026-03-11\",\"code_date\":\"2026-11-27\"}\n",
              "");
    column_map_free(map);
    free(path);
}

static void a_map_names_columns_and_words(void **state)
{
    struct column_map *map = column_map_new();
    struct error err = {0};
    (void)state;
    char *path =
        write_file("map.json", "{\"columns\": {\"Defect\": \"symptom\", \"Ref\": \"-\"},"
                               " \"values\": {\"symptom\": {\"Mould, visible\": \"mold\"}}}");
    assert_int_equal(column_map_add(map, path, &err), 0);
    assert_int_equal(column_map_add(map, "Batch=lot", &err), 0);
    assert_int_equal(column_map_add(map, "pH=measured.crumb_ph", &err), 0);
    check_csv(map, "Defect,Ref,Batch,pH\n\"mould, VISIBLE\",9,L2,5.9\n",
              "2:{\"symptom\":\"mold\",\"lot_text\":\"L2\",\"measured\":{\"crumb_ph\":5.9}}\n", "");
    assert_int_equal(column_map_add(map, "Batch=colour of bag", &err), ERROR_INVALID);
    assert_string_equal(err.value, "colour of bag");
    column_map_free(map);
    free(path);
}

static void json_lines_with_their_numbers(void **state)
{
    struct text_buffer out = {0};
    struct source *source = NULL;
    struct error err = {0};
    (void)state;
    char *path = write_file("a.ndjson", "{\"symptom\":\"mold\"}\n\n[1]\n{\"a\":NaN}\n{\"a\":1}");
    assert_int_equal(source_open(path, &source, &err), 0);
    assert_true(source_is_ndjson(source));
    assert_int_equal(complaint_rows_ndjson(source, on_row, &out, &err), 0);
    assert_string_equal(out.data, "1:{\"symptom\":\"mold\"}\n3:=:must be a JSON object\n"
                                  "4:=:'NaN' is not a JSON value\n5:{\"a\":1}\n");
    source_close(source);
    text_buffer_free(&out);
    free(path);
}

/* A file is no worse for its name; what the daemon is told of it is text. */
static void a_name_that_is_no_text(void **state)
{
    struct source *source = NULL;
    struct error err = {0};
    (void)state;
    char *path = write_file("lots \xE9.csv", "lot\n");
    assert_int_equal(source_open(path, &source, &err), 0);
    assert_string_equal(source_name(source), "lots ?.csv");
    source_close(source);
    free(path);
}

static void the_kind_of_a_file_from_name_or_first_byte(void **state)
{
    static const struct {
        const char *name, *text;
        bool ndjson;
    } rows[] = {{"a.csv", "{", false},
                {"a.ndjson", "a,b", true},
                {"a", " \n{\"a\":1}", true},
                {"b", "a,b\n", false},
                {"c", "", false}};
    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct source *source = NULL;
        char *path = write_file(rows[i].name, rows[i].text);
        assert_int_equal(source_open(path, &source, NULL), 0);
        assert_int_equal(source_is_ndjson(source), rows[i].ndjson);
        source_close(source);
        free(path);
    }
}

static void ids_come_from_the_row(void **state)
{
    char a[UUID_TEXT];
    char b[UUID_TEXT];
    json_t *one = json_pack("{ss ss}", "received_at", "2026-11-20T09:14:00-05:00", "note", "x");
    json_t *same = json_pack("{ss ss}", "note", "x", "received_at", "2026-11-20T09:14:00-05:00");
    (void)state;
    batch_id(one, 0, a);
    batch_id(same, 0, b);
    assert_string_equal(a, b);
    assert_true(uuid_normalize(a, NULL));
    assert_int_equal(a[14], '8'); /* RFC 9562 section 5.8: version 8 is ours to fill */
    assert_memory_equal(a, "01a1f94e-9840", 13); /* 2026-11-20T14:14:00Z in ms */
    batch_id(one, 1, b);
    assert_string_not_equal(a, b);
    json_object_set_new(same, "unread", json_pack("{ss}", "Customer Ref", "77"));
    batch_id(same, 0, b);
    assert_string_equal(a, b);
    assert_non_null(json_object_get(same, "unread"));
    json_object_set_new(same, "note", json_string("y"));
    batch_id(same, 0, b);
    assert_string_not_equal(a, b);
    json_decref(one);
    json_decref(same);
}

static int make_folder(void **state)
{
    (void)state;
    return mkdtemp(folder) ? 0 : -1;
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(columns_by_field_flag_or_blank_for_underscore),
        cmocka_unit_test(rows_know_their_line),
        cmocka_unit_test(semicolons_tabs_and_unused_columns),
        cmocka_unit_test(what_is_wrong_is_named),
        cmocka_unit_test(what_stands_behind_a_nul_byte_goes_along),
        cmocka_unit_test(a_column_without_a_heading_is_heard),
        cmocka_unit_test(no_field_has_two_columns),
        cmocka_unit_test(day_and_month_by_the_whole_column),
        cmocka_unit_test(a_declared_order_stands),
        cmocka_unit_test(a_long_file_is_not_held),
        cmocka_unit_test(a_map_names_columns_and_words),
        cmocka_unit_test(json_lines_with_their_numbers),
        cmocka_unit_test(a_name_that_is_no_text),
        cmocka_unit_test(the_kind_of_a_file_from_name_or_first_byte),
        cmocka_unit_test(ids_come_from_the_row),
    };
    return cmocka_run_group_tests(tests, make_folder, NULL);
}

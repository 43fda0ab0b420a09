/* The parts of the import on their own: lines, CSV rows, the staging file, equal keys. */
#include "base/text.h"
#include "records/key_index.h"
#include "records/refs.h"
#include "records/refusals.h"
#include "records/stage.h"
#include "records/trial.h"
#include "tables/csv_rows.h"
#include "tables/lines.h"
#include <fcntl.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

/* ---- CSV ---- */

static void on_row(void *arg, long line, struct csv_field *fields, size_t count)
{
    struct text_buffer *out = arg;
    text_appendf(out, "%ld", line);
    for (size_t i = 0; i < count; i++)
        text_appendf(out, "|%s", fields[i].text);
    text_append(out, "\n");
}

static void on_refused(void *arg, long line, const char *reason)
{
    text_appendf(arg, "%ld refused: %.24s\n", line, reason);
}

static char *rows_of(const char *text, size_t part)
{
    struct text_buffer out = {0};
    struct lines lines = {.limit = CSV_ROWS_BYTES};
    struct csv_rows *rows = csv_rows_new(&(struct csv_rows_sink){on_row, on_refused, &out}, ',');
    for (size_t at = 0, length = strlen(text); at < length; at += part)
        lines_feed(&lines, text + at, length - at < part ? length - at : part, csv_rows_line, rows);
    lines_finish(&lines, csv_rows_line, rows);
    csv_rows_finish(rows);
    csv_rows_free(rows);
    lines_free(&lines);
    return text_take(&out);
}

static void expect_rows(const char *text, const char *want)
{
    for (size_t part = 1; part <= strlen(text); part++) {
        char *got = rows_of(text, part);
        assert_string_equal(got, want);
        free(got);
    }
}

/* Examples of Y. Shafranovich, "Common Format and MIME Type for CSV Files", RFC 4180, 2005,
 * section 2, rules 1 to 7. */
static void test_examples_of_rfc_4180(void **state)
{
    (void)state;
    expect_rows("aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n", "1|aaa|bbb|ccc\n2|zzz|yyy|xxx\n");
    expect_rows("aaa,bbb,ccc\r\nzzz,yyy,xxx", "1|aaa|bbb|ccc\n2|zzz|yyy|xxx\n");
    expect_rows("field_name,field_name,field_name\r\naaa,bbb,ccc\r\n",
                "1|field_name|field_name|field_name\n2|aaa|bbb|ccc\n");
    expect_rows("\"aaa\",\"bbb\",\"ccc\"\r\nzzz,yyy,xxx", "1|aaa|bbb|ccc\n2|zzz|yyy|xxx\n");
    expect_rows("\"aaa\",\"b\r\nbb\",\"ccc\"\r\nzzz,yyy,xxx", "1|aaa|b\r\nbb|ccc\n3|zzz|yyy|xxx\n");
    expect_rows("\"aaa\",\"b\"\"bb\",\"ccc\"", "1|aaa|b\"bb|ccc\n");
    /* rule 4: blanks are part of a field */
    expect_rows("a , b,\" c \"\n", "1|a | b| c \n");
}

/* As an export writes them: the apostrophe before what a spreadsheet would run, and marks. */
static void test_what_an_export_wrote_out_is_put_back(void **state)
{
    (void)state;
    expect_rows("\"'=1+1\",\"a\\u202Eb\"\n", "1|=1+1|a\u202Eb\n");
    expect_rows("\"'\\u000Dx\",\"''\\u000D\"\n", "1|\rx|'\r\n");
}

static void test_empty_fields_and_lines(void **state)
{
    (void)state;
    expect_rows(",\n\"\",\n\n\r\n,\"\"\n", "1||\n2||\n5||\n");
    expect_rows("\"\"\"\"\n", "1|\"\n");
    expect_rows("\xEF\xBB\xBF\"a\"\n", "1|a\n");
    expect_rows("\"id,note\"\n1,\"He said \"\"mould\"\", twice\r\nand again\"\r\n",
                "1|id,note\n2|1|He said \"mould\", twice\r\nand again\n");
}

static void test_a_broken_record_costs_one_line(void **state)
{
    (void)state;
    expect_rows("a,b\nc,\"d\ne,f\n", "1|a|b\n2 refused: the quoted field that be\n3|e|f\n");
    expect_rows("a,\"b\"x\nc,d\n", "1 refused: a quote stands in the mi\n2|c|d\n");
    expect_rows("a,\"b\nc\"x,\"d\"\ne,\"f\"\n",
                "1 refused: a quote stands in the mi\n2 refused: a quote stands in the mi\n"
                "3|e|f\n");
}

static void test_an_endless_quote_does_not_eat_the_file(void **state)
{
    struct text_buffer text = {0};
    (void)state;
    text_append(&text, "a,\"b\n");
    for (int i = 0; i < 20000; i++)
        text_append(&text, "c,d,e,f\n");
    char *got = rows_of(text.data, 4096);
    assert_memory_equal(got, "1 refused: ", 11);
    int rows = 0;
    for (const char *p = got; (p = strstr(p, "|c|d|e|f\n")); p++)
        rows++;
    assert_int_equal(rows, 20000);
    assert_non_null(strstr(got, "\n20001|c|d|e|f\n"));
    free(got);
    text_buffer_free(&text);
}

static void count_line(void *arg, const char *line, size_t length, long number)
{
    text_appendf(arg, "%ld:%s%zu ", number, line ? "" : "long", length);
}

static void test_lines_too_long_are_skipped_whole(void **state)
{
    struct text_buffer out = {0};
    struct lines lines = {.limit = 5};
    (void)state;
    static const char text[] = "12345\n123456\nab\n1234567890123\nc";
    for (size_t part = 1; part < sizeof text; part++) {
        lines = (struct lines){.limit = 5};
        for (size_t at = 0; at < sizeof text - 1; at += part) {
            size_t left = sizeof text - 1 - at;
            lines_feed(&lines, text + at, left < part ? left : part, count_line, &out);
        }
        lines_finish(&lines, count_line, &out);
        lines_free(&lines);
        assert_string_equal(out.data, "1:5 2:long0 3:2 4:long0 5:1 ");
        text_reset(&out);
    }
    text_buffer_free(&out);
}

/* ---- staging ---- */

static char *temporary(char buffer[static 64])
{
    snprintf(buffer, 64, "/tmp/oddloaf-stage-%d.rows", getpid());
    unlink(buffer);
    return buffer;
}

static struct record_cell text_cell(const char *text)
{
    return (struct record_cell){
        .form = RECORD_TEXT, .text = text, .length = (uint32_t)strlen(text)};
}

static void test_staged_rows_come_back(void **state)
{
    char path[64];
    struct error err = {0};
    struct stage *stage;
    struct stage_reader *reader;
    struct stage_row row;
    uint64_t offsets[3];
    bool dropped;
    struct record_cell cells[4] = {text_cell("L2 6321"),
                                   {.form = RECORD_INTEGER, .integer = -7},
                                   {.form = RECORD_NUMBER, .number = 0.1},
                                   {.form = RECORD_NOTHING}};
    (void)state;
    assert_int_equal(stage_new(temporary(path), 4, &stage, &err), 0);
    assert_int_not_equal(stage_new(path, 4, &stage, NULL), 0); /* never over another's */
    assert_int_equal(stage_append(stage, true, 2, cells, &offsets[0], &err), 0);
    assert_int_equal(stage_append(stage, true, 3, cells, &offsets[1], &err), 0);
    assert_int_equal(stage_append(stage, false, 3, cells, &offsets[2], &err), 0);
    assert_int_equal(stage_flush(stage, &err), 0);
    assert_int_equal(stage_drop(stage, offsets[2], &dropped, &err), 0);
    assert_true(dropped);
    assert_int_equal(stage_drop(stage, offsets[1], &dropped, &err), 0);
    assert_false(dropped);
    assert_int_equal(stage_sync(stage, &err), 0);
    stage_free(stage);
    assert_int_equal(stage_reader_new(path, 4, STAGE_NEAR, &reader, &err), 0);
    for (int i = 0; i < 3; i++) {
        assert_int_equal(stage_next(reader, &row, &err), 1);
        assert_int_equal(row.line, i ? 3 : 2);
        assert_int_equal(row.flags & STAGE_DROPPED, i ? STAGE_DROPPED : 0);
        assert_int_equal(row.flags & STAGE_FIRST, i < 2 ? STAGE_FIRST : 0);
        for (int k = 0; k < 4; k++)
            assert_true(record_kind_cell_equal(&row.cells[k], &cells[k]));
    }
    assert_int_equal(stage_next(reader, &row, &err), 0);
    stage_reader_free(reader);
    unlink(path);
}

/* Cut at any byte, of a text and of a number, which any bytes are one of. */
static void test_a_damaged_staging_file_is_refused(void **state)
{
    const struct {
        struct record_cell cell;
        int bytes; /* of its row, without its head's first */
    } ROWS[] = {{text_cell("some text to cut"), 30},
                {{.form = RECORD_INTEGER, .integer = -7}, 20},
                {{.form = RECORD_NUMBER, .number = 0.1}, 20}};
    char path[64];
    struct error err = {0};
    struct stage *stage;
    struct stage_reader *reader;
    struct stage_row row;
    uint64_t offset;
    (void)state;
    for (size_t i = 0; i < sizeof ROWS / sizeof ROWS[0]; i++) {
        assert_int_equal(stage_new(temporary(path), 1, &stage, &err), 0);
        assert_int_equal(stage_append(stage, true, 2, &ROWS[i].cell, &offset, &err), 0);
        assert_int_equal(stage_sync(stage, &err), 0);
        stage_free(stage);
        for (int cut = 1; cut < ROWS[i].bytes; cut++) {
            int fd = open(path, O_RDWR);
            assert_int_equal(ftruncate(fd, lseek(fd, 0, SEEK_END) - 1), 0);
            close(fd);
            assert_int_equal(stage_reader_new(path, 1, STAGE_NEAR, &reader, NULL), 0);
            assert_int_equal(stage_next(reader, &row, NULL), ERROR_INTERNAL);
            stage_reader_free(reader);
        }
        unlink(path);
    }
    assert_int_equal(stage_reader_new(path, 1, STAGE_NEAR, &reader, NULL), ERROR_INTERNAL);
}

/* The file that a reader has open, by what its name begins with, cannot be read any more. */
static void break_open_file(const char *name)
{
    int folder = open("/", O_RDONLY | O_DIRECTORY), broken = 0;
    for (int fd = 3; fd < 64; fd++) {
        char link[64], of[256] = "";
        snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
        if (fd != folder && readlink(link, of, sizeof of - 1) > 0 &&
            strncmp(of, name, strlen(name)) == 0)
            broken += dup2(folder, fd) == fd;
    }
    close(folder);
    assert_int_equal(broken, 1);
}

static void test_what_cannot_be_read_is_not_the_end(void **state)
{
    enum { ROWS = 1000 };
    char path[64];
    struct error err = {0};
    struct stage *stage;
    struct stage_reader *reader;
    struct stage_row row;
    uint64_t offset;
    struct record_cell cell = text_cell("longer, a thousand times, than is read at a time");
    int rc, rows = 1;
    (void)state;
    assert_int_equal(stage_new(temporary(path), 1, &stage, &err), 0);
    for (int i = 0; i < ROWS; i++)
        assert_int_equal(stage_append(stage, true, i, &cell, &offset, &err), 0);
    assert_int_equal(stage_sync(stage, &err), 0);
    stage_free(stage);
    assert_int_equal(stage_reader_new(path, 1, STAGE_NEAR, &reader, &err), 0);
    assert_int_equal(stage_next(reader, &row, &err), 1);
    break_open_file(path);
    while ((rc = stage_next(reader, &row, &err)) == 1)
        rows++;
    assert_int_equal(rc, ERROR_IO);
    assert_true(rows < ROWS);
    assert_non_null(strstr(err.text, path));
    stage_reader_free(reader);
    unlink(path);
}

/* ---- what earlier kinds of a trial would have added ---- */

static void trial_add_lot(struct trial *trial, const char *lot, int64_t packed_ms)
{
    struct record_cell cells[RECORD_COLUMNS] = {text_cell(lot)};
    cells[record_kind_column(record_kind_table(RECORD_LOTS), "packed_to")] =
        (struct record_cell){.form = RECORD_INTEGER, .integer = packed_ms};
    trial_add(trial, RECORD_LOTS, cells);
}

static void test_a_trial_is_kept_for_the_kinds_behind_it(void **state)
{
    char path[64], nowhere[96];
    struct trial *trial;
    struct error err = {0};
    const struct record_cell product[RECORD_COLUMNS] = {text_cell("W24")};
    (void)state;
    snprintf(nowhere, sizeof nowhere, "%s/below", temporary(path));
    assert_int_equal(trial_open(path, &trial, &err), 0);
    trial_add_lot(trial, "L2", 7000);
    trial_add_lot(trial, "L1", 5000);
    trial_add(trial, RECORD_PRODUCTS, product);
    trial_add(trial, RECORD_DISPATCH, product);
    for (int again = 0; again < 2; again++) {
        assert_int_equal(trial_write(trial, &err), 0);
        trial_free(trial);
        assert_int_equal(trial_open(path, &trial, &err), 0);
        const struct refs_lot one = trial_lot(trial, "L1"), two = trial_lot(trial, "L2");
        assert_true(one.id < 0 && two.id < 0 && one.id != two.id);
        assert_true(one.packed_ms == 5000 && two.packed_ms == 7000);
        assert_true(trial_product(trial, "W24") < 0);
        assert_int_equal(trial_lot(trial, "W24").id, 0);
        assert_int_equal(trial_product(trial, "L1"), 0);
        assert_int_equal(trial_lot(trial, "L3").id, 0);
    }
    trial_free(trial);
    /* below what is no folder nothing can be kept, nor anything read */
    assert_true(trial_open(nowhere, &trial, &err) < 0);
    unlink(path);
    assert_int_equal(trial_open(nowhere, &trial, &err), 0);
    trial_add_lot(trial, "L1", 5000);
    assert_true(trial_write(trial, &err) < 0);
    assert_non_null(strstr(err.text, nowhere));
    trial_free(trial);
}

/* ---- names that rows refer to ---- */

struct asked {
    int lots, products;
};

static int ask_lot(void *arg, const char *lot, struct refs_lot *ret, struct error *err)
{
    struct asked *asked = arg;
    asked->lots++;
    *ret = *lot == 'L' ? (struct refs_lot){lot[1], 1000 + lot[1]} : (struct refs_lot){0};
    return *lot == '!' ? error_set(err, ERROR_IO, "a broken disk") : 0;
}

static int ask_product(void *arg, const char *product, int64_t *ret_id, struct error *err)
{
    struct asked *asked = arg;
    asked->products++;
    *ret_id = *product == 'L' ? -product[1] : 0;
    return *product == '!' ? error_set(err, ERROR_IO, "a broken disk") : 0;
}

/* What there is is asked for once, what there is not each time; a lot is no product of its name. */
static void test_names_are_asked_for_once(void **state)
{
    struct asked asked = {0};
    const struct refs_source source = {ask_lot, ask_product, &asked, NULL};
    struct refs *refs = refs_new();
    struct refs_lot lot;
    struct error err = {0};
    int64_t product;
    char name[80] = "L";
    (void)state;
    for (int turn = 0; turn < 3; turn++) {
        assert_int_equal(refs_lot(refs, &source, "L2", 2, &lot, &err), 0);
        assert_true(lot.id == '2' && lot.packed_ms == 1000 + '2');
        assert_int_equal(asked.lots, 1 + turn);
        assert_int_equal(refs_lot(refs, &source, "L2", 2, &lot, &err), 0);
        assert_true(lot.id == '2' && lot.packed_ms == 1000 + '2');
        assert_int_equal(asked.lots, 1 + turn);
        assert_int_equal(refs_product(refs, &source, "L2", 2, &product, &err), 0);
        assert_int_equal(product, -'2');
        assert_int_equal(asked.products, 1 + turn);
        assert_int_equal(refs_product(refs, &source, "L2", 2, &product, &err), 0);
        assert_int_equal(product, -'2');
        assert_int_equal(asked.products, 1 + turn);
    }
    for (int turn = 0; turn < 2; turn++) {
        asked = (struct asked){0};
        assert_int_equal(refs_lot(refs, &source, "X", 1, &lot, &err), 0);
        assert_int_equal(lot.id, 0);
        assert_int_equal(refs_product(refs, &source, "X", 1, &product, &err), 0);
        assert_int_equal(product, 0);
        assert_int_equal(refs_lot(refs, &source, "!", 1, &lot, &err), ERROR_IO);
        assert_int_equal(refs_product(refs, &source, "!", 1, &product, &err), ERROR_IO);
        assert_true(asked.lots == 2 && asked.products == 2);
    }
    /* what no name is as long as is not asked for */
    memset(name + 1, '2', sizeof name - 1);
    for (size_t length = 63; length < 66; length++) {
        asked = (struct asked){0};
        name[length] = '\0';
        assert_int_equal(refs_lot(refs, &source, name, length, &lot, &err), 0);
        assert_int_equal(refs_product(refs, &source, name, length, &product, &err), 0);
        assert_true((lot.id != 0) == (length < 64) && (product != 0) == (length < 64));
        assert_true(asked.lots == (length < 64) && asked.products == (length < 64));
        name[length] = '2';
    }
    refs_free(refs);
}

/* ---- refused rows ---- */

static void refuse(struct refusals *refusals, int rows)
{
    struct error why = {.code = ERROR_INVALID, .source = "lots.csv"};
    error_field(&why, "units", "x");
    snprintf(why.text, sizeof why.text, "not a number");
    for (int i = 0; i < rows; i++) {
        why.line = i + 2;
        refusals_add(refusals, &why);
    }
}

/* The first of them in the answer, the others in the file; each part of a load anew. */
static void test_refusals_beyond_the_first_are_in_the_file(void **state)
{
    char path[64];
    json_t *first = NULL;
    int64_t more = -1;
    char *lines = NULL;
    size_t length = 0;
    struct error err = {0};
    struct refusals *refusals = refusals_new(temporary(path));
    (void)state;
    assert_int_equal(refusals_take(refusals, &first, &more, &err), 0);
    assert_true(json_array_size(first) == 0 && more == 0);
    json_decref(first);
    refuse(refusals, REFUSALS_FIRST + 3);
    assert_int_equal(refusals_take(refusals, &first, &more, &err), 0);
    assert_true(json_array_size(first) == REFUSALS_FIRST && more == 3);
    json_t *row = json_array_get(first, REFUSALS_FIRST - 1);
    assert_int_equal(json_integer_value(json_object_get(row, "line")), REFUSALS_FIRST + 1);
    assert_string_equal(json_string_value(json_object_get(row, "column")), "units");
    json_decref(first);
    assert_int_equal(refusals_page(path, 0, &lines, &length, &err), 0);
    int count = 0;
    for (size_t i = 0; i < length; i++)
        count += lines[i] == '\n';
    assert_int_equal(count, 3);
    free(lines);
    assert_int_equal(refusals_page(path, (int64_t)length, &lines, &length, &err), 0);
    assert_int_equal(length, 0);
    free(lines);
    refuse(refusals, 1);
    assert_int_equal(refusals_take(refusals, &first, &more, &err), 0);
    assert_true(json_array_size(first) == 1 && more == 0);
    json_decref(first);
    refusals_free(refusals);
    unlink(path);
    assert_int_equal(refusals_page(path, 0, &lines, &length, &err), ERROR_NOT_FOUND);
}

/* Whoever asks without an error of his own, or with one that came first, is told so, too. */
static void test_refusals_that_cannot_be_written_are_said(void **state)
{
    json_t *first = NULL;
    int64_t more = 0;
    struct error none = {0}, before = {0};
    (void)state;
    for (int how = 0; how < 3; how++) {
        struct refusals *refusals = refusals_new("/nowhere/refused");
        refuse(refusals, REFUSALS_FIRST + 1);
        if (how == 2)
            error_set(&before, ERROR_INVALID, "came first");
        struct error *err = how == 0 ? NULL : how == 1 ? &none : &before;
        assert_int_equal(refusals_take(refusals, &first, &more, err), ERROR_IO);
        refusals_free(refusals);
    }
    assert_int_equal(none.code, ERROR_IO);
    assert_non_null(strstr(none.text, "/nowhere/refused"));
    assert_string_equal(before.text, "came first");
}

/* ---- equal keys ---- */

struct pairs {
    long count;
    uint64_t first, later; /* sums */
};

static int on_pair(void *arg, uint64_t first, uint64_t later, struct error *err)
{
    struct pairs *p = arg;
    (void)err;
    p->count++;
    p->first += first;
    p->later += later;
    return 0;
}

static int on_pair_stop(void *arg, uint64_t first, uint64_t later, struct error *err)
{
    on_pair(arg, first, later, err);
    return ERROR_INVALID;
}

static void test_equal_keys_are_found_however_far_apart(void **state)
{
    enum { ROWS = 300000 };
    char path[64];
    struct pairs pairs = {0};
    struct key_index *index = key_index_new(temporary(path));
    uint64_t first = 0, later = 0;
    (void)state;
    for (uint64_t i = 0; i < ROWS + 100; i++) {
        uint64_t key = i < ROWS ? i : (i - ROWS) * 1009;
        struct record_cell cells[2] = {{.form = RECORD_INTEGER, .integer = (int64_t)key},
                                       text_cell("core_temp_c")};
        assert_int_equal(key_index_add(index, key_index_hash(cells, 2), i, NULL), 0);
        first += i < ROWS ? 0 : key;
        later += i < ROWS ? 0 : i;
    }
    assert_int_equal(key_index_pairs(index, false, on_pair, &pairs, NULL), 0);
    assert_int_equal(pairs.count, 100);
    assert_int_equal(pairs.first, first);
    assert_int_equal(pairs.later, later);
    /* the last of equal ones for the first */
    pairs = (struct pairs){0};
    assert_int_equal(key_index_pairs(index, true, on_pair, &pairs, NULL), 0);
    assert_int_equal(pairs.count, 100);
    assert_int_equal(pairs.first, later);
    assert_int_equal(pairs.later, first);
    pairs = (struct pairs){0};
    assert_int_equal(key_index_pairs(index, false, on_pair_stop, &pairs, NULL), ERROR_INVALID);
    assert_int_equal(pairs.count, 1);
    pairs = (struct pairs){0};
    break_open_file(path);
    assert_int_equal(key_index_pairs(index, false, on_pair, &pairs, NULL), ERROR_IO);
    assert_true(pairs.count < 100);
    key_index_free(index);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_examples_of_rfc_4180),
        cmocka_unit_test(test_what_an_export_wrote_out_is_put_back),
        cmocka_unit_test(test_empty_fields_and_lines),
        cmocka_unit_test(test_a_broken_record_costs_one_line),
        cmocka_unit_test(test_an_endless_quote_does_not_eat_the_file),
        cmocka_unit_test(test_lines_too_long_are_skipped_whole),
        cmocka_unit_test(test_staged_rows_come_back),
        cmocka_unit_test(test_a_damaged_staging_file_is_refused),
        cmocka_unit_test(test_what_cannot_be_read_is_not_the_end),
        cmocka_unit_test(test_a_trial_is_kept_for_the_kinds_behind_it),
        cmocka_unit_test(test_names_are_asked_for_once),
        cmocka_unit_test(test_refusals_beyond_the_first_are_in_the_file),
        cmocka_unit_test(test_refusals_that_cannot_be_written_are_said),
        cmocka_unit_test(test_equal_keys_are_found_however_far_apart),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

/* Files as a whole: first lines, rows of no use, what is counted, what is kept of it and how long,
 * and a disk that fails. */
#include "check.h"
#include "failing.h"
#include "fixture.h"
#include "records/header.h"
#include "records/stage.h"
#include "store/db.h"
#include "store/record_gaps.h"
#include <sys/stat.h>
#include <utime.h>

/* What is counted of a load, and the first reason of a refusal. */
static char *told(struct fixture *f, const struct load_options *options, const char *text)
{
    struct text_buffer out = {0};
    json_t *answer = fixture_load(f, options, text, strlen(text), 1 << 16);
    const json_t *first = json_array_get(json_object_get(answer, "refused"), 0);
    text_appendf(&out, "%d read, %d new, %d changed, %d same, %d refused%s",
                 (int)fixture_number(answer, "read"), (int)fixture_number(answer, "new"),
                 (int)fixture_number(answer, "changed"), (int)fixture_number(answer, "same"),
                 (int)fixture_number(answer, "refused_total"),
                 json_is_true(json_object_get(answer, "applied")) ? ", applied" : "");
    if (first)
        text_appendf(&out, ": %s", json_string_value(json_object_get(first, "reason")));
    json_decref(answer);
    return text_take(&out);
}

static void expect(struct fixture *f, const struct load_options *options, const char *text,
                   const char *want)
{
    char *got = told(f, options, text);
    if (strcmp(got, want) != 0)
        fail_msg("%.80s: %s\n  not %s", text, got, want);
    free(got);
}

#define NOTHING "0 read, 0 new, 0 changed, 0 same, 1 refused: "

static void first_lines(void **state)
{
    struct load_options options = fixture_options(*state, RECORD_MIXES);
    struct text_buffer text = {0};
    options.keep_good = true;
    expect(*state, &options, "", NOTHING "the file is empty: its first row must name the columns");
    json_t *answer = fixture_load_text(*state, RECORD_MIXES, "\n\n");
    const json_t *first = json_array_get(json_object_get(answer, "refused"), 0);
    assert_int_equal(fixture_number(first, "line"), 1);
    json_decref(answer);
    expect(*state, &options, "\n\n",
           NOTHING "the file is empty: its first row must name the columns");
    expect(*state, &options, "lot,mix,at,flour_kg",
           "0 read, 0 new, 0 changed, 0 same, 0 refused, applied");
    expect(*state, &options, "lot\rmix\rat\rflour_kg\r",
           NOTHING "lines end with CR alone: save with LF or CR LF");
    expect(*state, &options, "lot,mix,at,flour_kg,x\xE9\n", NOTHING "the name is not UTF-8");
    expect(*state, &options, "lot,\"mix\n,at\nL,M\n",
           NOTHING "the quoted field that begins here does not end");
    for (int more = 0; more < 2; more++) {
        text_reset(&text);
        text_append(&text, "lot");
        for (int i = 1; i < HEADER_COLUMNS + more; i++)
            text_append(&text, ",lot");
        char *got = told(*state, &options, text.data);
        assert_int_equal(strstr(got, "more than 200 columns") != NULL, more);
        free(got);
    }
    text_buffer_free(&text);
}

#define MIX(lot, mix, flour) lot "," mix ",2026-11-17T05:00:00Z," flour "\n"

static void what_is_counted(void **state)
{
    struct load_options keep = fixture_options(*state, RECORD_MIXES), all = keep;
    static const char HEADER[] = "lot,mix,at,flour_kg\n";
    struct text_buffer text = {0};
    keep.keep_good = true;
    text_appendf(&text, "%s%s%s\n,,,\n%sx\n", HEADER, MIX("L2 6321 A", "M1", "450"),
                 MIX("L2 6321 A", "M2", "0"), MIX("L2 6321 A", "M3", "460"));
    expect(*state, &all, text.data,
           "4 read, 0 new, 0 changed, 0 same, 2 refused: is outside the plausible range 0.1 to "
           "20000 kg");
    expect(*state, &keep, text.data,
           "4 read, 2 new, 0 changed, 0 same, 2 refused, applied: is outside the plausible range "
           "0.1 to 20000 kg");
    text_reset(&text);
    text_appendf(&text, "%s%s%s%s%s", HEADER, MIX("L2 6321 A", "M1", "450"),
                 MIX("L2 6321 A", "M3", "461"), MIX("L2 6321 B", "M1", "450"),
                 MIX("L2 6321 B", "M1", "450"));
    expect(*state, &all, text.data, "4 read, 1 new, 1 changed, 2 same, 0 refused, applied");
    expect(*state, &all, text.data, "4 read, 0 new, 0 changed, 4 same, 0 refused, applied");
    /* of those that contradict each other none is taken; nor what says the same as one of them */
    text_reset(&text);
    text_appendf(&text, "%s%s%s%s%s", HEADER, MIX("L2 6321 A", "M8", "450"),
                 MIX("L2 6321 A", "M8", "451"), MIX("L2 6321 A", "M8", "450"),
                 MIX("L2 6321 A", "M9", "450"));
    expect(*state, &keep, text.data,
           "4 read, 1 new, 0 changed, 0 same, 3 refused, applied: contradicts line 3, which has "
           "the same key");
    keep.take_last = true;
    expect(*state, &keep, text.data, "4 read, 1 new, 0 changed, 2 same, 0 refused, applied");
    text_buffer_free(&text);
}

/* A row of several quantities is one row: changed if any of them is, or else new if any is. */
static void wide_rows_are_counted_once(void **state)
{
    struct load_options options = fixture_options(*state, RECORD_READINGS), dry = options;
    dry.dry_run = true;
    static const struct {
        const char *rows, *want;
    } CASES[] = {
        {"L2 6321 A,5.5,\n", "1 read, 1 new, 0 changed, 0 same, 0 refused"},
        {"L2 6321 A,5.5,0.95\n", "1 read, 1 new, 0 changed, 0 same, 0 refused"},
        {"L2 6321 A,5.6,0.95\n", "1 read, 0 new, 1 changed, 0 same, 0 refused"},
        {"L2 6321 A,5.6,0.95\nL2 6321 B,,\n", "2 read, 0 new, 0 changed, 2 same, 0 refused"},
        {"L2 6321 B,5.5,\nL1 6322 A,,0.9\n", "2 read, 2 new, 0 changed, 0 same, 0 refused"},
        {"L2 6321 B,,\n", "1 read, 0 new, 0 changed, 1 same, 0 refused"},
    };
    for (size_t i = 0; i < COUNT_OF(CASES); i++) {
        char text[200], want[120];
        snprintf(text, sizeof text, "lot,crumb_ph,crumb_aw\n%s", CASES[i].rows);
        expect(*state, &dry, text, CASES[i].want);
        snprintf(want, sizeof want, "%s, applied", CASES[i].want);
        expect(*state, &options, text, want);
    }
}

static void members_of_json(void **state)
{
    struct load_options options = fixture_options(*state, RECORD_READINGS);
    struct text_buffer text = {0};
    options.format = IMPORT_NDJSON;
    options.keep_good = true;
    for (int more = 0; more < 2; more++) {
        text_reset(&text);
        text_append(&text, "{\"lot\":\"L2 6321 A\"");
        for (int i = 1; i < HEADER_COLUMNS + more; i++) /* each another writing of one name */
            text_appendf(&text, ",\"%*sCrumb_pH [pH]%*s\":5", i % 15, "", i / 15, "");
        text_append(&text, "}\n");
        char *got = told(*state, &options, text.data);
        assert_int_equal(strstr(got, "more than 200 members") != NULL, more);
        free(got);
    }
    text_reset(&text);
    text_appendf(&text, "{\"lot\":\"%*s\"}\n", 70000, "");
    expect(*state, &options, text.data,
           "1 read, 0 new, 0 changed, 0 same, 1 refused, applied: the line is longer than 65536 "
           "bytes");
    text_buffer_free(&text);
}

/* ---- what is kept for whoever asks ---- */

static bool is_there(const struct fixture *f, const char *name)
{
    char path[300];
    snprintf(path, sizeof path, "%s/loads/%s", f->dir, name);
    return access(path, F_OK) == 0;
}

static void what_is_kept_an_hour(void **state)
{
    static const struct {
        const char *name;
        int age_s;
        bool stays;
    } FILES[] = {{"01990000-0000-7000-8000-000000000001.refused", 3599, true},
                 {"01990000-0000-7000-8000-000000000002.refused", 3601, false},
                 {"01990000-0000-7000-8000-000000000003.trial", 3601, false},
                 {"01990000-0000-7000-8000-000000000004.trial.part", 3601, false},
                 {"01990000-0000-7000-8000-000000000005.trial", 3599, true},
                 {"01990000-0000-7000-8000-000000000006.rows", 9999, true},
                 {"refused", 9999, true},
                 {".trial", 9999, true}};
    struct fixture *f = *state;
    const int64_t now_ms = INT64_C(1795219200000);
    char path[300];
    snprintf(path, sizeof path, "%s/loads", f->dir);
    mkdir(path, 0700);
    for (size_t i = 0; i < COUNT_OF(FILES); i++) {
        const struct utimbuf at = {0, (time_t)(now_ms / 1000) - FILES[i].age_s};
        snprintf(path, sizeof path, "%s/loads/%s", f->dir, FILES[i].name);
        FILE *file = fopen(path, "w");
        assert_non_null(file);
        fclose(file);
        assert_int_equal(utime(path, &at), 0);
    }
    load_forget(f->dir, now_ms);
    for (size_t i = 0; i < COUNT_OF(FILES); i++)
        if (is_there(f, FILES[i].name) != FILES[i].stays)
            fail_msg("%s", FILES[i].name);
    for (size_t i = 0; i < COUNT_OF(FILES); i++) {
        snprintf(path, sizeof path, "%s/loads/%s", f->dir, FILES[i].name);
        unlink(path);
    }
    load_forget("/nowhere", now_ms);
    char *lines = NULL;
    size_t length = 0;
    struct error err = {0};
    assert_int_equal(
        load_refused(f->dir, "01990000-0000-7000-8000-000000000002", 0, &lines, &length, &err),
        ERROR_NOT_FOUND);
    assert_non_null(strstr(err.hint, "for an hour"));
}

/* ---- a disk that fails ---- */

struct asked {
    struct fixture *f;
    enum record_kind kind;
    const char *text;
};

static int feed_all(void *arg, struct error *err)
{
    const struct asked *a = arg;
    const struct load_options options = fixture_options(a->f, a->kind);
    struct load *load;
    int rc = load_open(&options, &load, err);
    if (!rc)
        rc = load_feed(load, a->f->store, a->text, strlen(a->text), err);
    load_abort(load);
    return rc;
}

static void whatever_cannot_be_looked_up_is_said(void **state)
{
    struct asked CASES[] = {
        {*state, RECORD_READINGS, "lot,crumb_ph,crumb_aw\nL2 6321 A,5.5,0.9\nL2 6321 B,5,\n"},
        {*state, RECORD_LOTS,
         "lot,product,line,made_from,made_to,packed_from,packed_to,units,code_date,plant\n"
         "L2 6321 A,W24,2,2026-11-17T04:00:00Z,2026-11-17T07:00:00Z,2026-11-17T06:30:00Z,"
         "2026-11-17T09:30:00Z,8800,2026-11-27,north\n"},
        {*state, RECORD_TARGETS, "product,quantity,target\nW24,crumb_ph,5.5\n"},
        {*state, RECORD_DISPATCH, "lot,route,at,units\nL2 6321 A,R1,2026-11-18T05:00:00Z,10\n"},
        {*state, RECORD_USES, "lot,material,material_lot\nL2 6321 A,flour,F1\n"}};
    struct fixture *f = *state;
    for (size_t i = 0; i < COUNT_OF(CASES); i++)
        failing_check(f->store, feed_all, &CASES[i], record_kind_table(CASES[i].kind)->kind, 0);
}

/* Whichever statement of it fails, from the first that begins it: it has not been tried. */
static void what_cannot_be_tried_is_not_told(void **state)
{
    static const char TEXT[] = "lot,crumb_ph\nL2 6321 A,5.4\nL2 6321 B,5.6\n";
    struct fixture *f = *state;
    struct load_options options = fixture_options(f, RECORD_READINGS);
    bool failed = true;
    int statements = 0;
    options.dry_run = true;
    for (; failed; statements++) {
        struct load *load;
        struct error err = {0};
        json_t *answer = NULL;
        assert_int_equal(load_open(&options, &load, &err), 0);
        assert_int_equal(load_feed(load, f->store, TEXT, sizeof TEXT - 1, &err), 0);
        failing_begin(f->store, statements);
        int rc = load_finish(load, f->store, f->writer, &answer, &err);
        failing_end(f->store);
        failed = failing_now()->failed;
        if (failed != (rc != 0) || failed != !answer)
            fail_msg("statement %d %s: %d %s", statements, failed ? "failed" : "did not fail", rc,
                     err.text);
        json_decref(answer);
    }
    assert_true(statements > 3);
}

/* ---- a folder that is none ---- */

static void no_folder_no_load(void **state)
{
    struct load_options options = fixture_options(*state, RECORD_MIXES);
    char dir[] = "/tmp/oddloaf-files-XXXXXX", path[64];
    struct load *load = NULL;
    struct error err = {0};
    assert_non_null(mkdtemp(dir));
    snprintf(path, sizeof path, "%s/loads", dir);
    FILE *file = fopen(path, "w");
    assert_non_null(file);
    fclose(file);
    options.state_dir = dir;
    assert_true(load_open(&options, &load, &err) < 0);
    assert_null(load);
    assert_non_null(strstr(err.text, path));
    unlink(path);
    rmdir(dir);
}

/* ---- what there is of a record, and of how much ---- */

static int on_gap(void *arg, const struct record_gap *one)
{
    if (one->kind == RECORD_LOTS || one->kind == RECORD_USES)
        text_appendf(arg, "%s %s of line %s: %d of %d;", record_kind_table(one->kind)->kind,
                     one->what, one->line, (int)one->lots, (int)one->of);
    return 0;
}

static void records_that_there_are(void **state)
{
    struct fixture *f = *state;
    struct text_buffer out = {0};
    struct load_options options = fixture_options(f, RECORD_USES);
    const struct record_gaps_of all = {{0, INT64_MAX / 2}, NULL};
    expect(f, &options, "lot,material,material_lot\nL2 6321 A,flour,F1\n",
           "1 read, 1 new, 0 changed, 0 same, 0 refused, applied");
    assert_int_equal(record_gaps_list(f->store, &all, on_gap, &out, NULL), 0);
    /* of its product's two lots one has it; the third is of another, which has none */
    assert_string_equal(out.data, "lots  of line 1: 1 of -1;lots  of line 2: 2 of -1;"
                                  "uses flour of line 2: 1 of 2;");
    text_buffer_free(&out);
}

/* ---- the staging file ---- */

static struct record_cell number(int64_t n)
{
    return (struct record_cell){.form = RECORD_INTEGER, .integer = n};
}

/* Three rows of two records each: those of one go together, by whichever it is dropped. */
static void a_row_of_several_is_dropped_whole(void **state)
{
    (void)state;
    for (int dropped = 0; dropped < 6; dropped++) {
        char path[64];
        struct stage *stage;
        struct stage_reader *reader;
        struct stage_row row;
        uint64_t offsets[6];
        bool was = false;
        snprintf(path, sizeof path, "/tmp/oddloaf-files-%d.rows", getpid());
        unlink(path);
        assert_int_equal(stage_new(path, 1, &stage, NULL), 0);
        for (int i = 0; i < 6; i++) {
            struct record_cell cell = number(i);
            assert_int_equal(stage_append(stage, i % 2 == 0, 10 + i / 2, &cell, &offsets[i], NULL),
                             0);
        }
        assert_int_equal(stage_flush(stage, NULL), 0);
        assert_int_equal(stage_drop(stage, offsets[dropped], &was, NULL), 0);
        assert_true(was);
        assert_int_equal(stage_drop(stage, offsets[dropped ^ 1], &was, NULL), 0);
        assert_false(was);
        stage_free(stage);
        /* with a column more than it was written with: nothing stands there */
        assert_int_equal(stage_reader_new(path, 2, STAGE_NEAR, &reader, NULL), 0);
        for (int i = 0; i < 6; i++) {
            assert_int_equal(stage_tell(reader), offsets[i]);
            assert_int_equal(stage_next(reader, &row, NULL), 1);
            assert_true(row.offset == offsets[i] && row.line == 10 + i / 2);
            assert_int_equal(row.cells[0].integer, i);
            assert_int_equal(row.cells[1].form, RECORD_NOTHING);
            assert_int_equal((row.flags & STAGE_DROPPED) != 0, i / 2 == dropped / 2);
            assert_int_equal((row.flags & STAGE_FIRST) != 0, i % 2 == 0);
        }
        assert_int_equal(stage_next(reader, &row, NULL), 0);
        stage_seek(reader, offsets[3]);
        assert_int_equal(stage_next(reader, &row, NULL), 1);
        assert_int_equal(row.cells[0].integer, 3);
        stage_seek(reader, 0);
        assert_int_equal(stage_next(reader, &row, NULL), 1);
        assert_int_equal(row.cells[0].integer, 0);
        stage_reader_free(reader);
        unlink(path);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(first_lines),
        cmocka_unit_test(what_is_counted),
        cmocka_unit_test(wide_rows_are_counted_once),
        cmocka_unit_test(members_of_json),
        cmocka_unit_test(what_is_kept_an_hour),
        cmocka_unit_test(whatever_cannot_be_looked_up_is_said),
        cmocka_unit_test(a_row_of_several_is_dropped_whole),
        cmocka_unit_test(what_cannot_be_tried_is_not_told),
        cmocka_unit_test(no_folder_no_load),
        cmocka_unit_test(records_that_there_are),
    };
    return cmocka_run_group_tests(tests, fixture_setup, fixture_teardown);
}

/* Loading as the outside sees it: idempotence, history, all or nothing, crashes between slices. */
#include "fixture.h"
#include "no_plant.h"
#include "records/apply.h"
#include "records/stage.h"
#include "store/complaint.h"
#include "store/record_find.h"
#include "store/work.h"
#include <dirent.h>

static const char READINGS[] = "lot,quantity,value,at\n"
                               "L2 6321 A,core_at_pack_c,38,2026-11-17T07:00:00-05:00\n"
                               "L2 6321 A,crumb_ph,5.4,\n"
                               "L2 6321 B,crumb_ph,5.5,\n";

static void test_same_file_twice_is_all_same(void **state)
{
    fixture_expect(*state, RECORD_READINGS, READINGS, 3, 0, 0);
    fixture_expect(*state, RECORD_READINGS, READINGS, 0, 0, 3);
}

static void test_same_values_in_other_units_and_order_are_the_same(void **state)
{
    fixture_expect(*state, RECORD_READINGS, READINGS, 3, 0, 0);
    fixture_expect(*state, RECORD_READINGS,
                   "at,value [degF],quantity,lot\n"
                   "2026-11-17T12:00:00Z,100.4,core_at_pack_c,L2 6321 A\n",
                   0, 0, 1);
    fixture_expect(*state, RECORD_READINGS, "crumb_ph,lot\n5.4,L2 6321 A\n5.5,L2 6321 B\n", 0, 0,
                   2);
}

struct kept {
    int count;
    char was[1024], source[64];
};

static int on_replaced(void *arg, const struct record_replaced *row)
{
    struct kept *kept = arg;
    kept->count++;
    snprintf(kept->was, sizeof kept->was, "%s", row->was);
    snprintf(kept->source, sizeof kept->source, "%s", row->source);
    return 0;
}

static struct kept kept_of(struct fixture *f, enum record_kind kind, const char *key)
{
    struct kept kept = {0};
    struct error err = {0};
    assert_int_equal(record_find_replaced(f->store, kind, key, on_replaced, &kept, &err), 0);
    return kept;
}

static void test_changed_row_replaces_and_the_old_one_is_kept(void **state)
{
    struct fixture *f = *state;
    fixture_expect(f, RECORD_READINGS, READINGS, 3, 0, 0);
    fixture_expect(f, RECORD_READINGS,
                   "lot,quantity,value,at,note\n"
                   "L2 6321 A,core_at_pack_c,41.5,2026-11-17T07:00:00-05:00,probe checked\n"
                   "L2 6321 A,crumb_ph,5.4,,\n",
                   0, 1, 1);
    struct kept kept = kept_of(f, RECORD_READINGS, "[\"L2 6321 A\",\"core_at_pack_c\"");
    assert_int_equal(kept.count, 1);
    assert_string_equal(kept.was, "{\"lot\":\"L2 6321 A\",\"quantity\":\"core_at_pack_c\","
                                  "\"at\":\"2026-11-17T12:00:00.000Z\",\"mix\":\"\",\"point\":\"\","
                                  "\"value\":38.0,\"note\":null}");
    assert_string_equal(kept.source, "input");
    assert_int_equal(kept_of(f, RECORD_READINGS, "[").count, 1);
}

#define CHANGED_LOT                                                                                \
    "lot,product,line,made_from,made_to,packed_from,packed_to,units,code_date,shift\n"             \
    "L2 6321 A,W24,2,2026-11-17T04:00:00-05:00,2026-11-17T07:00:00-05:00,"                         \
    "2026-11-17T06:30:00-05:00,2026-11-17T09:30:00-05:00,8800,2026-11-27,A\n"

static void test_changed_lot_keeps_what_refers_to_it(void **state)
{
    struct fixture *f = *state;
    fixture_expect(f, RECORD_READINGS, READINGS, 3, 0, 0);
    fixture_expect(f, RECORD_LOTS, CHANGED_LOT, 0, 1, 0);
    fixture_expect(f, RECORD_READINGS, READINGS, 0, 0, 3);
    struct kept kept = kept_of(f, RECORD_LOTS, "[\"L2 6321 A\"]");
    assert_int_equal(kept.count, 1);
    assert_non_null(strstr(kept.was, "\"product\":\"W24\""));
    assert_non_null(strstr(kept.was, "\"units\":9000"));
    assert_non_null(strstr(kept.was, "\"code_date\":\"2026-11-27\""));
}

static int count_staged(const struct fixture *f)
{
    char path[128];
    int count = 0;
    snprintf(path, sizeof path, "%s/loads", f->dir);
    DIR *folder = opendir(path);
    for (struct dirent *entry; folder && (entry = readdir(folder));)
        count += entry->d_name[0] != '.';
    if (folder)
        closedir(folder);
    return count;
}

static void test_one_bad_row_and_nothing_is_applied(void **state)
{
    struct fixture *f = *state;
    json_t *answer = fixture_load_text(
        f, RECORD_READINGS, "lot,crumb_ph\nL2 6321 A,5.4\nL2 6321 B,54\nL1 6322 A,5.2\n");
    assert_true(json_is_false(json_object_get(answer, "applied")));
    assert_int_equal(fixture_number(answer, "read"), 3);
    assert_int_equal(fixture_number(answer, "refused_total"), 1);
    json_decref(answer);
    fixture_expect(f, RECORD_READINGS, "lot,crumb_ph\nL2 6321 A,5.4\nL1 6322 A,5.2\n", 2, 0, 0);
    assert_int_equal(count_staged(f), 0);
}

static void test_dry_run_tells_and_changes_nothing(void **state)
{
    struct fixture *f = *state;
    static const char wide[] = "lot,crumb_ph,crumb_aw\nL2 6321 A,5.4,\nL2 6321 B,5.6,0.95\n"
                               "L1 6322 A,5.2,0.95\n";
    fixture_expect(f, RECORD_READINGS, READINGS, 3, 0, 0);
    struct load_options options = fixture_options(f, RECORD_READINGS);
    options.dry_run = true;
    for (int i = 0; i < 2; i++) {
        json_t *answer = fixture_load(f, &options, wide, sizeof wide - 1, 100);
        assert_int_equal(fixture_number(answer, "new"), 1);
        assert_int_equal(fixture_number(answer, "changed"), 1);
        assert_int_equal(fixture_number(answer, "same"), 1);
        assert_true(json_is_false(json_object_get(answer, "applied")));
        assert_true(json_is_true(json_object_get(answer, "dry_run")));
        json_decref(answer);
    }
    assert_int_equal(count_staged(f), 0);
    fixture_expect(f, RECORD_READINGS, wide, 1, 1, 1);
}

static int64_t tried(struct fixture *f, enum record_kind kind, const char *trial, const char *text,
                     const char *what)
{
    struct load_options options = fixture_options(f, kind);
    options.dry_run = true;
    options.trial = trial;
    json_t *answer = fixture_load(f, &options, text, strlen(text), 100);
    int64_t count = fixture_number(answer, what);
    json_decref(answer);
    return count;
}

/* What a map of several kinds loads first is there for what it loads then, in a trial as well. */
static void test_a_trial_of_several_kinds_knows_of_the_kinds_before(void **state)
{
    struct fixture *f = *state;
    static const char ONE[] = "019a0000-0000-7000-8000-000000000001",
                      OTHER[] = "019a0000-0000-7000-8000-000000000002";
    static const char PRODUCTS[] = "product,name,family,shelf_life_days,unit_g\n"
                                   "NEW,Rye,pan-bread,9,500\nNEW2,Rye,pan-bread,9,x\n";
    static const char LOTS[] =
        "lot,product,line,made_from,made_to,packed_from,packed_to,units,code_date\n"
        "N1,NEW,1,2026-11-20T04:00:00Z,2026-11-20T05:00:00Z,2026-11-20T06:00:00Z,"
        "2026-11-20T07:00:00Z,900,2026-11-30\n"
        "N2,NEW2,1,2026-11-20T04:00:00Z,2026-11-20T05:00:00Z,2026-11-20T06:00:00Z,"
        "2026-11-20T07:00:00Z,900,2026-11-30\n";
    static const char USES[] = "lot,material,material_lot\nN1,film,P1\nN9,film,P1\n"
                               "L2 6321 A,film,P1\n";
    assert_int_equal(tried(f, RECORD_PRODUCTS, ONE, PRODUCTS, "refused_total"), 1);
    assert_int_equal(tried(f, RECORD_LOTS, ONE, LOTS, "refused_total"), 2); /* nothing is kept … */
    struct load_options good = fixture_options(f, RECORD_PRODUCTS);
    good.dry_run = good.keep_good = true; /* … of a file that is not taken */
    good.trial = ONE;
    json_decref(fixture_load(f, &good, PRODUCTS, sizeof PRODUCTS - 1, 100));
    good.kind = RECORD_LOTS;
    json_t *answer = fixture_load(f, &good, LOTS, sizeof LOTS - 1, 7);
    assert_int_equal(fixture_number(answer, "new"), 1);
    json_decref(answer);
    assert_int_equal(tried(f, RECORD_USES, ONE, USES, "refused_total"), 1);
    assert_int_equal(tried(f, RECORD_USES, OTHER, USES, "refused_total"), 2);
    assert_int_equal(tried(f, RECORD_USES, NULL, USES, "refused_total"), 2);
    /* a reading without a time is of the end of the packing that the trial told */
    assert_int_equal(tried(f, RECORD_READINGS, ONE, "lot,crumb_ph\nN1,5.4\n", "new"), 1);
    load_forget(f->dir, INT64_MAX / 2);
    assert_int_equal(tried(f, RECORD_USES, ONE, USES, "refused_total"), 2);
}

static void test_abort_leaves_nothing_behind(void **state)
{
    struct fixture *f = *state;
    struct load_options options = fixture_options(f, RECORD_READINGS);
    struct error err = {0};
    struct load *load;
    assert_int_equal(load_open(&options, &load, &err), 0);
    assert_int_equal(load_feed(load, f->store, READINGS, 60, &err), 0);
    assert_int_equal(count_staged(f), 1);
    load_abort(load);
    load_abort(NULL);
    assert_int_equal(count_staged(f), 0);
}

/* ---- long files ---- */

enum { MANY = 3 * APPLY_SLICE + 17 };

/* One reading a minute; `add` shifts the values. */
static char *many_readings(int add, size_t *ret_length)
{
    struct text_buffer text = {0};
    text_append(&text, "lot,quantity,value,at\n");
    for (int i = 0; i < MANY; i++)
        text_appendf(&text, "L2 6321 %c,core_temp_c,%d,2026-11-%02dT%02d:%02d:00-05:00\n",
                     i % 2 ? 'A' : 'B', 20 + (i + add) % 50, 1 + i / 1440, i / 60 % 24, i % 60);
    *ret_length = text.length;
    return text_take(&text);
}

static int find_lot(void *arg, const char *lot, struct refs_lot *ret, struct error *err)
{
    return record_find_lot(arg, lot, &ret->id, &ret->packed_ms, err);
}

static int find_product(void *arg, const char *product, int64_t *ret_id, struct error *err)
{
    return record_find_product(arg, product, ret_id, err);
}

static void never_refused(void *arg, const struct error *why)
{
    (void)arg;
    fixture_fail("refused", why);
}

/* Stages and accepts a file as load_finish() does, and applies nothing of it. */
static void accept_only(struct fixture *f, const char *id, const char *text, size_t length)
{
    struct error err = {0};
    struct load_file file = {.kind = RECORD_READINGS, .accepted_ms = 1};
    struct refs_source refs = {find_lot, find_product, f->store, no_plant};
    char path[160];
    struct import *import;
    snprintf(file.id, sizeof file.id, "%s", id);
    snprintf(file.source, sizeof file.source, "input");
    snprintf(file.path, sizeof file.path, "loads/%s.rows", id);
    snprintf(path, sizeof path, "%s/%s", f->dir, file.path);
    struct import_options options = {RECORD_READINGS, IMPORT_CSV,    "input", path,
                                     f->catalogue,    never_refused, NULL,    false};
    assert_int_equal(import_new(&options, &import, &err), 0);
    assert_int_equal(import_feed(import, &refs, text, length, &err), 0);
    assert_int_equal(import_finish(import, &refs, &err), 0);
    import_free(import);
    assert_int_equal(apply_accept(f->writer, f->dir, &file, &err), 0);
}

#define FIRST_ID "019a0000-0000-7000-8000-000000000001"
#define LATER_ID "019a0000-0000-7000-8000-000000000002"

static struct load_file state_of(struct fixture *f, const char *id)
{
    struct load_file file;
    struct error err = {0};
    if (apply_state(f->writer, id, &file, &err))
        fixture_fail("state", &err);
    return file;
}

static void test_stopped_between_slices_goes_on_at_the_next_start(void **state)
{
    struct fixture *f = *state;
    struct error err = {0};
    struct clock clock = clock_system();
    size_t length;
    char *text = many_readings(0, &length);
    accept_only(f, FIRST_ID, text, length);
    assert_int_equal(apply_until(f->writer, f->dir, FIRST_ID, &clock, 2, &err), 0);
    assert_int_equal(state_of(f, FIRST_ID).state, LOAD_WAITING);
    assert_int_equal(state_of(f, FIRST_ID).applied, 2 * APPLY_SLICE);
    fixture_stop(f);
    fixture_start(f);
    assert_int_equal(load_resume(f->writer, f->dir, &err), 0);
    struct load_file file = state_of(f, FIRST_ID);
    assert_int_equal(file.state, LOAD_DONE);
    assert_int_equal(file.applied, MANY);
    assert_int_equal(file.new_rows, MANY);
    assert_int_equal(file.changed_rows + file.same_rows, 0);
    assert_int_equal(count_staged(f), 0);
    fixture_expect(f, RECORD_READINGS, text, 0, 0, MANY);
    free(text);
}

/* By an older version, whose targets bore no day: they hold from the first lot on. */
static void test_targets_accepted_without_a_day_are_applied(void **state)
{
    struct fixture *f = *state;
    struct error err = {0};
    struct clock clock = clock_system();
    struct load_file file = {.kind = RECORD_TARGETS, .accepted_ms = 1, .id = FIRST_ID};
    struct record_cell cells[] = {{.form = RECORD_INTEGER},
                                  {.form = RECORD_TEXT, .text = "crumb_ph", .length = 8},
                                  {.form = RECORD_NUMBER, .number = 5.2},
                                  {.form = RECORD_NOTHING},
                                  {.form = RECORD_NUMBER, .number = 5.4}};
    struct stage *stage;
    char path[160];
    uint64_t offset;
    assert_int_equal(record_find_product(f->store, "W24", &cells[0].integer, &err), 0);
    snprintf(file.source, sizeof file.source, "input");
    snprintf(file.path, sizeof file.path, "loads/%s.rows", FIRST_ID);
    snprintf(path, sizeof path, "%s/%s", f->dir, file.path);
    assert_int_equal(stage_new(path, sizeof cells / sizeof *cells, &stage, &err), 0);
    assert_int_equal(stage_append(stage, true, 2, cells, &offset, &err), 0);
    assert_int_equal(stage_sync(stage, &err), 0);
    stage_free(stage);
    assert_int_equal(apply_accept(f->writer, f->dir, &file, &err), 0);
    assert_int_equal(apply_until(f->writer, f->dir, FIRST_ID, &clock, -1, &err), 0);
    assert_int_equal(state_of(f, FIRST_ID).new_rows, 1);
    fixture_expect(f, RECORD_TARGETS, "product,quantity,target,high\nW24,crumb_ph,5.2,5.4\n", 0, 0,
                   1);
}

static void test_files_are_applied_in_the_order_of_acceptance(void **state)
{
    struct fixture *f = *state;
    struct error err = {0};
    struct clock clock = clock_system();
    size_t length;
    char *first = many_readings(0, &length);
    accept_only(f, FIRST_ID, first, length);
    assert_int_equal(apply_until(f->writer, f->dir, FIRST_ID, &clock, 1, &err), 0);
    char *later = many_readings(1, &length);
    accept_only(f, LATER_ID, later, length);
    /* waiting for the later one brings the first one to its end before */
    assert_int_equal(apply_until(f->writer, f->dir, LATER_ID, &clock, -1, &err), 0);
    assert_int_equal(state_of(f, FIRST_ID).new_rows, MANY);
    assert_int_equal(state_of(f, LATER_ID).changed_rows, MANY);
    fixture_expect(f, RECORD_READINGS, later, 0, 0, MANY);
    free(first);
    free(later);
}

static void test_a_file_that_is_gone_does_not_block_the_others(void **state)
{
    struct fixture *f = *state;
    struct error err = {0};
    char path[160];
    accept_only(f, FIRST_ID, READINGS, sizeof READINGS - 1);
    snprintf(path, sizeof path, "%s/loads/%s.rows", f->dir, FIRST_ID);
    assert_int_equal(unlink(path), 0);
    fixture_expect(f, RECORD_READINGS, READINGS, 3, 0, 0);
    assert_int_equal(state_of(f, FIRST_ID).state, LOAD_FAILED);
    assert_int_equal(load_resume(f->writer, f->dir, &err), 0);
}

static void test_leftovers_of_a_crash_are_removed(void **state)
{
    struct fixture *f = *state;
    struct error err = {0};
    char path[160];
    snprintf(path, sizeof path, "%s/loads/%s.rows", f->dir, LATER_ID);
    FILE *file = fopen(path, "w");
    assert_non_null(file);
    fputs("half a row", file);
    fclose(file);
    assert_int_equal(load_resume(f->writer, f->dir, &err), 0);
    assert_int_equal(count_staged(f), 0);
}

static long resident_kib(void)
{
    long pages = 0, resident = 0;
    FILE *file = fopen("/proc/self/statm", "r");
    if (!file || fscanf(file, "%ld %ld", &pages, &resident) != 2)
        fail_msg("no /proc/self/statm");
    fclose(file);
    return resident * (sysconf(_SC_PAGESIZE) / 1024);
}

static void test_memory_does_not_grow_with_the_file(void **state)
{
    struct fixture *f = *state;
    struct load_options options = fixture_options(f, RECORD_READINGS);
    struct error err = {0};
    struct load *load;
    options.keep_good = true;
    assert_int_equal(load_open(&options, &load, &err), 0);
    long before = 0;
    for (int part = 0; part < 400; part++) {
        struct text_buffer text = {0};
        json_t *told;
        if (part == 0)
            text_append(&text, "lot,quantity,value,at,note\n");
        for (int i = 0; i < 1000; i++)
            text_appendf(&text, "L2 6321 A,core_temp_c,%s,2026-11-17T07:00:00.%03dZ,n%d\n",
                         i % 10 ? "40" : "x", i, part % 2);
        assert_int_equal(load_feed(load, f->store, text.data, text.length, &err), 0);
        assert_int_equal(load_told(load, &told, &err), 0);
        assert_int_equal(json_array_size(json_object_get(told, "refused")), 100);
        json_decref(told);
        text_buffer_free(&text);
        if (part == 40)
            before = resident_kib();
    }
#ifndef __SANITIZE_ADDRESS__ /* which keeps freed memory for a while */
    assert_true(resident_kib() - before < 4096);
#endif
    assert_true(before > 0);
    load_abort(load);
}

/* ---- what a load sets going ---- */

static int add_case(struct store *store, void *arg, struct error *err)
{
    int64_t *lot = arg;
    struct complaint_placed placed;
    struct complaint_new complaint = {.uuid = "019a0000-0000-7000-8000-0000000000aa",
                                      .received_ms = 1795000000000,
                                      .logged_ms = 1795000000000,
                                      .channel = "phone",
                                      .symptom = "mold",
                                      .code_day = WHEN_UNKNOWN_DAY,
                                      .bought_day = WHEN_UNKNOWN_DAY,
                                      .found_day = WHEN_UNKNOWN_DAY,
                                      .packs = 1,
                                      .body = "{}",
                                      .lots = {.state = LOT_EXACT, .count = 1, .lot = {{*lot, 1}}}};
    int rc = complaint_log(store, &complaint, &placed, err);
    struct work_row row;
    struct work_rows due = {&row, 0, 1};
    if (!rc)
        rc = work_due(store, WORK_RANK, INT64_MAX, &due, err);
    if (!rc && due.count)
        rc = work_done(store, WORK_RANK, &row, err);
    return rc;
}

static int64_t work_of(struct fixture *f, const char *kind)
{
    struct error err = {0};
    int64_t count;
    assert_int_equal(work_count(f->store, kind, &count, &err), 0);
    return count;
}

static void test_open_cases_of_the_lots_are_ranked_again(void **state)
{
    struct fixture *f = *state;
    struct error err = {0};
    int64_t lot, packed_ms;
    assert_int_equal(record_find_lot(f->store, "L2 6321 A", &lot, &packed_ms, &err), 0);
    if (writer_run(f->writer, add_case, &lot, &err))
        fixture_fail("case", &err);
    assert_int_equal(work_of(f, WORK_RANK), 0);
    fixture_expect(f, RECORD_READINGS, "lot,crumb_ph\nL2 6321 B,5.5\n", 1, 0, 0);
    assert_int_equal(work_of(f, WORK_RANK), 0);
    fixture_expect(f, RECORD_READINGS, READINGS, 2, 0, 1);
    assert_int_equal(work_of(f, WORK_RANK), 1);
    assert_true(work_of(f, WORK_REMATCH) >= 1); /* the base lots were new */
}

static void test_a_lot_that_changes_ranks_its_cases_again(void **state)
{
    struct fixture *f = *state;
    struct error err = {0};
    int64_t lot, packed_ms;
    assert_int_equal(record_find_lot(f->store, "L2 6321 A", &lot, &packed_ms, &err), 0);
    assert_int_equal(writer_run(f->writer, add_case, &lot, &err), 0);
    assert_int_equal(work_of(f, WORK_RANK), 0);
    fixture_expect(f, RECORD_LOTS, CHANGED_LOT, 0, 1, 0);
    assert_int_equal(work_of(f, WORK_RANK), 1);
}

static int forget_since(struct store *store, void *arg, struct error *err)
{
    struct work_row row[16];
    struct work_rows due = {row, 0, 16};
    (void)arg;
    int rc = work_due(store, WORK_SINCE, INT64_MAX, &due, err);
    for (int i = 0; i < due.count && !rc; i++)
        rc = work_done(store, WORK_SINCE, &row[i], err);
    return rc;
}

/* The day since which cases are to be ranked again, and that there is no other. */
static int32_t since(struct fixture *f)
{
    struct error err = {0};
    struct work_row row[2];
    struct work_rows due = {row, 0, 2};
    assert_int_equal(work_due(f->store, WORK_SINCE, INT64_MAX, &due, &err), 0);
    assert_int_equal(due.count, 1);
    assert_int_equal(writer_run(f->writer, forget_since, NULL, &err), 0);
    return (int32_t)row[0].subject_id;
}

/* Of other lots, too: they are held against what is recorded of this one. */
static void test_records_that_come_late_call_for_all_who_were_ranked_since(void **state)
{
    struct fixture *f = *state;
    struct error err = {0};
    int64_t lot, packed_ms;
    assert_int_equal(record_find_lot(f->store, "L2 6321 A", &lot, &packed_ms, &err), 0);
    const int32_t day = (int32_t)(packed_ms / WHEN_DAY_MS);
    assert_int_equal(writer_run(f->writer, forget_since, NULL, &err), 0);
    fixture_expect(f, RECORD_READINGS, READINGS, 3, 0, 0);
    assert_in_range(since(f), day - 2, day);
    fixture_expect(f, RECORD_READINGS, READINGS, 0, 0, 3);
    assert_int_equal(work_of(f, WORK_SINCE), 0); /* nothing new */
    fixture_expect(f, RECORD_READINGS, "lot,crumb_ph\nL2 6321 A,5.9\n", 0, 1, 0);
    assert_in_range(since(f), day - 2, day);
}

static void test_plant_log_ranks_all_open_cases_once_it_says_something_new(void **state)
{
    struct fixture *f = *state;
    struct error err = {0};
    static const char log[] = "at,place,quantity,value\n2026-11-17T06:00:00Z,slicer,cleaned,0\n";
    int64_t lot, packed_ms;
    fixture_expect(f, RECORD_PLANTLOG, log, 1, 0, 0);
    assert_int_equal(record_find_lot(f->store, "L2 6321 A", &lot, &packed_ms, &err), 0);
    assert_int_equal(writer_run(f->writer, add_case, &lot, &err), 0);
    fixture_expect(f, RECORD_PLANTLOG, log, 0, 0, 1);
    assert_int_equal(work_of(f, WORK_RANK), 0);
    fixture_expect(f, RECORD_PLANTLOG,
                   "at,place,quantity,value\n2026-11-17T06:00:00Z,slicer,cleaned,1\n", 0, 1, 0);
    assert_int_equal(work_of(f, WORK_RANK), 1);
}

#define TEST(name) cmocka_unit_test_setup_teardown(name, fixture_setup, fixture_teardown)

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(test_same_file_twice_is_all_same),
        TEST(test_same_values_in_other_units_and_order_are_the_same),
        TEST(test_changed_row_replaces_and_the_old_one_is_kept),
        TEST(test_changed_lot_keeps_what_refers_to_it),
        TEST(test_one_bad_row_and_nothing_is_applied),
        TEST(test_dry_run_tells_and_changes_nothing),
        TEST(test_a_trial_of_several_kinds_knows_of_the_kinds_before),
        TEST(test_abort_leaves_nothing_behind),
        TEST(test_stopped_between_slices_goes_on_at_the_next_start),
        TEST(test_targets_accepted_without_a_day_are_applied),
        TEST(test_files_are_applied_in_the_order_of_acceptance),
        TEST(test_a_file_that_is_gone_does_not_block_the_others),
        TEST(test_leftovers_of_a_crash_are_removed),
        TEST(test_memory_does_not_grow_with_the_file),
        TEST(test_open_cases_of_the_lots_are_ranked_again),
        TEST(test_a_lot_that_changes_ranks_its_cases_again),
        TEST(test_records_that_come_late_call_for_all_who_were_ranked_since),
        TEST(test_plant_log_ranks_all_open_cases_once_it_says_something_new),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

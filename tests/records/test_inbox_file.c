/* A file of an inbox: which kind it is of, how it is read, and that what was refused is told whole
 * and in the file's own words. And what is kept of refusals, to its limits. */
#include "fixture.h"
#include "records/inbox_file.h"
#include "records/refusals.h"
#include <fcntl.h>

#define COUNT(array) (sizeof(array) / sizeof *(array))

static const char MAP[] = "{\"kind\":\"readings\",\"columns\":{\"Batch\":\"lot\",\"Core\":"
                          "\"core_at_pack_c\"}}";

static void write_text(const char *folder, const char *name, const char *text)
{
    char path[256];
    snprintf(path, sizeof path, "%s/%s", folder, name);
    FILE *file = fopen(path, "w");
    assert_non_null(file);
    assert_true(fputs(text, file) >= 0);
    assert_int_equal(fclose(file), 0);
}

static const char *maps_of(struct fixture *f, char folder[static 128])
{
    char command[256];
    snprintf(folder, 128, "%s/maps", f->dir);
    snprintf(command, sizeof command, "mkdir -p '%s'", folder);
    assert_int_equal(system(command), 0);
    return folder;
}

struct taken {
    int rc;
    struct error err;
    json_t *loads;
    bool refused;
};

/* `was_off`: what is asked of it is of another size than the file. */
static struct taken take(struct fixture *f, const char *name, const char *maps, const char *text,
                         bool was_off)
{
    struct taken taken = {0};
    struct stat was;
    struct tz *tz;
    char path[256];
    write_text(f->dir, "input", text);
    snprintf(path, sizeof path, "%s/input", f->dir);
    int fd = open(path, O_RDONLY | O_CLOEXEC);
    assert_true(fd >= 0);
    assert_int_equal(fstat(fd, &was), 0);
    was.st_size += was_off;
    assert_int_equal(tz_open("America/New_York", &tz, NULL), 0);
    const struct inbox_file file = {.name = name,
                                    .maps = maps,
                                    .fd = fd,
                                    .was = &was,
                                    .catalogue = f->catalogue,
                                    .tz = tz,
                                    .state_dir = f->dir,
                                    .read_store = f->store,
                                    .writer = f->writer};
    taken.rc = inbox_file_take(&file, &taken.loads, &taken.refused, &taken.err);
    tz_close(tz);
    close(fd);
    return taken;
}

static const json_t *load_of(const struct taken *taken)
{
    if (taken->rc)
        fixture_fail("take", &taken->err);
    assert_int_equal(json_array_size(taken->loads), 1);
    return json_array_get(taken->loads, 0);
}

static const char *word(const json_t *of, const char *name)
{
    const char *text = json_string_value(json_object_get(of, name));
    assert_non_null(text);
    return text;
}

/* ---- which kind ---- */

static void the_kind_is_the_beginning_of_the_name(void **state)
{
    static const struct {
        const char *name;
        int kind;
    } NAMES[] = {{"lots.csv", RECORD_LOTS},         {"lots-2026-11-21.csv", RECORD_LOTS},
                 {"Lots 47.xlsx", RECORD_LOTS},     {"lotsofbread.csv", RECORD_KINDS},
                 {"products", RECORD_PRODUCTS},     {"core 1.csv", RECORD_READINGS},
                 {"core_b 1.csv", RECORD_DISPATCH}, {"cores.csv", RECORD_KINDS},
                 {"broken.csv", RECORD_KINDS},      {"readings.txt", RECORD_READINGS},
                 {"hidden.csv", RECORD_KINDS},      {"lot.csv", RECORD_KINDS}};
    struct fixture *f = *state;
    char folder[128];
    const char *maps = maps_of(f, folder);
    write_text(maps, "core.json", MAP);
    write_text(maps, "core_b.json",
               "{\"kind\":\"dispatch\",\"columns\":{\"Batch\":\"lot\",\"Shop\":\"store\"}}");
    write_text(maps, "broken.json", "{");
    write_text(maps, ".hidden.json", MAP);
    write_text(maps, ".json", MAP);
    for (size_t i = 0; i < COUNT(NAMES); i++)
        if (inbox_file_order(NAMES[i].name, maps) != NAMES[i].kind)
            fail_msg("%s: %d", NAMES[i].name, inbox_file_order(NAMES[i].name, maps));
    assert_int_equal(inbox_file_order("core 1.csv", ""), RECORD_KINDS);
    struct taken none = take(f, "cores.csv", "", "lot\n", false);
    assert_int_equal(none.rc, ERROR_INVALID);
    assert_null(none.loads);
    assert_non_null(strstr(none.err.text, "no kind of record and no map"));
    assert_true(*none.err.hint);
}

static void count_fault(void *arg, const struct error *fault)
{
    assert_true(*fault->text);
    ++*(int *)arg;
}

static void faults_of_all_maps_are_told(void **state)
{
    struct fixture *f = *state;
    char folder[128];
    int told = 0;
    const char *maps = maps_of(f, folder);
    write_text(maps, "core.json", MAP);
    assert_int_equal(inbox_file_check(maps, f->catalogue, count_fault, &told), 0);
    assert_int_equal(told, 0);
    write_text(maps, "a.json", "{");
    write_text(maps, "readings.json", "{\"columns\":{\"Batch\":\"lot\",\"Core\":\"nothing\"}}");
    write_text(maps, ".b.json", "{");
    write_text(maps, "c.txt", "{");
    assert_int_equal(inbox_file_check(maps, f->catalogue, count_fault, &told), 2);
    assert_true(told >= 2);
    assert_int_equal(inbox_file_check("", f->catalogue, count_fault, &told), 0);
    assert_int_equal(inbox_file_check("/nowhere/at/all", f->catalogue, count_fault, &told), 0);
}

/* ---- how it is read ---- */

static void each_format_is_read(void **state)
{
    static const struct {
        const char *name, *text;
    } FILES[] = {
        {"readings.csv", "lot,core_at_pack_c\nL2 6321 A,38\n"},
        {"readings.ndjson", "\xEF\xBB\xBF{\"lot\":\"L2 6321 A\",\"core_at_pack_c\":38}\n"},
        {"readings.JSONL", "\n{\"lot\":\"L2 6321 A\",\"core_at_pack_c\":38}"},
        {"readings.json", "{\"lot\":\"L2 6321 A\",\"core_at_pack_c\":38}\n\n"},
        {"core.csv", "Batch,Core\nL2 6321 A,38\n"},
    };
    struct fixture *f = *state;
    char folder[128];
    const char *maps = maps_of(f, folder);
    write_text(maps, "core.json", MAP);
    for (size_t i = 0; i < COUNT(FILES); i++) {
        struct taken taken = take(f, FILES[i].name, maps, FILES[i].text, false);
        const json_t *load = load_of(&taken);
        assert_false(taken.refused);
        assert_string_equal(word(load, "kind"), "readings");
        assert_int_equal(fixture_number(load, i ? "same" : "new"), 1);
        assert_int_equal(fixture_number(load, "read"), 1);
        assert_int_equal(json_array_size(json_object_get(load, "refused")), 0);
        json_decref(taken.loads);
    }
}

static void what_changed_or_is_no_csv_is_not_taken(void **state)
{
    struct fixture *f = *state;
    const char *text = "lot,core_at_pack_c\nL2 6321 A,38\n";
    struct taken taken = take(f, "readings.csv", "", text, true);
    assert_int_equal(taken.rc, ERROR_BUSY);
    assert_null(taken.loads);
    assert_true(error_is_ours(taken.err.code) || taken.err.code == ERROR_BUSY);
    taken = take(f, "readings.csv", "", text, false);
    assert_int_equal(fixture_number(load_of(&taken), "new"), 1); /* nothing was of the first */
    json_decref(taken.loads);
}

/* ---- what was refused ---- */

enum { BAD = REFUSALS_FIRST + 2500 };

/* The column is called as the file does, where a map says how. */
static void all_that_was_refused_is_told(void **state)
{
    struct fixture *f = *state;
    char folder[128];
    const char *maps = maps_of(f, folder);
    write_text(maps, "core.json", MAP);
    for (int mapped = 0; mapped < 2; mapped++) {
        struct text_buffer text = {0};
        text_append(&text, mapped ? "Batch,Core\n" : "lot,core_at_pack_c\n");
        for (int i = 0; i < BAD; i++)
            text_appendf(&text, "L2 6321 A,%d\n", 10000 + i);
        struct taken taken = take(f, mapped ? "core.csv" : "readings.csv", maps, text.data, false);
        const json_t *load = load_of(&taken), *refused = json_object_get(load, "refused");
        assert_true(taken.refused);
        assert_int_equal(fixture_number(load, "refused_total"), BAD);
        assert_int_equal(json_array_size(refused), BAD);
        assert_null(json_object_get(load, "rest"));
        assert_null(json_object_get(load, "refused_more"));
        for (int i = 0; i < BAD; i++) {
            const json_t *row = json_array_get(refused, (size_t)i);
            assert_int_equal(fixture_number(row, "line"), i + 2);
            assert_string_equal(word(row, "column"), mapped ? "Core" : "core_at_pack_c");
        }
        json_decref(taken.loads);
        text_buffer_free(&text);
    }
}

static void refuse(struct refusals *r, int line)
{
    struct error why = {0};
    error_set(&why, ERROR_INVALID, "must be a number");
    error_at(&why, "input", line, 0);
    error_field(&why, "value", "x");
    refusals_add(r, &why);
}

static void the_first_are_in_the_answer_and_the_rest_in_a_file(void **state)
{
    struct fixture *f = *state;
    struct error err = {0};
    char path[128], *lines;
    json_t *first;
    int64_t more;
    size_t length;
    snprintf(path, sizeof path, "%s/refused", f->dir);
    struct refusals *r = refusals_new(path);
    for (int extra = 0; extra < 3; extra++) {
        for (int i = 0; i < REFUSALS_FIRST + extra; i++)
            refuse(r, i + 1);
        assert_int_equal(refusals_take(r, &first, &more, &err), 0);
        assert_int_equal(json_array_size(first), REFUSALS_FIRST);
        assert_int_equal(more, extra);
        json_t *one =
            json_pack("{s:s, s:i, s:s, s:s, s:s}", "source", "input", "line", REFUSALS_FIRST,
                      "column", "value", "value", "x", "reason", "must be a number");
        assert_true(json_equal(json_array_get(first, REFUSALS_FIRST - 1), one));
        json_decref(one);
        json_decref(first);
        int rc = refusals_page(path, 0, &lines, &length, &err);
        assert_int_equal(rc, extra ? 0 : ERROR_NOT_FOUND);
        if (!rc) {
            int count = 0;
            for (size_t i = 0; i < length; i++)
                count += lines[i] == '\n';
            assert_int_equal(count, extra);
            free(lines);
            assert_int_equal(refusals_page(path, (int64_t)length, &lines, &length, &err), 0);
            assert_int_equal(length, 0);
            free(lines);
        }
    }
    assert_int_equal(refusals_take(r, &first, &more, &err), 0); /* asked again, of nothing new */
    assert_int_equal(json_array_size(first), 0);
    assert_int_equal(more, 0);
    json_decref(first);
    refusals_free(r);
    refusals_free(NULL);
}

static void refusals_that_cannot_be_kept_are_an_error(void **state)
{
    struct error err = {0};
    json_t *first = NULL;
    int64_t more = 0;
    (void)state;
    struct refusals *r = refusals_new("/nowhere/at/all");
    for (int i = 0; i < REFUSALS_FIRST + 2; i++)
        refuse(r, i + 1);
    assert_int_equal(refusals_take(r, &first, &more, &err), ERROR_IO);
    assert_int_equal(err.code, ERROR_IO);
    assert_non_null(strstr(err.text, "/nowhere/at/all"));
    assert_int_equal(refusals_take(r, &first, &more, NULL), ERROR_IO);
    struct error kept = {0};
    error_set(&kept, ERROR_BUSY, "was first");
    assert_int_equal(refusals_take(r, &first, &more, &kept), ERROR_IO);
    assert_string_equal(kept.text, "was first");
    assert_null(first);
    refusals_free(r);
    r = refusals_new("/dev/full");
    for (int i = 0; i < REFUSALS_FIRST + 2; i++)
        refuse(r, i + 1);
    error_clear(&err);
    assert_int_equal(refusals_take(r, &first, &more, &err), ERROR_NO_SPACE);
    assert_true(*err.hint);
    refusals_free(r);
}

static void a_load_needs_its_folder(void **state)
{
    struct fixture *f = *state;
    struct error err = {0};
    struct load *load = NULL;
    struct load_options options = fixture_options(f, RECORD_READINGS);
    options.state_dir = "/nowhere/at/all";
    assert_int_equal(load_open(&options, &load, &err), ERROR_IO);
    assert_null(load);
    assert_non_null(strstr(err.text, "/nowhere/at/all/loads"));
}

#define TEST(name) cmocka_unit_test_setup_teardown(name, fixture_setup, fixture_teardown)

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(the_kind_is_the_beginning_of_the_name),
        TEST(faults_of_all_maps_are_told),
        TEST(each_format_is_read),
        TEST(what_changed_or_is_no_csv_is_not_taken),
        TEST(all_that_was_refused_is_told),
        TEST(the_first_are_in_the_answer_and_the_rest_in_a_file),
        TEST(refusals_that_cannot_be_kept_are_an_error),
        TEST(a_load_needs_its_folder),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

/* cases/<kind>-<what>/: input.csv or input.ndjson, and expected.json, what the load answers.
 * Options (keep_good, dry_run) are members of expected.json too. Every case is also cut into two
 * parts at every byte, and fed byte by byte: the answer must not change.
 *
 * With ODDLOAF_WRITE_EXPECTED set, the answers are written instead of compared: for making new
 * cases, to be read with care before they are kept. */
#include "fixture.h"
#include <dirent.h>

#define CASES ODDLOAF_SOURCE_DIR "/tests/records/cases"
#ifndef ONE_IN
#define ONE_IN 1 /* of the bytes that a case is cut at */
#endif

struct one_case {
    char folder[512];
    struct load_options options;
    char *input;
    size_t length;
    json_t *expected;
};

static void read_case(const struct fixture *f, const char *name, struct one_case *c)
{
    char path[600], kind[32];
    struct error err = {0};
    json_error_t why;
    snprintf(c->folder, sizeof c->folder, "%s/%s", CASES, name);
    snprintf(kind, sizeof kind, "%.*s", (int)strcspn(name, "-"), name);
    c->options = fixture_options(f, RECORD_LOTS);
    assert_true(record_kind_parse(kind, &c->options.kind));
    snprintf(path, sizeof path, "%s/input.csv", c->folder);
    c->input = fixture_file(path, &c->length);
    if (!c->input) {
        snprintf(path, sizeof path, "%s/input.ndjson", c->folder);
        c->input = fixture_file(path, &c->length);
        c->options.format = IMPORT_NDJSON;
    }
    assert_non_null(c->input);
    snprintf(path, sizeof path, "%s/expected.json", c->folder);
    c->expected = json_load_file(path, 0, &why);
    if (!c->expected && getenv("ODDLOAF_WRITE_EXPECTED"))
        c->expected = json_object();
    if (!c->expected)
        fail_msg("%s: %s", path, why.text);
    assert_int_equal(jsonx_bool(c->expected, "keep_good", &c->options.keep_good, &err), 0);
    assert_int_equal(jsonx_bool(c->expected, "take_last", &c->options.take_last, &err), 0);
    json_object_del(c->expected, "keep_good");
    json_object_del(c->expected, "take_last");
}

/* Rows that contradict each other are found in no particular order. */
static int by_line(const void *a, const void *b)
{
    json_t *const *x = a, *const *y = b;
    return (int)(fixture_number(*x, "line") - fixture_number(*y, "line"));
}

static void sort_refused(json_t *answer)
{
    json_t *refused = json_object_get(answer, "refused"), *rows[256], *sorted = json_array();
    size_t count = json_array_size(refused);
    assert_true(count < 256);
    for (size_t i = 0; i < count; i++)
        rows[i] = json_array_get(refused, i);
    qsort(rows, count, sizeof *rows, by_line);
    for (size_t i = 0; i < count; i++)
        json_array_append(sorted, rows[i]);
    json_object_set_new(answer, "refused", sorted);
}

static void expect_answer(const struct one_case *c, json_t *answer, const char *how)
{
    sort_refused(answer);
    if (!json_equal(answer, c->expected)) {
        char *got = json_dumps(answer, JSON_INDENT(1));
        fail_msg("%s, %s: answers\n%s", c->folder, how, got);
    }
    json_decref(answer);
}

static void write_expected(const struct one_case *c, json_t *answer)
{
    char path[600];
    snprintf(path, sizeof path, "%s/expected.json", c->folder);
    sort_refused(answer);
    if (c->options.keep_good)
        json_object_set_new(answer, "keep_good", json_true());
    assert_int_equal(json_dump_file(answer, path, JSON_INDENT(1)), 0);
    json_decref(answer);
}

static void cut_everywhere(struct fixture *f, struct one_case *c)
{
    struct load_options dry = c->options;
    dry.dry_run = true;
    json_t *whole = fixture_load(f, &dry, c->input, c->length, c->length + 1);
    json_decref(c->expected);
    c->expected = whole;
    sort_refused(whole);
    for (size_t cut = 1 + c->length % ONE_IN; cut < c->length && c->length < 4096; cut += ONE_IN) {
        char how[64];
        snprintf(how, sizeof how, "cut at %zu", cut);
        struct error err = {0};
        struct load *load;
        json_t *told, *answer, *all = json_array();
        assert_int_equal(load_open(&dry, &load, &err), 0);
        assert_int_equal(load_feed(load, f->store, c->input, cut, &err), 0);
        assert_int_equal(load_told(load, &told, &err), 0);
        assert_int_equal(load_feed(load, f->store, c->input + cut, c->length - cut, &err), 0);
        assert_int_equal(load_finish(load, f->store, f->writer, &answer, &err), 0);
        json_array_extend(all, json_object_get(told, "refused"));
        json_array_extend(all, json_object_get(answer, "refused"));
        json_object_set_new(answer, "refused", all);
        json_decref(told);
        expect_answer(c, answer, how);
    }
    expect_answer(c, fixture_load(f, &dry, c->input, c->length, 1), "byte by byte");
    expect_answer(c, fixture_load(f, &dry, c->input, c->length, 7), "by sevens");
}

static void test_case(void **state)
{
    /* a store of its own for every case, so that none depends on another */
    const char *name = *state;
    void *fixture = NULL;
    assert_int_equal(fixture_setup(&fixture), 0);
    struct one_case c;
    read_case(fixture, name, &c);
    json_t *answer = fixture_load(fixture, &c.options, c.input, c.length, 1 << 16);
    if (getenv("ODDLOAF_WRITE_EXPECTED"))
        write_expected(&c, answer);
    else
        expect_answer(&c, answer, "as one part");
    cut_everywhere(fixture, &c);
    json_decref(c.expected);
    free(c.input);
    assert_int_equal(fixture_teardown(&fixture), 0);
}

static int visible(const struct dirent *entry)
{
    return entry->d_name[0] != '.';
}

int main(void)
{
    struct dirent **entries;
    int count = scandir(CASES, &entries, visible, alphasort);
    if (count <= 0)
        return 1;
    struct CMUnitTest *tests = xcalloc((size_t)count, sizeof *tests);
    for (int i = 0; i < count; i++)
        tests[i] =
            (struct CMUnitTest){entries[i]->d_name, test_case, NULL, NULL, entries[i]->d_name};
    int failed = _cmocka_run_group_tests("cases", tests, (size_t)count, NULL, NULL);
    for (int i = 0; i < count; i++)
        free(entries[i]);
    free(entries);
    free(tests);
    return failed;
}

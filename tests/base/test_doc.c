/* The checker of JSON documents: what a row of each kind takes, and how its faults read. */
#include "check.h"

#include "base/doc.h"
#include "base/when.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum colour { RED, GREEN };

struct thing {
    const char *text, *word_text;
    char chars[5];
    enum colour colour;
    double number, open;
    int whole;
    bool flag;
    int32_t day;
    const json_t *texts;
    struct {
        double inner;
    } object;
    char seen[200]; /* by the rows that a function reads */
};

static void see(const struct doc_place *place, void *part)
{
    char *seen = part;
    size_t used = strlen(seen);
    assert_non_null(place->value);
    if (place->name)
        snprintf(seen + used, 200 - used, "%s;", place->name);
    else
        snprintf(seen + used, 200 - used, "%zu;", place->index);
}

static const char *const COLOURS[] = {[RED] = "red", [GREEN] = "green", NULL};
static const struct doc_row INNER[] = {
    {"inner", DOC_NUMBER, DOC_AT(struct thing, object.inner), 0, 1, .required = true}, {0}};
#define SEEN DOC_AT(struct thing, seen), .each = see
static const struct doc_row ROWS[] = {
    {.name = "any"},
    {"text", DOC_TEXT, DOC_AT(struct thing, text), .required = true},
    {"empty", DOC_TEXT, DOC_AT(struct thing, text), .empty = true},
    {"word_text", DOC_TEXT, DOC_AT(struct thing, word_text), .words = COLOURS},
    {"chars", DOC_CHARS, DOC_AT(struct thing, chars)},
    {"colour", DOC_WORD, DOC_AT(struct thing, colour), .words = COLOURS},
    {"number", DOC_NUMBER, DOC_AT(struct thing, number), -1.5, 2},
    {"open", DOC_NUMBER, DOC_AT(struct thing, open)},
    {"whole", DOC_WHOLE, DOC_AT(struct thing, whole), 0, INFINITY},
    {"flag", DOC_FLAG, DOC_AT(struct thing, flag)},
    {"day", DOC_DAY, DOC_AT(struct thing, day)},
    {"texts", DOC_TEXTS, .at = offsetof(struct thing, texts), .low = 1, .high = 2},
    {"object", DOC_OBJECT, .rows = INNER},
    {"list", DOC_LIST, SEEN, .low = 2, .high = 3},
    {"pair", DOC_LIST, SEEN, .low = 2, .high = 2},
    {"many", DOC_LIST, SEEN, .low = 1, .high = INFINITY},
    {"map", DOC_MAP, SEEN, .low = 1, .high = INFINITY},
    {"other", DOC_OTHER, SEEN},
    {0}};

static struct thing untouched(void)
{
    return (struct thing){.text = "default", .number = 7, .open = 7, .whole = 7, .day = 7};
}

static void every_kind_is_read(void **state)
{
    static const char TEXT[] =
        "{\"any\":[{}],\"text\":\"t\",\"word_text\":\"red\",\"chars\":\"four\",\"colour\":"
        "\"green\","
        "\"number\":2,\"open\":-1e300,\"whole\":5.0,\"flag\":true,\"day\":\"1970-01-02\","
        "\"texts\":[\"a\",\"b\"],\"object\":{\"inner\":0.5},\"list\":[1,2],\"pair\":[{},[]],"
        "\"many\":[null],\"map\":{\"x\":1,\"y\":2},\"other\":false}";
    struct doc doc = {0};
    struct thing thing = untouched();
    (void)state;
    assert_int_equal(doc_parse(&doc, "t.json", TEXT, strlen(TEXT)), 0);
    struct doc_place top = doc_top(&doc);
    assert_true(doc_read(&top, ROWS, &thing));
    assert_string_equal(thing.text, "t");
    assert_string_equal(thing.word_text, "red");
    assert_string_equal(thing.chars, "four");
    assert_int_equal(thing.colour, GREEN);
    assert_true(thing.number == 2 && thing.open == -1e300 && thing.whole == 5 && thing.flag);
    assert_int_equal(thing.day, 1);
    assert_int_equal(json_array_size(thing.texts), 2);
    assert_true(thing.object.inner == 0.5);
    assert_string_equal(thing.seen, "0;1;0;1;0;x;y;other;");
    assert_int_equal(doc.fault_count, 0);
    doc_close(&doc);
}

static void what_is_missing_stays_as_it_was(void **state)
{
    struct doc doc = {0};
    struct thing thing = untouched(), before = thing;
    (void)state;
    assert_int_equal(doc_parse(&doc, "t.json", "{\"text\":\"t\"}", 12), 0);
    struct doc_place top = doc_top(&doc);
    assert_true(doc_read(&top, ROWS, &thing));
    before.text = thing.text;
    assert_memory_equal(&thing, &before, sizeof thing);
    doc_close(&doc);
}

/* One wrong member each: its pointer, its value as shown, the reason, and nothing is written. */
static void every_kind_refuses(void **state)
{
    static const struct {
        const char *member, *field, *value, *text;
    } CASES[] = {
        {"\"text\":\"\"", "/text", "", "must be a text that says something"},
        {"\"text\":5", "/text", "5", "must be a text that says something"},
        {"\"empty\":null", "/empty", "null", "must be a text"},
        {"\"word_text\":\"blue\"", "/word_text", "blue", "must be one of red, green"},
        {"\"chars\":\"fiver\"", "/chars", "fiver", "is longer than 4 bytes"},
        {"\"colour\":\"blue\"", "/colour", "blue", "must be one of red, green"},
        {"\"colour\":1", "/colour", "1", "must be one of red, green"},
        {"\"number\":2.1", "/number", "2.1", "must be a number from -1.5 to 2"},
        {"\"number\":\"2\"", "/number", "2", "must be a number from -1.5 to 2"},
        {"\"open\":true", "/open", "true", "must be a number"},
        {"\"whole\":1.5", "/whole", "1.5", "must be a whole number of 0 or more"},
        {"\"whole\":-1", "/whole", "-1", "must be a whole number of 0 or more"},
        {"\"whole\":3e9", "/whole", "3000000000.0", "must be a whole number of 0 or more"},
        {"\"flag\":\"yes\"", "/flag", "yes", "must be true or false"},
        {"\"day\":20261120", "/day", "20261120", "must be a date like 2026-11-20"},
        {"\"day\":\"2026-02-30\"", "/day", "2026-02-30", "there is no such day"},
        {"\"texts\":\"a\"", "/texts", "a", "must be a list"},
        {"\"texts\":[]", "/texts", "", "must be a list of 1 to 2 texts"},
        {"\"texts\":[\"a\",\"\"]", "/texts/1", "", "must be a text that says something"},
        {"\"object\":[]", "/object", "", "must be an object"},
        {"\"object\":{}", "/object/inner", "", "'inner' is missing"},
        {"\"object\":{\"inner\":2}", "/object/inner", "2", "must be a number from 0 to 1"},
        {"\"object\":{\"inner\":1,\"a/~b\":3}", "/object/a~1~0b", "3", "no such member"},
        {"\"list\":[1]", "/list", "", "must be a list of 2 to 3 entries"},
        {"\"list\":{}", "/list", "", "must be a list"},
        {"\"pair\":[1,2,3]", "/pair", "", "must be a list of 2 entries"},
        {"\"many\":[]", "/many", "", "must be a list of 1 entry or more"},
        {"\"map\":[]", "/map", "", "must be an object"},
        {"\"map\":{}", "/map", "", "must have 1 member or more"},
        {"\"colours\":1", "/colours", "1", "no such member"},
    };
    (void)state;
    for (size_t i = 0; i < COUNT_OF(CASES); i++) {
        char text[200];
        struct doc doc = {0};
        struct thing thing = untouched(), before;
        snprintf(text, sizeof text, "{%s%s}",
                 strncmp(CASES[i].member, "\"text\"", 6) == 0 ? "" : "\"text\":\"t\",\n  ",
                 CASES[i].member);
        assert_int_equal(doc_parse(&doc, "t.json", text, strlen(text)), 0);
        struct doc_place top = doc_top(&doc);
        assert_false(doc_read(&top, ROWS, &thing));
        before = untouched();
        before.text = thing.text;
        before.object = thing.object; /* a part of it may have been good */
        assert_memory_equal(&thing, &before, sizeof thing);
        if (doc.fault_count != 1 || strcmp(doc.first.field, CASES[i].field) != 0 ||
            strcmp(doc.first.value, CASES[i].value) != 0 ||
            strcmp(doc.first.text, CASES[i].text) != 0)
            fail_msg("%s: %zu faults, %s '%s': %s", CASES[i].member, doc.fault_count,
                     doc.first.field, doc.first.value, doc.first.text);
        assert_string_equal(doc.first.source, "t.json");
        assert_true(doc.first.line >= 1 && doc.first.column >= 1);
        doc_close(&doc);
    }
}

struct faults {
    size_t count;
    struct error fault[8];
};

static void note(void *arg, const struct error *fault)
{
    struct faults *faults = arg;
    assert_true(faults->count < COUNT_OF(faults->fault));
    faults->fault[faults->count++] = *fault;
}

static void all_faults_come_with_their_places(void **state)
{
    static const char TEXT[] =
        "{\n \"number\": 9,\n \"mood\": 1,\n \"object\": {\"inner\": \"x\"}\n}";
    static const struct {
        const char *field;
        long line, column;
    } WANT[] = {{"/mood", 3, 10}, {"/text", 1, 1}, {"/number", 2, 12}, {"/object/inner", 4, 22}};
    struct faults faults = {0};
    struct doc doc = {.report = note, .arg = &faults};
    struct thing thing = untouched();
    (void)state;
    assert_int_equal(doc_parse(&doc, "t.json", TEXT, strlen(TEXT)), 0);
    struct doc_place top = doc_top(&doc);
    assert_false(doc_read(&top, ROWS, &thing));
    assert_int_equal(faults.count, COUNT_OF(WANT));
    for (size_t i = 0; i < COUNT_OF(WANT); i++) {
        assert_string_equal(faults.fault[i].field, WANT[i].field);
        assert_int_equal(faults.fault[i].line, WANT[i].line);
        assert_int_equal(faults.fault[i].column, WANT[i].column);
        assert_int_equal(faults.fault[i].code, ERROR_INVALID);
    }
    assert_non_null(strstr(faults.fault[0].hint, "known here: any, text, "));
    assert_string_equal(doc.first.field, "/mood");
    doc_close(&doc);
}

static void a_fault_keeps_its_own_code_and_hint(void **state)
{
    struct doc doc = {0};
    struct error why = {0};
    (void)state;
    error_set(&why, ERROR_TOO_LARGE, "is too much");
    error_hint(&why, "take less");
    assert_int_equal(doc_parse(&doc, "t.json", "{\"a\":[1,[2]]}", 13), 0);
    struct doc_place top = doc_top(&doc), list = doc_member(&top, "a");
    struct doc_place inner = doc_element(&list, 1), deepest = doc_element(&inner, 0);
    doc_fault_as(&deepest, &why);
    assert_int_equal(doc.first.code, ERROR_TOO_LARGE);
    assert_string_equal(doc.first.field, "/a/1/0");
    assert_string_equal(doc.first.value, "2");
    assert_string_equal(doc.first.hint, "take less");
    assert_int_equal(doc.first.column, 10);
    doc_close(&doc);
}

static void files(void **state)
{
    char folder[] = "/tmp/oddloaf-doc-XXXXXX", path[64];
    struct faults faults = {0};
    struct doc doc = {.report = note, .arg = &faults};
    (void)state;
    assert_non_null(mkdtemp(folder));
    snprintf(path, sizeof path, "%s/a.json", folder);
    assert_int_equal(doc_open(&doc, path, true), ERROR_NOT_FOUND);
    assert_int_equal(faults.count, 0);
    assert_int_equal(doc_open(&doc, path, false), ERROR_NOT_FOUND);
    assert_int_equal(faults.count, 1);
    assert_string_equal(faults.fault[0].source, path);
    assert_int_equal(doc_open(&doc, folder, true), ERROR_IO); /* a folder is no file */
    static const char *const TEXTS[] = {"[1]", "{\"a\": }", "", "{\"a\":1}"};
    for (size_t i = 0; i < COUNT_OF(TEXTS); i++) {
        FILE *file = fopen(path, "w");
        assert_non_null(file);
        fputs(TEXTS[i], file);
        fclose(file);
        bool good = i + 1 == COUNT_OF(TEXTS);
        assert_int_equal(doc_open(&doc, path, false), good ? 0 : ERROR_INVALID);
        assert_int_equal(json_is_object(doc.root), good);
        assert_int_equal(doc.fault_count, !good);
    }
    assert_int_equal(faults.count, 5);
    assert_int_equal(faults.fault[3].line, 1);
    assert_int_equal(faults.fault[3].column, 7);
    assert_int_equal(doc.first.code, ERROR_NOT_FOUND); /* of all files */
    doc_close(&doc);
    unlink(path);
    rmdir(folder);
}

static void put(const char *folder, const char *name, const char *text)
{
    char path[96];
    snprintf(path, sizeof path, "%s/%s", folder, name);
    FILE *file = fopen(path, "w");
    assert_non_null(file);
    fputs(text, file);
    fclose(file);
}

static void note_document(struct doc *doc, const char *stem, void *arg)
{
    text_appendf(arg, "%s=%s ", stem, json_string_value(json_object_get(doc->root, "of")));
}

static void folders_behind_one_another(void **state)
{
    char top[] = "/tmp/oddloaf-doc-XXXXXX", own[64], shipped[64], both[160], command[96];
    struct text_buffer said = {0}, path = {0};
    struct faults faults = {0};
    struct doc doc = {.report = note, .arg = &faults};
    (void)state;
    assert_non_null(mkdtemp(top));
    snprintf(own, sizeof own, "%s/own", top);
    snprintf(shipped, sizeof shipped, "%s/shipped", top);
    snprintf(both, sizeof both, "%s:%s/nowhere:%s", own, top, shipped);
    assert_int_equal(mkdir(own, 0700), 0);
    assert_int_equal(mkdir(shipped, 0700), 0);
    put(own, "b.json", "{\"of\":\"own\"}");
    put(own, "d.json", "{\"of\":\"own\"}");
    put(own, ".c.json", "{\"of\":\"own\"}");
    for (const char *name = "a\0b\0c\0e\0"; *name; name += 2) {
        char file[16];
        snprintf(file, sizeof file, "%s.json", name);
        put(shipped, file, "{\"of\":\"shipped\"}");
    }
    snprintf(command, sizeof command, "%s/e.json", own);
    assert_int_equal(symlink("/dev/null", command), 0);
    assert_true(doc_masked(command));

    assert_int_equal(doc_each(&doc, both, note_document, &said), 4);
    assert_string_equal(said.data, "a=shipped b=own c=shipped d=own ");
    assert_int_equal(faults.count, 0);

    const char *const names[][2] = {{"b.json", own}, {"a.json", shipped}, {"z.json", shipped}};
    for (size_t i = 0; i < COUNT_OF(names); i++) {
        snprintf(command, sizeof command, "%s/%s", names[i][1], names[i][0]);
        doc_path(both, names[i][0], &path);
        assert_string_equal(path.data, command);
    }
    text_reset(&path);
    doc_below("/a:/b", "causes", &path);
    assert_string_equal(path.data, "/a/causes:/b/causes");

    assert_int_equal(doc_each(&doc, "/proc/self/comm:/nowhere", note_document, &said), ERROR_IO);
    assert_string_equal(faults.fault[0].source, "/proc/self/comm");
    text_buffer_free(&said);
    text_buffer_free(&path);
    snprintf(command, sizeof command, "rm -r %s", top);
    assert_int_equal(system(command), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_kind_is_read),
        cmocka_unit_test(what_is_missing_stays_as_it_was),
        cmocka_unit_test(every_kind_refuses),
        cmocka_unit_test(all_faults_come_with_their_places),
        cmocka_unit_test(a_fault_keeps_its_own_code_and_hint),
        cmocka_unit_test(files),
        cmocka_unit_test(folders_behind_one_another),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

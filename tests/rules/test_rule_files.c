/* A plant's own rule files beside the shipped ones: what each is, copied, seen, and as documents.
 */
#include "base/text.h"
#include "check.h"
#include "rules/rule_files.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

struct fixture {
    char dir[64], own[80], first[80], shipped[80], dirs[256];
};

static void put(const char *folder, const char *name, const char *text)
{
    char path[256], command[300];
    snprintf(path, sizeof path, "%s/%s", folder, name);
    snprintf(command, sizeof command, "mkdir -p \"$(dirname '%s')\"", path);
    assert_int_equal(system(command), 0);
    FILE *file = fopen(path, "w");
    assert_non_null(file);
    fputs(text, file);
    fclose(file);
}

static int setup(void **state)
{
    struct fixture *f = xcalloc(1, sizeof *f);
    strcpy(f->dir, "/tmp/oddloaf-rules-XXXXXX");
    assert_non_null(mkdtemp(f->dir));
    snprintf(f->first, sizeof f->first, "%s/first", f->dir);
    snprintf(f->own, sizeof f->own, "%s/own", f->dir);
    snprintf(f->shipped, sizeof f->shipped, "%s/shipped", f->dir);
    snprintf(f->dirs, sizeof f->dirs, "%s:%s:%s", f->first, f->own, f->shipped);
    put(f->shipped, "causes/rope.json", "{\"a\":1}");
    put(f->shipped, "causes/late.json", "{\"b\":1}");
    put(f->shipped, "lots.json", "{\"lots\":1}");
    put(f->shipped, "lexicon/weights/harm.json", "{\"w\":1}");
    *state = f;
    return 0;
}

static int teardown(void **state)
{
    struct fixture *f = *state;
    char command[128];
    snprintf(command, sizeof command, "rm -rf '%s'", f->dir);
    int rc = system(command);
    free(f);
    return rc;
}

/* "causes/rope.json changed same" of each, a line each. */
static void there_are(struct fixture *f, const char *expected)
{
    struct text_buffer got = {0};
    json_t *own = rule_files_own(f->dirs), *one;
    size_t i;
    text_append(&got, "");
    json_array_foreach(own, i, one)
    {
        const char *folder = json_string_value(json_object_get(one, "folder"));
        text_appendf(&got, "%s %s %s %s\n", strrchr(folder, '/') + 1,
                     json_string_value(json_object_get(one, "file")),
                     json_string_value(json_object_get(one, "is")),
                     json_string_value(json_object_get(one, "release")));
    }
    assert_string_equal(got.data, expected);
    text_buffer_free(&got);
    json_decref(own);
}

static void each_file_is_what_it_is(void **state)
{
    struct fixture *f = *state;
    char path[256];
    there_are(f, "");
    put(f->own, "causes/rope.json", "{\"a\":2}");
    put(f->own, "causes/mine.json", "{\"c\":1}");
    put(f->own, "lots.json", "{\"lots\":1}");
    put(f->own, "lexicon/weights/harm.json", "{\"w\":2}");
    put(f->own, "nothing.json", "{}");
    put(f->own, "causes/deep/er.json", "{}");
    put(f->own, "lexicon/a/b/too_deep.json", "{}");
    put(f->own, "lexicon/a/b/c/far_too_deep.json", "{}");
    put(f->own, "causes/note.txt", "");
    put(f->own, "causes/LOUD.JSON", "{}");
    put(f->own, "causes/.hidden.json", "{}");
    put(f->first, "causes/rope.json", "{\"a\":1}");
    snprintf(path, sizeof path, "%s/causes/late.json", f->own);
    assert_int_equal(symlink("/dev/null", path), 0);
    there_are(f, "own causes/LOUD.JSON not read unknown\n"
                 "own causes/deep/er.json not read unknown\n"
                 "own causes/late.json removed unknown\n"
                 "own causes/mine.json added unknown\n"
                 "first causes/rope.json same unknown\n"
                 "own lexicon/a/b/too_deep.json not read unknown\n"
                 "own lexicon/weights/harm.json changed unknown\n"
                 "own lots.json same unknown\n"
                 "own nothing.json not read unknown\n");
    json_t *alone = rule_files_own(f->shipped);
    assert_int_equal(json_array_size(alone), 0);
    json_decref(alone);
}

static json_int_t number_in(struct fixture *f, enum rule_files_which which, const char *name)
{
    json_t *own = rule_files_own(f->dirs);
    json_t *document = rule_files_document(f->dirs, json_array_get(own, 0), which);
    json_int_t number = document ? json_integer_value(json_object_get(document, name)) : -1;
    json_decref(document);
    json_decref(own);
    return number;
}

static void a_copy_knows_what_it_was_copied_from(void **state)
{
    struct fixture *f = *state;
    struct error err = {0};
    struct stat st;
    char path[256];
    if (rule_files_copy(f->dirs, "causes/rope.json", &err))
        fail_msg("%s", err.text);
    there_are(f, "first causes/rope.json same same\n");
    snprintf(path, sizeof path, "%s/causes/rope.json.new", f->first);
    assert_int_not_equal(stat(path, &st), 0);
    put(f->first, "causes/rope.json", "{\"a\":5}");
    there_are(f, "first causes/rope.json changed same\n");
    put(f->shipped, "causes/rope.json", "{\"a\":9}"); /* a later release */
    there_are(f, "first causes/rope.json changed changed\n");
    assert_int_equal(number_in(f, RULE_FILES_MINE, "a"), 5);
    assert_int_equal(number_in(f, RULE_FILES_THEN, "a"), 1);
    assert_int_equal(number_in(f, RULE_FILES_NOW, "a"), 9);
    assert_int_equal(rule_files_seen(f->dirs, "causes/rope.json", &err), 0);
    there_are(f, "first causes/rope.json changed same\n");
    assert_int_equal(number_in(f, RULE_FILES_THEN, "a"), 9);
    assert_int_equal(number_in(f, RULE_FILES_MINE, "a"), 5);
    snprintf(path, sizeof path, "%s/causes/rope.json", f->shipped);
    assert_int_equal(unlink(path), 0);
    there_are(f, "first causes/rope.json added changed\n");
    assert_int_equal(number_in(f, RULE_FILES_NOW, "a"), -1);
}

static void what_cannot_be_copied(void **state)
{
    struct fixture *f = *state;
    struct error err = {0};
    assert_int_equal(rule_files_copy(f->dirs, "causes/none.json", &err), ERROR_NOT_FOUND);
    assert_true(*err.hint);
    put(f->shipped, "nothing.json", "{}");
    assert_int_equal(rule_files_copy(f->dirs, "nothing.json", NULL), ERROR_NOT_FOUND);
    assert_int_equal(rule_files_copy(f->dirs, "lexicon/weights/harm.json", NULL), 0);
    error_clear(&err);
    assert_int_equal(rule_files_copy(f->dirs, "lexicon/weights/harm.json", &err), ERROR_CONFLICT);
    assert_non_null(strstr(err.text, "there is a file already"));
    assert_int_equal(rule_files_seen(f->dirs, "nothing.json", NULL), ERROR_NOT_FOUND);
    there_are(f, "first lexicon/weights/harm.json same same\n");
    put(f->dir, "taken", "");
    snprintf(f->dirs, sizeof f->dirs, "%s/taken:%s", f->dir, f->shipped);
    error_clear(&err);
    assert_int_equal(rule_files_copy(f->dirs, "lots.json", &err), ERROR_IO);
    assert_non_null(strstr(err.text, "cannot write"));
    assert_int_equal(rule_files_seen(f->dirs, "lots.json", NULL), ERROR_IO);
}

/* Of a company's plant: what a file is, is said beside what the company has, shipped or its own. */
static void a_plants_file_stands_beside_the_companys(void **state)
{
    struct fixture *f = *state;
    struct error err = {0};
    put(f->own, "causes/rope.json", "{\"a\":2}");
    put(f->shipped, "plants/north/causes/late.json", "{\"b\":1}");
    put(f->own, "plants/north/causes/mine.json", "{}");
    put(f->own, "plants/north/lots.json", "{}");
    put(f->own, "plants/north/causes/deep/er.json", "{}");
    put(f->own, "plants/lots.json", "{}");
    put(f->own, "plants/.hidden/lots.json", "{}");
    if (rule_files_copy(f->dirs, "plants/north/causes/rope.json", &err))
        fail_msg("%s", err.text);
    there_are(f, "own causes/rope.json changed unknown\n"
                 "own plants/lots.json not read unknown\n"
                 "shipped plants/north/causes/late.json same unknown\n"
                 "own plants/north/causes/mine.json added unknown\n"
                 "first plants/north/causes/rope.json same same\n"
                 "own plants/north/lots.json the company's unknown\n");
    put(f->first, "plants/north/causes/rope.json", "{\"a\":3}");
    put(f->own, "causes/rope.json", "{\"a\":4}");
    json_t *own = rule_files_own(f->dirs), *one = json_array_get(own, 4);
    assert_string_equal(json_string_value(json_object_get(one, "is")), "changed");
    assert_string_equal(json_string_value(json_object_get(one, "release")), "changed");
    for (int which = RULE_FILES_MINE; which <= RULE_FILES_NOW; which++) {
        static const int A[] = {[RULE_FILES_MINE] = 3, [RULE_FILES_THEN] = 2, [RULE_FILES_NOW] = 4};
        json_t *document = rule_files_document(f->dirs, one, (enum rule_files_which)which);
        assert_int_equal(json_integer_value(json_object_get(document, "a")), A[which]);
        json_decref(document);
    }
    json_decref(own);
    assert_int_equal(rule_files_seen(f->dirs, "plants/north/causes/rope.json", &err), 0);
    own = rule_files_own(f->dirs);
    assert_string_equal(json_string_value(json_object_get(json_array_get(own, 4), "release")),
                        "same");
    json_decref(own);
    assert_int_equal(rule_files_copy(f->dirs, "plants/north/lots.json", &err), ERROR_NOT_FOUND);
    error_clear(&err);
    assert_int_equal(rule_files_copy(f->dirs, "plants/north/causes/none.json", &err),
                     ERROR_NOT_FOUND);
    assert_non_null(strstr(err.text, "no rule file 'plants/north/causes/none.json'"));
    assert_int_equal(rule_files_copy(f->dirs, "plants/../causes/late.json", NULL), ERROR_NOT_FOUND);
}

#define TEST(name) cmocka_unit_test_setup_teardown(name, setup, teardown)

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(each_file_is_what_it_is),
        TEST(a_copy_knows_what_it_was_copied_from),
        TEST(what_cannot_be_copied),
        TEST(a_plants_file_stands_beside_the_companys),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

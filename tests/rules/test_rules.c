/* Rule files: checked whole, every error with its place. */
#include "fixture.h"
#include "rules/rules.h"

static const char GOOD[] =
    "{\"id\":\"a\",\"title\":\"A\",\"symptoms\":{\"mold\":1},\"background\":true,\"evidence\":["
    "{\"fact\":\"core_at_pack_c\",\"as\":\"value\",\"curve\":[[34,-1],[38,0],[43,2]],"
    "\"because\":\"b\",\"source\":\"s\"}]}";
static const char BACKGROUND[] =
    "{\"id\":\"nk\",\"title\":\"NK\",\"symptoms\":{\"mold\":1,\"off-odor\":1,\"staling\":1},"
    "\"background\":true}";

static int load(struct fixture *f, struct rules **rules, struct error *errors, size_t *count)
{
    return rules_load(f->rules, rules, errors, 64, count);
}

static void test_good(void **state)
{
    struct fixture f;
    struct rules *rules, *again;
    struct error errors[64];
    size_t count;
    (void)state;
    fixture_folder(&f);
    fixture_file(&f, "causes/a.json", GOOD);
    fixture_file(&f, "causes/nk.json", BACKGROUND);
    assert_int_equal(load(&f, &rules, errors, &count), 0);
    assert_int_equal(rules->cause_count, 2);
    assert_memory_equal(rules->hash, "sha256:", 7);
    assert_int_equal(strlen(rules->hash), 7 + 64);
    assert_int_equal(load(&f, &again, errors, &count), 0);
    assert_string_equal(rules->hash, again->hash);
    rules_free(again);
    fixture_file(&f, "ranking.json", "{\"temper\":0.9}");
    assert_int_equal(load(&f, &again, errors, &count), 0);
    assert_string_not_equal(rules->hash, again->hash);
    assert_near(again->ranking.temper, 0.9, 1e-12);
    json_t *list = rules_list(rules);
    assert_int_equal(json_array_size(json_object_get(list, "causes")), 2);
    json_decref(list);
    rules_free(again);
    rules_free(rules);
    fixture_remove(&f);
}

static void test_curve(void **state)
{
    static const struct rule_point POINTS[] = {{34, -1}, {38, 0}, {43, 2}};
    (void)state;
    assert_near(rule_curve(POINTS, 3, 20), -1, 1e-12);
    assert_near(rule_curve(POINTS, 3, 36), -0.5, 1e-12);
    assert_near(rule_curve(POINTS, 3, 38), 0, 1e-12);
    assert_near(rule_curve(POINTS, 3, 40.5), 1, 1e-12);
    assert_near(rule_curve(POINTS, 3, 99), 2, 1e-12);
    assert_true(isnan(rule_curve(POINTS, 3, NAN)));
}

static bool has(const struct error *errors, size_t count, const char *source_end, long line,
                const char *text)
{
    for (size_t i = 0; i < count; i++) {
        size_t length = strlen(errors[i].source), end = strlen(source_end);
        if (length >= end && strcmp(errors[i].source + length - end, source_end) == 0 &&
            (line == 0 || errors[i].line == line) && strstr(errors[i].text, text))
            return true;
    }
    return false;
}

static const char BAD[] =
    "{\n"
    " \"id\": \"other\",\n"                                                         /* 2 */
    " \"title\": \"\",\n"                                                           /* 3 */
    " \"symptoms\": {\"mould\": 1, \"mold\": 0},\n"                                 /* 4 */
    " \"surprise\": 1,\n"                                                           /* 5 */
    " \"evidence\": [\n"                                                            /* 6 */
    "  {\"fact\": \"core_at_pakc_c\", \"as\": \"value\",\n"                         /* 7 */
    "   \"curve\": [[40, 1], [38, 2]], \"because\": \"b\", \"source\": \"s\"},\n"   /* 8 */
    "  {\"fact\": \"where\", \"table\": {\"ceiling\": 1,\n"                         /* 9 */
    "    \"side\": 99}, \"because\": \"b\", \"source\": \"s\"},\n"                  /* 10 */
    "  {\"fact\": \"crumb_ph\", \"as\": \"sideways\", \"curve\": [[1,1],[2,2]]},\n" /* 11 */
    "  {\"fact\": \"company.line\", \"as\": \"bits\", \"limit\": [1, -1],\n"        /* 12 */
    "   \"because\": \"b\", \"source\": \"s\"},\n"                                  /* 13 */
    "  {\"fact\": \"model.mold_age\", \"change\": {\"paint\": 1},\n"                /* 14 */
    "   \"because\": \"b\", \"source\": \"s\"},\n"                                  /* 15 */
    "  {\"fact\": \"crumb_ph\", \"as\": \"value\", \"change\": {\"kept_c\": 4}},\n" /* 16 */
    "  {\"fact\": \"model.mold_age\", \"change\": {\"times\": 2}},\n"               /* 17 */
    "  {\"fact\": \"model.mold_age\"}\n"                                            /* 18 */
    " ],\n"
    " \"reach\": [\"moon\"]\n" /* 20 */
    "}\n";

static void test_all_errors_at_once(void **state)
{
    struct fixture f;
    struct rules *rules = NULL;
    static struct error errors[64];
    size_t count;
    (void)state;
    fixture_folder(&f);
    fixture_file(&f, "causes/a.json", BAD);
    fixture_file(&f, "causes/b.json", "{\"id\": \"b\", \n \"title\": NaN}");
    fixture_file(&f, "causes/c.json",
                 "{\"id\":\"c\",\"title\":\"C\",\"symptoms\":{\"mold\":1e999}}");
    assert_true(load(&f, &rules, errors, &count) < 0);
    assert_null(rules);
    assert_true(has(errors, count, "a.json", 2, "must be the file's name"));
    assert_true(has(errors, count, "a.json", 3, "not empty"));
    assert_true(has(errors, count, "a.json", 4, "no such symptom"));
    assert_true(has(errors, count, "a.json", 4, "above 0"));
    assert_true(has(errors, count, "a.json", 5, "no such member"));
    assert_true(has(errors, count, "a.json", 7, "no such fact"));
    assert_true(has(errors, count, "a.json", 8, "larger than in the point before"));
    assert_true(has(errors, count, "a.json", 9, "no such word"));
    assert_true(has(errors, count, "a.json", 10, "from -12 to 12"));
    assert_true(has(errors, count, "a.json", 11, "must be one of value, z, ratio, bits"));
    assert_true(has(errors, count, "a.json", 11, "'because' is missing"));
    assert_true(has(errors, count, "a.json", 11, "'source' is missing"));
    assert_true(has(errors, count, "a.json", 12, "low <= 0 <= high"));
    assert_true(has(errors, count, "a.json", 14, "no such change"));
    assert_true(has(errors, count, "a.json", 16, "only an age that a model predicts"));
    assert_true(has(errors, count, "a.json", 17, "must be an object"));
    assert_true(has(errors, count, "a.json", 18, "'change' is missing"));
    assert_true(has(errors, count, "a.json", 20, "no such condition"));
    assert_true(has(errors, count, "b.json", 2, ""));
    assert_true(has(errors, count, "c.json", 0, ""));
    assert_true(has(errors, count, "rules", 0, "no cause of mold is marked as background"));
    fixture_remove(&f);
}

static void test_duplicate_and_asks(void **state)
{
    struct fixture f;
    struct rules *rules = NULL;
    static struct error errors[64];
    size_t count;
    (void)state;
    fixture_folder(&f);
    fixture_file(&f, "causes/nk.json", BACKGROUND);
    fixture_file(&f, "causes/nk2.json", BACKGROUND);
    fixture_file(&f, "asks.json",
                 "{\"asks\":[\n{\"fact\":\"where\",\"ask\":\"?\",\"of\":\"baker\",\"effort\":"
                 "\"seconds\",\"answers\":[{\"word\":\"roof\",\"share\":1},{\"share\":0}]}]}");
    fixture_file(&f, "ranking.json",
                 "{\"temper\":0,\n\"delay_days\":{\"mold\":[[0,0],[5,0.5]]},\n"
                 "\"reach_share\":{\"mix\":1.5,\n\"moon\":0.5}}");
    assert_true(load(&f, &rules, errors, &count) < 0);
    assert_true(has(errors, count, "nk2.json", 1, "taken by another file"));
    assert_true(has(errors, count, "asks.json", 2, "caller, plant, lab"));
    assert_true(has(errors, count, "asks.json", 2, "no such word"));
    assert_true(has(errors, count, "asks.json", 2, "number from"));
    assert_true(has(errors, count, "ranking.json", 1, "number from"));
    assert_true(has(errors, count, "ranking.json", 2, "rise to 1"));
    assert_true(has(errors, count, "ranking.json", 3, "number from"));
    assert_true(has(errors, count, "ranking.json", 4, "no such member"));
    fixture_remove(&f);
}

/* More errors than there is room for are counted, not written. */
static void test_bounded(void **state)
{
    struct fixture f;
    struct rules *rules;
    struct error errors[2];
    size_t count;
    (void)state;
    fixture_folder(&f);
    fixture_file(&f, "causes/a.json", BAD);
    assert_true(rules_load(f.rules, &rules, errors, 2, &count) < 0);
    assert_true(count > 10);
    fixture_remove(&f);
}

static void test_no_folder(void **state)
{
    struct rules *rules;
    struct error errors[4];
    size_t count;
    (void)state;
    assert_true(rules_load("/nonexistent", &rules, errors, 4, &count) < 0);
    assert_true(count > 0);
}

/* The rule files that are shipped. */
static void test_shipped(void **state)
{
    struct rules *rules = NULL;
    static struct error errors[64];
    size_t count;
    (void)state;
    if (rules_load(ODDLOAF_SOURCE_DIR "/rules", &rules, errors, 64, &count))
        for (size_t i = 0; i < count && i < 64; i++)
            fixture_print_fault(NULL, &errors[i]);
    assert_int_equal(count, 0);
    for (int i = 0; i < rules->cause_count; i++)
        for (int e = 0; e < rules->causes[i].evidence_count; e++)
            assert_true(strlen(rules->causes[i].evidence[e].source) > 0);
    rules_free(rules);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_good),
        cmocka_unit_test(test_curve),
        cmocka_unit_test(test_all_errors_at_once),
        cmocka_unit_test(test_duplicate_and_asks),
        cmocka_unit_test(test_bounded),
        cmocka_unit_test(test_no_folder),
        cmocka_unit_test(test_shipped),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

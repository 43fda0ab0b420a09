/* Rule files: checked whole, every error with its place. */
#include "base/length.h"
#include "fixture.h"
#include "rules/rules.h"
#include <assert.h>

static const char GOOD[] =
    "{\"id\":\"a\",\"title\":\"A\",\"symptoms\":{\"mold\":1},\"background\":true,\"evidence\":["
    "{\"fact\":\"core_at_pack_c\",\"as\":\"value\",\"curve\":[[34,-1],[38,0],[43,2]],"
    "\"because\":\"b\",\"source\":\"s\"}]}";
static const char BACKGROUND[] =
    "{\"id\":\"nk\",\"title\":\"NK\",\"symptoms\":{\"mold\":1,\"off-odor\":1,\"staling\":1},"
    "\"background\":true}";

struct faults {
    struct error errors[64];
    size_t count;
};

static void keep(void *arg, const struct error *fault)
{
    struct faults *faults = arg;
    assert_true(faults->count < sizeof faults->errors / sizeof faults->errors[0]);
    faults->errors[faults->count++] = *fault;
}

static int load(struct fixture *f, struct rules **rules, struct faults *faults)
{
    struct error err = {0};
    faults->count = 0;
    int rc = rules_load(f->rules, keep, faults, rules, &err);
    assert_int_equal(err.code, rc);
    assert_true(rc == 0 ? faults->count == 0 : strcmp(err.text, faults->errors[0].text) == 0);
    return rc;
}

static void test_good(void **state)
{
    struct fixture f;
    struct rules *rules, *again;
    static struct faults faults;
    (void)state;
    fixture_folder(&f);
    fixture_file(&f, "causes/a.json", GOOD);
    fixture_file(&f, "causes/nk.json", BACKGROUND);
    assert_int_equal(load(&f, &rules, &faults), 0);
    assert_int_equal(rules->cause_count, 2);
    assert_memory_equal(rules->hash, "sha256:", 7);
    assert_int_equal(strlen(rules->hash), 7 + 64);
    assert_int_equal(load(&f, &again, &faults), 0);
    assert_string_equal(rules->hash, again->hash);
    rules_free(again);
    fixture_file(&f, "ranking.json", "{\"temper\":0.9}");
    assert_int_equal(load(&f, &again, &faults), 0);
    assert_string_not_equal(rules->hash, again->hash);
    assert_near(again->ranking.temper, 0.9, 1e-12);
    json_t *list = rules_list(rules);
    assert_int_equal(json_array_size(json_object_get(list, "causes")), 2);
    json_decref(list);
    rules_free(again);
    rules_free(rules);
    fixture_remove(&f);
}

/* Whatever the shares of an ask's answers add up to, they are read as parts of one. */
static void test_shares_of_answers(void **state)
{
    struct fixture f;
    struct rules *rules;
    static struct faults faults;
    (void)state;
    fixture_folder(&f);
    fixture_file(&f, "causes/nk.json", BACKGROUND);
    fixture_file(&f, "asks.json",
                 "{\"asks\":[{\"fact\":\"core_at_pack_c\",\"ask\":\"?\",\"of\":\"plant\","
                 "\"effort\":\"seconds\",\"answers\":[{\"value\":35,\"share\":3},"
                 "{\"value\":40,\"share\":1}]}]}");
    assert_int_equal(load(&f, &rules, &faults), 0);
    assert_int_equal(rules->ask_count, 1);
    assert_near(rules->asks[0].answers[0].share, 0.75, 1e-12);
    assert_near(rules->asks[0].answers[1].share, 0.25, 1e-12);
    rules_free(rules);
    fixture_remove(&f);
}

static void test_curve(void **state)
{
    static const struct rule_point POINTS[] = {{34, -1}, {38, 0}, {43, 2}};
    (void)state;
    assert_near(rules_curve(POINTS, 3, 20), -1, 1e-12);
    assert_near(rules_curve(POINTS, 3, 36), -0.5, 1e-12);
    assert_near(rules_curve(POINTS, 3, 38), 0, 1e-12);
    assert_near(rules_curve(POINTS, 3, 40.5), 1, 1e-12);
    assert_near(rules_curve(POINTS, 3, 99), 2, 1e-12);
    assert_true(isnan(rules_curve(POINTS, 3, NAN)));
}

static bool has(const struct faults *faults, const char *source_end, long line, const char *text)
{
    for (size_t i = 0; i < faults->count; i++) {
        const struct error *e = &faults->errors[i];
        size_t length = strlen(e->source), end = strlen(source_end);
        if (length >= end && strcmp(e->source + length - end, source_end) == 0 &&
            (line == 0 || e->line == line) && strstr(e->text, text))
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
    static struct faults faults;
    (void)state;
    fixture_folder(&f);
    fixture_file(&f, "causes/a.json", BAD);
    fixture_file(&f, "causes/b.json", "{\"id\": \"b\", \n \"title\": NaN}");
    fixture_file(&f, "causes/c.json",
                 "{\"id\":\"c\",\"title\":\"C\",\"symptoms\":{\"mold\":1e999}}");
    assert_true(load(&f, &rules, &faults) < 0);
    assert_null(rules);
    assert_true(has(&faults, "a.json", 2, "must be the file's name"));
    assert_true(has(&faults, "a.json", 3, "that says something"));
    assert_true(has(&faults, "a.json", 4, "no such symptom"));
    assert_true(has(&faults, "a.json", 4, "above 0"));
    assert_true(has(&faults, "a.json", 5, "no such member"));
    assert_true(has(&faults, "a.json", 7, "no such fact"));
    assert_true(has(&faults, "a.json", 8, "larger than in the point before"));
    assert_true(has(&faults, "a.json", 9, "no such word"));
    assert_true(has(&faults, "a.json", 10, "from -12 to 12"));
    assert_true(has(&faults, "a.json", 11, "must be one of value, z, ratio, bits"));
    assert_true(has(&faults, "a.json", 11, "'because' is missing"));
    assert_true(has(&faults, "a.json", 11, "'source' is missing"));
    assert_true(has(&faults, "a.json", 12, "low <= 0 <= high"));
    assert_true(has(&faults, "a.json", 14, "no such member"));
    assert_true(has(&faults, "a.json", 16, "only an age that a model predicts"));
    assert_true(has(&faults, "a.json", 17, "must be an object"));
    assert_true(has(&faults, "a.json", 18, "'change' is missing"));
    assert_true(has(&faults, "a.json", 20, "no such condition"));
    assert_true(has(&faults, "b.json", 2, ""));
    assert_true(has(&faults, "c.json", 0, ""));
    assert_true(has(&faults, "rules", 0, "no cause of mold is marked as background"));
    fixture_remove(&f);
}

static void test_duplicate_and_asks(void **state)
{
    struct fixture f;
    struct rules *rules = NULL;
    static struct faults faults;
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
    assert_true(load(&f, &rules, &faults) < 0);
    assert_true(has(&faults, "nk2.json", 1, "taken by another file"));
    assert_true(has(&faults, "asks.json", 2, "caller, plant, lab"));
    assert_true(has(&faults, "asks.json", 2, "no such word"));
    assert_true(has(&faults, "asks.json", 2, "number from"));
    assert_true(has(&faults, "ranking.json", 1, "number from"));
    assert_true(has(&faults, "ranking.json", 2, "rise to 1"));
    assert_true(has(&faults, "ranking.json", 3, "number from"));
    assert_true(has(&faults, "ranking.json", 4, "no such condition"));
    fixture_remove(&f);
}

/* quantities.json with one quantity of that name and unit, in its second line. */
static void one_quantity(const struct fixture *f, const char *name, const char *unit)
{
    static const char *const COLUMNS[] = {"shelf_life_days", "unit_g",     "units",    "flour_kg",
                                          "amount",          "active_pct", "transit_c"};
    struct text_buffer text = {0};
    text_appendf(&text,
                 "{\"quantities\": [\n{\"quantity\": \"%s\", \"title\": \"Q\", \"unit\": \"%s\","
                 " \"low\": 0, \"high\": 9, \"of\": \"lot\"}],\n"
                 " \"times\": {\"from\": \"2000-01-01\", \"to\": \"2100-01-01\"}, \"columns\": [",
                 name, unit);
    for (size_t i = 0; i < sizeof COLUMNS / sizeof COLUMNS[0]; i++)
        text_appendf(&text, "%s{\"column\": \"%s\", \"unit\": \"1\", \"low\": 0, \"high\": 9}",
                     i ? ", " : "", COLUMNS[i]);
    text_append(&text, "]}");
    fixture_file(f, "quantities.json", text.data);
    text_buffer_free(&text);
}

/* What no file can bring speaks for nothing, and silence would look like an answer. */
/* As long as a word may be (base/length.h). */
#define LONGEST_WORD "abcdefghijklmnopqrstuvwxyz_abcdefghijklmnopqrst"
static_assert(sizeof LONGEST_WORD - 1 == LENGTH_WORD, "neither shorter nor longer");

static void test_only_what_can_be_loaded(void **state)
{
    struct fixture f;
    struct rules *rules = NULL;
    static struct faults faults;
    (void)state;
    fixture_folder(&f);
    one_quantity(&f, "crumb_ph", "pH");
    fixture_file(&f, "places.json",
                 "{\"places\": [{\"place\": \"slicer\", \"name\": \"Slicer\", \"zone\": 1},"
                 "{\"place\": \"" LONGEST_WORD "\", \"name\": \"Longest\", \"zone\": 1}]}");
    fixture_file(
        &f, "causes/a.json",
        "{\"id\": \"a\", \"title\": \"A\", \"symptoms\": {\"mold\": 1}, \"background\": true,\n"
        " \"evidence\": [\n"
        "  {\"fact\": \"crumb_ph\", \"as\": \"value\", \"curve\": [[4, 0], [6, 1]],"
        " \"because\": \"b\", \"source\": \"s\"},\n"
        "  {\"fact\": \"cooler_air_c\", \"as\": \"value\", \"curve\": [[4, 0], [6, 1]],"
        " \"because\": \"b\", \"source\": \"s\"},\n"
        "  {\"fact\": \"company.window.bagger\", \"as\": \"bits\", \"scale\": 1,"
        " \"limit\": [-1, 1], \"because\": \"b\", \"source\": \"s\"},\n"
        "  {\"fact\": \"company.window." LONGEST_WORD "\", \"as\": \"bits\", \"scale\": 1,"
        " \"limit\": [-1, 1], \"because\": \"b\", \"source\": \"s\"},\n"
        "  {\"fact\": \"" LONGEST_WORD ".cleaning_missed\", \"as\": \"bits\", \"scale\": 1,"
        " \"limit\": [-1, 1], \"because\": \"b\", \"source\": \"s\"}]}");
    assert_true(load(&f, &rules, &faults) < 0);
    assert_false(has(&faults, "a.json", 3, "no such fact"));
    assert_true(has(&faults, "a.json", 4, "no such fact"));
    assert_true(has(&faults, "a.json", 5, "no such fact"));
    assert_false(has(&faults, "a.json", 6, "no such fact"));
    assert_false(has(&faults, "a.json", 7, "no such fact"));
    fixture_remove(&f);
}

static void test_a_name_says_its_unit(void **state)
{
    static const struct {
        const char *name, *unit, *says; /* NULL: fits */
    } ROWS[] = {{"belt_c", "%", "ends in _c is of degC"},
                {"belt_c", "degF", "ends in _c is of degC"},
                {"belt_c", "\u00b0C", NULL},
                {"dose_pct_flour", "ppm", "ends in _pct_flour is of %"},
                {"dose_ppm", "mg/kg", NULL},
                {"belt_cfu_g", "g", "ends in _cfu_g is of cfu/g"},
                {"belt_cleaned", "1", NULL}};
    (void)state;
    for (size_t i = 0; i < sizeof ROWS / sizeof ROWS[0]; i++) {
        struct fixture f;
        struct rules *rules = NULL;
        static struct faults faults;
        fixture_folder(&f);
        one_quantity(&f, ROWS[i].name, ROWS[i].unit);
        memset(&faults, 0, sizeof faults);
        assert_true(load(&f, &rules, &faults) < 0); /* there are no causes */
        assert_true(has(&faults, "quantities.json", 2, ROWS[i].says ? ROWS[i].says : "ends in") ==
                    (ROWS[i].says != NULL));
        fixture_remove(&f);
    }
}

/* Of a file that cannot be read there is one fault, and none of what is missing for want of it. */
static void test_a_broken_catalogue_is_told_once(void **state)
{
    static const char *const FILES[] = {"quantities.json", "places.json"};
    (void)state;
    for (size_t i = 0; i < 2; i++) {
        struct fixture f;
        struct rules *rules = NULL;
        static struct faults faults;
        fixture_folder(&f);
        fixture_copy(&f, "rules", "causes/rope.json");
        fixture_file(&f, FILES[i], "{\"note\": 1\n \"of\": 2}");
        memset(&faults, 0, sizeof faults);
        assert_true(load(&f, &rules, &faults) < 0);
        assert_int_equal(faults.count, 1);
        assert_true(has(&faults, FILES[i], 2, "not JSON"));
        fixture_remove(&f);
    }
}

static void test_no_folder(void **state)
{
    struct rules *rules = NULL;
    struct error err = {0};
    (void)state;
    assert_int_equal(rules_load("/nonexistent", NULL, NULL, &rules, &err), ERROR_NOT_FOUND);
    assert_null(rules);
    assert_string_equal(err.source, "/nonexistent/quantities.json");
}

/* What must be minded stands in one file: by id from checks, actions and causes, and no other. */
static void test_cautions(void **state)
{
    struct fixture f;
    struct rules *rules;
    static struct faults faults;
    static const char MINDING[] =
        "{\"id\":\"a\",\"title\":\"A\",\"symptoms\":{\"mold\":1},\"checks\":[{\"do\":\"x\",\"who\":"
        "\"qa\",\"effort\":\"minutes\",\"mind\":[\"%s\"]}],\"actions\":[\"x\",{\"do\":\"y\","
        "\"mind\":["
        "\"%s\"]}],\"cautions\":[\"%s\",\"A text of the plant's own\"]}";
    char text[512];
    (void)state;
    fixture_folder(&f);
    fixture_file(&f, "causes/nk.json", BACKGROUND);
    fixture_file(&f, "cautions.json",
                 "{\"cautions\":[{\"id\":\"heat\",\"for\":[\"plant\",\"desk\"],\"symptoms\":["
                 "\"staling\"],\"text\":\"It burns.\",\"source\":\"s\"}]}");
    snprintf(text, sizeof text, MINDING, "heat", "heat", "heat");
    fixture_file(&f, "causes/a.json", text);
    assert_int_equal(load(&f, &rules, &faults), 0);
    const struct rule_caution *heat = rules_caution(rules, "heat");
    assert_string_equal(heat->text, "It burns.");
    assert_int_equal(heat->readers, 1u << READER_DESK | 1u << READER_PLANT);
    assert_int_equal(heat->symptoms, 1u << SYMPTOM_STALING);
    assert_null(rules_caution(rules, "cold"));
    rules_free(rules);
    snprintf(text, sizeof text, MINDING, "haet", "heat", "heat");
    fixture_file(&f, "causes/a.json", text);
    assert_int_not_equal(load(&f, &rules, &faults), 0);
    snprintf(text, sizeof text, MINDING, "heat", "haet", "haet");
    fixture_file(&f, "causes/a.json", text);
    assert_int_not_equal(load(&f, &rules, &faults), 0);
    assert_int_equal(faults.count, 2);
    fixture_remove(&f);
}

/* The rule files that are shipped. */
static void test_shipped(void **state)
{
    struct rules *rules = NULL;
    (void)state;
    assert_int_equal(
        rules_load(ODDLOAF_SOURCE_DIR "/rules", fixture_print_fault, NULL, &rules, NULL), 0);
    for (int i = 0; i < rules->cause_count; i++)
        for (int e = 0; e < rules->causes[i].evidence_count; e++)
            assert_true(strlen(rules->causes[i].evidence[e].source) > 0);
    rules_free(rules);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_good),
        cmocka_unit_test(test_shares_of_answers),
        cmocka_unit_test(test_curve),
        cmocka_unit_test(test_all_errors_at_once),
        cmocka_unit_test(test_duplicate_and_asks),
        cmocka_unit_test(test_only_what_can_be_loaded),
        cmocka_unit_test(test_a_name_says_its_unit),
        cmocka_unit_test(test_a_broken_catalogue_is_told_once),
        cmocka_unit_test(test_no_folder),
        cmocka_unit_test(test_cautions),
        cmocka_unit_test(test_shipped),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

/* The most that law allows in bread, by family: what ships, what a plant's own file may say, and
 * what is wrong in one. */
#include "check.h"
#include "fixture.h"
#include "rules/limits.h"
#include <math.h>

static void what_ships_is_of_the_regulation(void **state)
{
    /* Regulation (EC) 1333/2008, Annex II 07.1 and 07.2, as the file names it */
    static const struct {
        const char *family;
        double propionic, sorbic;
    } ROWS[] = {{"pan-bread", 3000, 2000},
                {"bun", 2000, NAN},
                {"flatbread", 2000, NAN},
                {"sweet-good", 2000, 2000}};
    struct limits *limits = NULL;
    (void)state;
    assert_int_equal(
        limits_load(ODDLOAF_SOURCE_DIR "/rules/limits.json", NULL, NULL, &limits, NULL), 0);
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        const struct limit *limit = limits_of(limits, "", ROWS[i].family);
        assert_non_null(limit);
        assert_near(limit->propionic_mg_kg, ROWS[i].propionic, 0);
        assert_true(isnan(ROWS[i].sorbic) ? isnan(limit->sorbic_mg_kg)
                                          : limit->sorbic_mg_kg == ROWS[i].sorbic);
    }
    assert_null(limits_of(limits, "", "cake"));
    limits_free(limits);
}

static void count(void *arg, const struct error *fault)
{
    (void)fault;
    ++*(int *)arg;
}

#define ROW(family, more) "{\"family\":\"" family "\",\"what\":\"w\",\"source\":\"s\"," more "}"
#define PROPIONIC "\"propionic_mg_kg\":1000"

/* Each fault is told once; a row that is wrong is none, so that the next of its family is one. */
static void what_is_wrong_is_told(void **state)
{
    static const struct {
        const char *rows;
        int faults;
    } FILES[] = {{"", 0},
                 {ROW("bun", PROPIONIC), 0},
                 {ROW("bun", PROPIONIC) "," ROW("pan-bread", PROPIONIC), 0},
                 {ROW("bun", PROPIONIC) "," ROW("bun", PROPIONIC), 1},
                 {ROW("bun", PROPIONIC) "," ROW("bun", "\"plant\":\"north\"," PROPIONIC), 0},
                 {ROW("bun", "\"plant\":\"north\"," PROPIONIC) "," ROW(
                      "bun", "\"plant\":\"north\"," PROPIONIC),
                  1},
                 {ROW("bun", "\"propionic_mg_kg\":0"), 1},
                 {ROW("bun", "\"sorbic_mg_kg\":10") "," ROW("bun", PROPIONIC), 1},
                 {ROW("bun", "\"sorbic_mg_kg\":10") "," ROW("bun", "\"sorbic_mg_kg\":10"), 2}};
    (void)state;
    for (size_t i = 0; i < COUNT_OF(FILES); i++) {
        struct fixture f;
        struct error err = {0};
        struct limits *limits = NULL;
        char path[300], text[600];
        int faults = 0;
        fixture_folder(&f);
        snprintf(text, sizeof text, "{\"limits\":[%s]}", FILES[i].rows);
        fixture_file(&f, "limits.json", text);
        snprintf(path, sizeof path, "%s/limits.json", f.rules);
        int rc = limits_load(path, count, &faults, &limits, &err);
        if (faults != FILES[i].faults || (rc != 0) != (faults > 0) || rc != (int)err.code)
            fail_msg("file %zu: %d faults, %d %s", i, faults, rc, err.text);
        limits_free(limits);
        fixture_remove(&f);
    }
}

/* Law ends at the border: a plant with any of its own has none of another's. */
static void a_plant_has_its_own_or_what_is_of_none(void **state)
{
    static const char TEXT[] = "{\"limits\":[" ROW("bun", PROPIONIC) "," ROW(
        "pan-bread", PROPIONIC) "," ROW("bun", "\"plant\":\"north\",\"propionic_mg_kg\":2500") "]}";
    struct fixture f;
    struct limits *limits = NULL;
    char path[300];
    (void)state;
    fixture_folder(&f);
    fixture_file(&f, "limits.json", TEXT);
    snprintf(path, sizeof path, "%s/limits.json", f.rules);
    assert_int_equal(limits_load(path, NULL, NULL, &limits, NULL), 0);
    assert_near(limits_of(limits, "", "bun")->propionic_mg_kg, 1000, 0);
    assert_near(limits_of(limits, "south", "bun")->propionic_mg_kg, 1000, 0);
    assert_near(limits_of(limits, "north", "bun")->propionic_mg_kg, 2500, 0);
    assert_null(limits_of(limits, "north", "pan-bread"));
    assert_non_null(limits_of(limits, "south", "pan-bread"));
    limits_free(limits);
    fixture_remove(&f);
}

static void no_file_is_no_limit(void **state)
{
    struct limits *limits = NULL;
    (void)state;
    assert_int_equal(limits_load("/nowhere/limits.json", NULL, NULL, &limits, NULL), 0);
    assert_null(limits_of(limits, "", "bun"));
    limits_free(limits);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_ships_is_of_the_regulation),
        cmocka_unit_test(what_is_wrong_is_told),
        cmocka_unit_test(a_plant_has_its_own_or_what_is_of_none),
        cmocka_unit_test(no_file_is_no_limit),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

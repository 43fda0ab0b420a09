/* Preserving ingredients: the shipped file and the models' own list say the same, faults have their
 * place, and each is something to have doses, strengths and targets of. */
#include "fixture.h"
#include "load_catalogue.h"
#include "rules/rules.h"

static struct catalogue *load(const char *dir)
{
    struct catalogue *c = NULL;
    struct error err = {0};
    if (load_catalogue(dir, NULL, NULL, &c, &err))
        fail_msg("%s", err.text);
    return c;
}

static void the_file_and_the_built_in_list_agree(void **state)
{
    struct catalogue *c = load(ODDLOAF_SOURCE_DIR "/rules");
    const struct acid_product *built_in;
    (void)state;
    for (size_t i = 0; (built_in = acid_product_at(i)); i++) {
        const struct preserver *p = catalogue_preserver(c, built_in->name);
        if (!p)
            fail_msg("%s is not in rules/preservers.json", built_in->name);
        assert_int_equal(p->acid_count, 1);
        assert_string_equal(p->brings[0].name, built_in->name);
        assert_int_equal(p->brings[0].kind, built_in->kind);
        assert_near(p->brings[0].acid_g_per_g, built_in->acid_g_per_g, 0);
        assert_near(p->brings[0].usual_active_pct, built_in->usual_active_pct, 0);
        assert_near(p->brings[0].low_active_pct, built_in->low_active_pct, 0);
        assert_near(p->brings[0].high_active_pct, built_in->high_active_pct, 0);
    }
    catalogue_free(c);
}

/* A folder of an older version has none: its single inhibitor is one of the models' own. */
static void rules_without_the_file_have_the_built_in_list(void **state)
{
    struct fixture f;
    (void)state;
    fixture_folder(&f);
    fixture_copy(&f, "rules", "quantities.json");
    fixture_copy(&f, "rules", "places.json");
    struct catalogue *c = load(f.rules);
    assert_non_null(catalogue_preserver(c, "calcium-propionate"));
    assert_non_null(catalogue_quantity(c, "potassium_sorbate_surface_pct_flour"));
    assert_null(catalogue_preserver(c, "fermented-whey"));
    catalogue_free(c);
    fixture_remove(&f);
}

static void each_is_measured(void **state)
{
    static const struct {
        const char *name, *title;
        enum preserver_measure measure;
    } ROWS[] = {
        {"potassium_sorbate_pct_flour", "Potassium sorbate dose", PRESERVER_DOSE},
        {"potassium_sorbate_surface_pct_flour", "Potassium sorbate dose, on the surface",
         PRESERVER_SURFACE_DOSE},
        {"fermented_whey_active_pct", "Fermented whey: active share", PRESERVER_STRENGTH},
    };
    struct catalogue *c = load(ODDLOAF_SOURCE_DIR "/rules");
    (void)state;
    for (size_t i = 0; i < sizeof ROWS / sizeof ROWS[0]; i++) {
        const struct catalogue_quantity *q = catalogue_quantity(c, ROWS[i].name);
        if (!q)
            fail_msg("no %s", ROWS[i].name);
        assert_string_equal(q->title, ROWS[i].title);
        assert_string_equal(q->unit, "%");
        assert_non_null(q->preserver);
        assert_int_equal(q->measure, ROWS[i].measure);
    }
    catalogue_free(c);
}

#define ROW_BUT_KIND                                                                               \
    "\"title\":\"A\",\"role\":\"acid\",\"acts\":\"dough\",\"most_pct_flour\":1,\"mark\":\"M\","    \
    "\"source\":\"from memory\","
#define ROW "\"kind\":\"a\"," ROW_BUT_KIND
#define FILE_OF(row) "{\"preservers\":[{" row "}]}"

struct heard {
    int faults;
    long line;
    char text[400];
};

static void on_fault(void *arg, const struct error *fault)
{
    struct heard *heard = arg;
    heard->faults++;
    heard->line = fault->line;
    snprintf(heard->text, sizeof heard->text, "%s", fault->text);
}

static void what_is_wrong_is_told_where_it_stands(void **state)
{
    static const struct {
        const char *text, *says;
    } ROWS[] = {
        {FILE_OF(ROW "\"acids\":[{\"acid\":\"acetic\"}],\"strength_pct\":[1,2,3]"),
         "must have g_per_g"},
        {FILE_OF(ROW "\"acids\":[{\"acid\":\"acetic\",\"g_per_g\":1,\"moles\":1,"
                     "\"salt_g_mol\":80}],\"strength_pct\":[1,2,3]"),
         "must have g_per_g"},
        {FILE_OF(ROW "\"acids\":[{\"acid\":\"citric\",\"g_per_g\":1}],\"strength_pct\":[1,2,3]"),
         "must be"},
        {FILE_OF(ROW "\"acids\":[{\"acid\":\"citric\"}],\"strength_pct\":[1,2,3]"), "must be"},
        {FILE_OF(ROW "\"acids\":[{\"acid\":\"acetic\",\"g_per_g\":1},{\"acid\":\"lactic\","
                     "\"g_per_g\":1},{\"acid\":\"sorbic\",\"g_per_g\":1},{\"acid\":\"benzoic\","
                     "\"g_per_g\":1}],\"strength_pct\":[1,2,3]"),
         "3"},
        {FILE_OF(ROW "\"acids\":[{\"acid\":\"acetic\",\"g_per_g\":1}],\"strength_pct\":[3,2,4]"),
         "must be low, usual and high"},
        {FILE_OF(ROW "\"acids\":[{\"acid\":\"acetic\",\"g_per_g\":1}],\"strength_pct\":[1,3,2]"),
         "must be low, usual and high"},
        {"{\"preservers\":[{\"kind\":\"1a\"," ROW_BUT_KIND
         "\"acids\":[{\"acid\":\"acetic\",\"g_per_g\":1}],\"strength_pct\":[1,2,3]}]}",
         "a letter first"},
        {"{\"preservers\":[{\"kind\":\"a_b\"," ROW_BUT_KIND
         "\"acids\":[{\"acid\":\"acetic\",\"g_per_g\":1}],\"strength_pct\":[1,2,3]}]}",
         "a letter first"},
        {FILE_OF(ROW "\"acids\":[{\"acid\":\"acetic\",\"g_per_g\":1}],\"strength_pct\":[3,4]"),
         "3"},
        {FILE_OF(ROW
                 "\"acids\":[{\"acid\":\"acetic\",\"g_per_g\":1}],\"strength_pct\":[1,2,3]},{" ROW
                 "\"acids\":[{\"acid\":\"acetic\",\"g_per_g\":1}],"
                 "\"strength_pct\":[1,2,3]"),
         "is there twice"},
    };
    (void)state;
    for (size_t i = 0; i < sizeof ROWS / sizeof ROWS[0]; i++) {
        struct fixture f;
        struct heard heard = {0};
        struct catalogue *c = NULL;
        fixture_folder(&f);
        fixture_copy(&f, "rules", "quantities.json");
        fixture_copy(&f, "rules", "places.json");
        fixture_file(&f, "preservers.json", ROWS[i].text);
        assert_int_not_equal(load_catalogue(f.rules, on_fault, &heard, &c, NULL), 0);
        assert_int_equal(heard.line, 1);
        if (heard.faults != 1 || !strstr(heard.text, ROWS[i].says))
            fail_msg("row %zu: %d, %s", i, heard.faults, heard.text);
        fixture_remove(&f);
    }
}

/* A row says what its words say; a kind as long as kinds may be has a name for each measure. */
static void a_row_is_read_whole(void **state)
{
    static const char LONGEST[] = "a234567890123456789012345678";
    struct fixture f;
    char name[LENGTH_WORD + 1];
    (void)state;
    fixture_folder(&f);
    fixture_copy(&f, "rules", "quantities.json");
    fixture_copy(&f, "rules", "places.json");
    fixture_file(&f, "preservers.json",
                 "{\"preservers\":[{\"kind\":\"a\",\"title\":\"A\",\"role\":\"acid\",\"acts\":"
                 "\"surface\",\"most_pct_flour\":1.5,\"mark\":\"R\",\"source\":\"s\",\"acids\":"
                 "[{\"acid\":\"acetic\",\"g_per_g\":0.5},{\"acid\":\"lactic\",\"g_per_g\":0.25},"
                 "{\"acid\":\"propionic\",\"moles\":2,\"salt_g_mol\":186.2}],"
                 "\"strength_pct\":[1,2,3]},"
                 "{\"kind\":\"a234567890123456789012345678\",\"title\":\"B\",\"role\":"
                 "\"inhibitor\",\"acts\":\"dough\",\"most_pct_flour\":30,\"mark\":\"M\","
                 "\"source\":\"s\",\"acids\":[{\"acid\":\"sorbic\",\"g_per_g\":1}],"
                 "\"strength_pct\":[5,5,5]}]}");
    struct catalogue *c = load(f.rules);
    const struct preserver *a = catalogue_preserver(c, "a"), *b = catalogue_preserver(c, LONGEST);
    assert_non_null(a);
    assert_non_null(b);
    assert_true(a->on_surface && !b->on_surface);
    assert_true(!a->from_memory && b->from_memory);
    assert_true(a->role == PRESERVER_SOUR && b->role == PRESERVER_INHIBITOR);
    assert_near(a->most_pct_flour, 1.5, 0);
    assert_int_equal(a->acid_count, 3);
    assert_int_equal(a->brings[1].kind, ACID_LACTIC);
    assert_near(a->brings[1].acid_g_per_g, 0.25, 0);
    /* two moles of propionic acid, 74.08 g/mol, of a mole of its calcium salt */
    assert_near(a->brings[2].acid_g_per_g, 2 * 74.08 / 186.2, 1e-4);
    assert_near(a->brings[2].low_active_pct, 1, 0);
    assert_near(a->brings[2].usual_active_pct, 2, 0);
    assert_near(a->brings[2].high_active_pct, 3, 0);
    assert_string_equal(preserver_quantity(LONGEST, PRESERVER_SURFACE_DOSE, name),
                        "a234567890123456789012345678_surface_pct_flour");
    assert_non_null(catalogue_quantity(c, name));
    catalogue_free(c);
    fixture_remove(&f);
}

/* The plant's own two keep the names they always had. */
static void the_plants_own_two_have_one_name(void **state)
{
    static const struct {
        const char *said, *kept;
    } ROWS[] = {
        {"calcium_propionate_pct_flour", "inhibitor_pct_flour"},
        {"calcium_propionate_active_pct", "inhibitor_active_pct"},
        {"calcium_propionate_surface_pct_flour", "calcium_propionate_surface_pct_flour"},
        {"vinegar_pct_flour", "acid_pct_flour"},
        {"vinegar_active_pct", "vinegar_active_pct"},
        {"potassium_sorbate_pct_flour", "potassium_sorbate_pct_flour"},
        {"crumb_ph", "crumb_ph"},
    };
    struct rules *rules = NULL;
    struct error err = {0};
    (void)state;
    if (rules_load(ODDLOAF_SOURCE_DIR "/rules", NULL, NULL, &rules, &err))
        fail_msg("%s", err.text);
    for (size_t i = 0; i < sizeof ROWS / sizeof ROWS[0]; i++)
        assert_string_equal(rules_quantity(rules, ROWS[i].said), ROWS[i].kept);
    rules_free(rules);
}

/* The longest kind has room for each of its quantities. */
static void a_quantity_is_named_by_its_kind(void **state)
{
    static const struct {
        const char *kind;
        enum preserver_measure measure;
        const char *quantity;
    } ROWS[] = {
        {"sorbic-acid", PRESERVER_DOSE, "sorbic_acid_pct_flour"},
        {"sorbic-acid", PRESERVER_SURFACE_DOSE, "sorbic_acid_surface_pct_flour"},
        {"sorbic-acid", PRESERVER_STRENGTH, "sorbic_acid_active_pct"},
        {"abcdefghij-abcdefghij-abcdef", PRESERVER_SURFACE_DOSE,
         "abcdefghij_abcdefghij_abcdef_surface_pct_flour"},
    };
    (void)state;
    for (size_t i = 0; i < sizeof ROWS / sizeof ROWS[0]; i++) {
        char name[LENGTH_WORD + 1];
        assert_string_equal(preserver_quantity(ROWS[i].kind, ROWS[i].measure, name),
                            ROWS[i].quantity);
    }
    assert_int_equal(strlen(ROWS[3].kind), PRESERVER_KIND);
}

/* A title, in whatever case and order, a unit aside, is a name; a part of it leads there. */
static void titles_are_names(void **state)
{
    static const struct {
        const char *said, *name;
    } ROWS[] = {{"Crumb water activity", "crumb_aw"},
                {"crumb water activity [1]", "crumb_aw"},
                {"Water activity, CRUMB", "crumb_aw"},
                {"crumb-ph (pH)", "crumb_ph"},
                {"Core temperature", "core_temp_c"},
                {"crumb water", NULL},
                {"", NULL},
                {"()", NULL}};
    const char *near[CATALOGUE_NEAREST];
    (void)state;
    struct catalogue *c = load(ODDLOAF_SOURCE_DIR "/rules");
    for (size_t i = 0; i < sizeof ROWS / sizeof ROWS[0]; i++) {
        const struct catalogue_quantity *found = catalogue_said(c, ROWS[i].said);
        if (strcmp(found ? found->name : "none", ROWS[i].name ? ROWS[i].name : "none") != 0)
            fail_msg("%s is %s", ROWS[i].said, found ? found->name : "none");
    }
    assert_int_equal(catalogue_nearest(c, "crumb water", near), CATALOGUE_NEAREST);
    assert_string_equal(near[0], "crumb_aw");
    assert_int_equal(catalogue_nearest_place(c, "cooler", near), CATALOGUE_NEAREST);
    assert_string_equal(near[0], "cooler-air");
    assert_string_equal(near[1], "cooler-belt");
    assert_int_equal(catalogue_nearest_place(c, "film store", near), CATALOGUE_NEAREST);
    assert_string_equal(near[0], "film-store");
    catalogue_free(c);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_file_and_the_built_in_list_agree),
        cmocka_unit_test(rules_without_the_file_have_the_built_in_list),
        cmocka_unit_test(each_is_measured),
        cmocka_unit_test(what_is_wrong_is_told_where_it_stands),
        cmocka_unit_test(the_plants_own_two_have_one_name),
        cmocka_unit_test(titles_are_names),
        cmocka_unit_test(a_quantity_is_named_by_its_kind),
        cmocka_unit_test(a_row_is_read_whole),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

/* What names mean: facts with their parts, quantities and columns with another unit, causes by what
 * is near; and the parameters of models.json by name. */
#include "check.h"
#include "fixture.h"
#include "models/parameters.h"
#include "rules/load_catalogue.h"
#include "rules/models_file.h"
#include "rules/rules.h"
#include "rules/vocabulary.h"

#define RULES ODDLOAF_SOURCE_DIR "/rules"

static struct rules *rules;

static int set_up(void **state)
{
    (void)state;
    return rules_load(RULES, NULL, NULL, &rules, NULL);
}

static int tear_down(void **state)
{
    (void)state;
    rules_free(rules);
    return 0;
}

/* ---- facts ---- */

static void facts(void **state)
{
    static const struct {
        const char *name;
        enum fact_kind kind;
        int code;
        enum fact_part part;
        const char *place, *quantity;
        bool words, per_complaint;
    } CASES[] = {
        {"season", FACT_OBSERVATION, SEEN_SEASON, 0, "", "", true, true},
        {"age_days", FACT_OBSERVATION, SEEN_AGE_DAYS, 0, "", "", false, true},
        {"packs", FACT_OBSERVATION, SEEN_PACKS, 0, "", "", false, true},
        {"colour", FACT_OBSERVATION, SEEN_FIELD, 0, "", "", true, true},
        {"wet_inside_bag", FACT_OBSERVATION, SEEN_FIELD, 0, "", "", true, true},
        {"family", FACT_LOT, LOT_FAMILY, 0, "", "", true, false},
        {"units", FACT_LOT, LOT_UNITS, 0, "", "", false, false},
        {"sorbate_used", FACT_LOT, LOT_SORBATE_USED, 0, "", "", false, false},
        {"closure_lot_age_days", FACT_LOT, LOT_MATERIAL_AGE, 0, "", "", false, false},
        {"transit_c", FACT_DISPATCH, DISPATCH_TRANSIT, 0, "", "", false, true},
        {"transit_c.max", FACT_DISPATCH, DISPATCH_TRANSIT_MAX, 0, "", "", false, true},
        {"company.lot", FACT_COMPANY, FACTOR_LOT, 0, "", "", false, false},
        {"company.route", FACT_COMPANY, FACTOR_ROUTE, 0, "", "", false, true},
        {"company.store", FACT_COMPANY, FACTOR_STORE, 0, "", "", false, true},
        {"company.window.slicer", FACT_COMPANY, FACTOR_WINDOW, 0, "slicer", "", false, false},
        {"model.mold_age", FACT_MODEL, 0, 0, "", "", false, true},
        {"slicer.cleaning_missed", FACT_PLACE, PLACE_CLEANING_MISSED, 0, "slicer",
         "cleaning_missed", false, false},
        {"slicer.swab_cfu", FACT_PLACE, PLACE_LAST, 0, "slicer", "swab_cfu", false, false},
        {"slicer.swab_cfu.next", FACT_PLACE, PLACE_NEXT, 0, "slicer", "swab_cfu", false, false},
        {"slicer.swab_cfu.peak", FACT_PLACE, PLACE_PEAK, 0, "slicer", "swab_cfu", false, false},
        {"crumb_ph", FACT_QUANTITY, 0, PART_MEDIAN, "", "crumb_ph", false, false},
        {"crumb_ph.min", FACT_QUANTITY, 0, PART_MIN, "", "crumb_ph", false, false},
        {"crumb_ph.max", FACT_QUANTITY, 0, PART_MAX, "", "crumb_ph", false, false},
        {"acid_pct_flour", FACT_QUANTITY, 0, PART_MEDIAN, "", "acid_pct_flour", false, false},
    };
    static const char *const NONE[] = {
        "",
        "seasons",
        "crumb_ph.mean",
        "slicer.swab_cfu.last",
        "slicer.nothing",
        "attic.swab_cfu",
        "company.",
        "company.window",
        "company.window.attic",
        "company.nothing",
        "model.",
        "model.nothing",
        "flour_lot_age",
        "wood_lot_age_days",
        "slicer.",
        "company.window.a-name-that-is-much-longer-than-any-place-may-have-for-one"};
    (void)state;
    for (size_t i = 0; i < COUNT_OF(CASES); i++) {
        struct fact_name fact;
        struct error err = {0};
        if (vocabulary_fact(rules->vocabulary, CASES[i].name, &fact, &err))
            fail_msg("%s: %s", CASES[i].name, err.text);
        assert_string_equal(fact.text, CASES[i].name);
        if (fact.kind != CASES[i].kind || fact.code != CASES[i].code ||
            fact.part != CASES[i].part || fact.words != CASES[i].words ||
            fact.per_complaint != CASES[i].per_complaint ||
            strcmp(fact.place, CASES[i].place) != 0 ||
            (fact.kind != FACT_COMPANY && strcmp(fact.quantity, CASES[i].quantity) != 0))
            fail_msg("%s: %d %d %d '%s' '%s' %d %d", CASES[i].name, fact.kind, fact.code, fact.part,
                     fact.place, fact.quantity, fact.words, fact.per_complaint);
    }
    for (size_t i = 0; i < COUNT_OF(NONE); i++) {
        struct fact_name fact;
        struct error err = {0};
        if (vocabulary_fact(rules->vocabulary, NONE[i], &fact, &err) != ERROR_INVALID)
            fail_msg("%s", NONE[i]);
        assert_string_equal(err.field, "fact");
    }
    struct fact_name first, last;
    assert_int_equal(vocabulary_fact(rules->vocabulary, "flour_lot_age_days", &first, NULL), 0);
    assert_int_equal(vocabulary_fact(rules->vocabulary, "closure_lot_age_days", &last, NULL), 0);
    assert_true(first.material == 0 && last.material == MATERIALS - 1);
}

static void units_and_titles(void **state)
{
    const struct vocabulary *v = rules->vocabulary;
    (void)state;
    assert_string_equal(vocabulary_unit(v, "crumb_ph"), "pH");
    assert_string_equal(vocabulary_unit(v, "acid_pct_flour"), "%");
    assert_string_equal(vocabulary_unit(v, "softener_unrecorded_share"), "1");
    assert_string_equal(vocabulary_unit(v, "nothing"), "");
    assert_string_equal(vocabulary_quantity_title(v, "acid_pct_flour"), "Acid dose");
    assert_string_equal(vocabulary_quantity_title(v, "nothing"), "nothing");
    assert_string_not_equal(vocabulary_quantity_title(v, "crumb_ph"), "crumb_ph");
    assert_string_not_equal(vocabulary_place_title(v, "film-store"), "film-store");
    assert_string_equal(vocabulary_place_title(v, "attic"), "attic");
    for (int s = 0; s < SYMPTOMS; s++)
        assert_int_equal(symptom_of(symptom_name(s)), s);
    assert_string_equal(symptom_name(-1), "");
    assert_string_equal(symptom_name(SYMPTOMS), "");
    assert_int_equal(symptom_of("other"), -1);
    assert_int_equal(symptom_of(NULL), -1);
    for (int m = 0; m < MATERIALS; m++)
        assert_int_equal(material_of(material_name(m)), m);
    assert_int_equal(material_of("wood"), -1);
    assert_int_equal(material_of(NULL), -1);
}

/* ---- look-ups ---- */

static void curves(void **state)
{
    static const struct rule_point POINTS[] = {{1, -1}, {3, 1}, {4, 5}};
    static const double AT[][2] = {{0, -1}, {1, -1},  {1.5, -0.5}, {2, 0},
                                   {3, 1},  {3.5, 3}, {4, 5},      {9, 5}};
    (void)state;
    for (size_t i = 0; i < COUNT_OF(AT); i++)
        assert_near(rules_curve(POINTS, 3, AT[i][0]), AT[i][1], 1e-12);
    assert_near(rules_curve(POINTS, 1, 7), -1, 0);
    assert_true(isnan(rules_curve(POINTS, 0, 1)));
    assert_true(isnan(rules_curve(POINTS, 3, NAN)));
}

static void causes_and_cautions(void **state)
{
    (void)state;
    for (int i = 0; i < rules->cause_count; i++) {
        char said[80];
        assert_int_equal(rules_cause(rules, rules->causes[i].id), i);
        snprintf(said, sizeof said, "%s", rules->causes[i].id);
        for (char *p = said; *p; p++)
            *p = *p == '-' ? (p - said) % 2 ? '_' : ' ' : *p;
        assert_ptr_equal(rules_cause_near(rules, said), rules->causes[i].id);
    }
    assert_int_equal(rules_cause(rules, "nothing-of-the-kind"), -1);
    assert_null(rules_cause_near(rules, "zzzzzzzzzzzzzzzz"));
    for (int i = 0; i < rules->caution_count; i++)
        assert_ptr_equal(rules_caution(rules, rules->cautions[i].id), &rules->cautions[i]);
    assert_null(rules_caution(rules, "nothing"));
    for (int i = 0; i < rules->fact_count; i++) { /* of those of one name the first */
        int at = rules_fact(rules, rules->facts[i].name.text);
        assert_in_range(at, 0, i);
        assert_string_equal(rules->facts[at].name.text, rules->facts[i].name.text);
    }
    assert_int_equal(rules_fact(rules, "nothing"), -1);
}

/* What stands until ranking.json says otherwise. */
static void what_stands_by_itself(void **state)
{
    struct fixture f;
    struct rules *bare;
    (void)state;
    fixture_folder(&f);
    fixture_file(&f, "causes/nk.json",
                 "{\"id\":\"nk\",\"title\":\"NK\",\"symptoms\":{\"mold\":1,\"off-odor\":1,"
                 "\"staling\":1},\"background\":true}");
    assert_int_equal(rules_load(f.rules, fixture_print_fault, NULL, &bare, NULL), 0);
    for (int s = 0; s < SYMPTOMS; s++) {
        const struct rule_point *points = bare->ranking.delay[s];
        int count = bare->ranking.delay_count[s];
        assert_true(points[0].x == 0 && points[0].bits == 0 && points[count - 1].bits == 1);
        for (int i = 1; i < count; i++)
            assert_true(points[i].x > points[i - 1].x && points[i].bits > points[i - 1].bits);
    }
    for (int i = 0; i < REACHES; i++) {
        assert_true(bare->ranking.reach_share[i] > 0 && bare->ranking.reach_share[i] < 1);
        assert_true(bare->ranking.reach_share[i] == rules_reach_share((enum rule_reach)i));
        assert_true(*rules_reach_name((enum rule_reach)i));
    }
    /* lots of one mix share its fault surest */
    assert_string_equal(rules_reach_name(REACH_MIX), "mix");
    assert_string_equal(rules_reach_name(REACH_WINDOW), "place-window");
    for (int i = 0; i < REACHES; i++)
        assert_true(i == REACH_MIX ||
                    rules_reach_share(REACH_MIX) > rules_reach_share((enum rule_reach)i));
    rules_free(bare);
    fixture_remove(&f);
}

/* ---- names with another unit ---- */

static void quantities_and_columns(void **state)
{
    static const struct {
        const char *name, *unit, *is, *why; /* why: what is wrong, NULL nothing */
    } QUANTITIES[] =
        {
            {"core_at_pack_c", NULL, "core_at_pack_c", NULL},
            {"core_at_pack_c", "degF", "core_at_pack_c", NULL},
            {"core_at_pack", "degF", "core_at_pack_c", NULL},
            {"core_at_pack", NULL, NULL, NULL},
            {"core_at_pack_c", "kg", NULL, "unit 'kg' cannot become 'degC'"},
            {"core_at_pack", "kg", NULL, "unit 'kg' cannot become 'degC'"},
            {"core_at_pack", "stone", NULL, "unit 'stone' is not known"},
            {"core_at", "degF", NULL, NULL},
            {"nothing", "degF", NULL, NULL},
            {"inhibitor", "lb", "inhibitor_kg", NULL}, /* and not inhibitor_pct_flour */
            {"inhibitor", "ppm", "inhibitor_pct_flour", NULL},
            {"inhibitor", "degC", NULL, "unit 'degC' cannot become"},
        },
      COLUMNS[] = {
          {"flour_kg", NULL, "flour_kg", NULL},
          {"flour", "lb", "flour_kg", NULL},
          {"flour", NULL, NULL, NULL},
          {"flour_kg", "degC", NULL, "unit 'degC' cannot become 'kg'"},
          {"transit", "degF", "transit_c", NULL},
          {"nothing", "lb", NULL, NULL},
      };
    (void)state;
    for (size_t i = 0; i < COUNT_OF(QUANTITIES); i++) {
        const struct catalogue_quantity *found = NULL;
        struct error err = {0};
        int rc =
            catalogue_match(rules->catalogue, QUANTITIES[i].name, QUANTITIES[i].unit, &found, &err);
        if ((rc != 0) != (QUANTITIES[i].why != NULL) ||
            (rc && !strstr(err.text, QUANTITIES[i].why)) ||
            strcmp(found ? found->name : "-", QUANTITIES[i].is ? QUANTITIES[i].is : "-") != 0)
            fail_msg("%s: %d %s %s", QUANTITIES[i].name, rc, found ? found->name : "-", err.text);
    }
    for (size_t i = 0; i < COUNT_OF(COLUMNS); i++) {
        const struct catalogue_column *found = NULL;
        struct error err = {0};
        int rc = catalogue_match_column(rules->catalogue, COLUMNS[i].name, COLUMNS[i].unit, &found,
                                        &err);
        if ((rc != 0) != (COLUMNS[i].why != NULL) || (rc && !strstr(err.text, COLUMNS[i].why)) ||
            strcmp(found ? found->column : "-", COLUMNS[i].is ? COLUMNS[i].is : "-") != 0)
            fail_msg("%s: %d %s %s", COLUMNS[i].name, rc, found ? found->column : "-", err.text);
    }
}

static void what_may_be_meant(void **state)
{
    static const struct {
        const char *said, *nearest;
    } CASES[] = {{"core_at_pack", "core_at_pack_c"},
                 {"Crumb pH", "crumb_ph"},
                 {"crumb-phh", "crumb_ph"},
                 {"moisture", "crumb_moisture_pct"},
                 {"bake", "bake_min"},
                 {"bakee", "bake_min"},
                 {"core_temps", "core_temp_c"}},
      PLACES[] = {{"slicers", "slicer"}, {"film store", "film-store"}, {"film_stor", "film-store"}};
    const char *names[CATALOGUE_NEAREST];
    (void)state;
    for (size_t i = 0; i < COUNT_OF(CASES); i++) {
        assert_int_equal(catalogue_nearest(rules->catalogue, CASES[i].said, names),
                         CATALOGUE_NEAREST);
        assert_string_equal(names[0], CASES[i].nearest);
        assert_string_equal(catalogue_like(rules->catalogue, CASES[i].said), CASES[i].nearest);
    }
    for (size_t i = 0; i < COUNT_OF(PLACES); i++) {
        assert_int_equal(catalogue_nearest_place(rules->catalogue, PLACES[i].said, names),
                         CATALOGUE_NEAREST);
        assert_string_equal(names[0], PLACES[i].nearest);
    }
    assert_null(catalogue_like(rules->catalogue, "zzzzzzzz"));
    assert_null(catalogue_like(rules->catalogue, "ph")); /* two letters are like anything */
}

/* ---- faults of a catalogue ---- */

#define TIMES "\"times\":{\"from\":\"2000-01-01\",\"to\":\"2100-01-01\"}"
#define COLUMN(name, unit) "{\"column\":\"" name "\",\"unit\":\"" unit "\",\"low\":0,\"high\":9}"
#define COLUMNS                                                                                    \
    COLUMN("shelf_life_days", "d")                                                                 \
    "," COLUMN("unit_g", "g") "," COLUMN("units", "1") "," COLUMN("flour_kg", "kg") "," COLUMN(    \
        "amount", "kg") "," COLUMN("active_pct", "%") "," COLUMN("transit_c", "degC")
#define QUANTITY(name, more) "{\"quantity\":\"" name "\",\"title\":\"T\"," more "}"
#define DEGREES "\"unit\":\"degC\",\"low\":0,\"high\":9,\"of\":\"lot\""

struct told {
    int count;
    char first[512];
};

static void keep(void *arg, const struct error *fault)
{
    struct told *told = arg;
    if (!told->count++)
        snprintf(told->first, sizeof told->first, "%s: %s", fault->field, fault->text);
}

static void faults_of_a_catalogue(void **state)
{
    static const struct {
        const char *columns, *quantities, *fault; /* "" none */
    } CASES[] = {
        {COLUMNS, QUANTITY("a_c", DEGREES), ""},
        {COLUMNS, "", "/quantities: "},
        {"", QUANTITY("a_c", DEGREES), "/columns: "},
        {COLUMNS "," COLUMN("units", "1"), QUANTITY("a_c", DEGREES),
         "/columns/7/column: is there twice"},
        {COLUMNS, QUANTITY("a_c", DEGREES) "," QUANTITY("a_c", DEGREES),
         "/quantities/1/quantity: is there twice"},
        {COLUMNS, QUANTITY("z9", DEGREES), ""},
        {COLUMNS, QUANTITY("9z", DEGREES), "/quantities/0/quantity: must be lower-case"},
        {COLUMNS, QUANTITY("_z", DEGREES), "/quantities/0/quantity: must be lower-case"},
        {COLUMNS, QUANTITY("a-z", DEGREES), "/quantities/0/quantity: must be lower-case"},
        {COLUMNS, QUANTITY("aZ", DEGREES), "/quantities/0/quantity: must be lower-case"},
        {COLUMNS, QUANTITY("a", "\"unit\":\"degC\",\"low\":9,\"high\":9,\"of\":\"lot\""),
         "/quantities/0/high: must be more than low"},
        {COLUMNS, QUANTITY("a", "\"unit\":\"stone\",\"low\":0,\"high\":9,\"of\":\"lot\""),
         "/quantities/0/unit: unit is not known"},
        {COLUMNS, QUANTITY("a_kg", DEGREES),
         "/quantities/0/unit: a name that ends in _kg is of kg"},
        {COLUMNS, QUANTITY("a_c", "\"unit\":\"degF\",\"low\":0,\"high\":9,\"of\":\"lot\""),
         "/quantities/0/unit: a name that ends in _c is of degC"},
        {COLUMNS, QUANTITY("a", "\"words\":[\"no\",\"some\"],\"of\":\"lot\""), ""},
        {COLUMNS, QUANTITY("a", "\"words\":[\"no\"],\"of\":\"lot\""), "/quantities/0/words: "},
        {COLUMNS, QUANTITY("a", "\"words\":[\"no\",\"some\"],\"of\":\"plant\""),
         "/quantities/0/words: only of a lot, and not yes_no"},
        {COLUMNS, QUANTITY("a", "\"words\":[\"no\",\"some\"],\"of\":\"lot\",\"yes_no\":true"),
         "/quantities/0/words: only of a lot, and not yes_no"},
    };
    (void)state;
    for (size_t i = 0; i < COUNT_OF(CASES); i++) {
        struct fixture f;
        struct text_buffer text = {0};
        struct told told = {0};
        struct catalogue *catalogue = NULL;
        fixture_folder(&f);
        text_appendf(&text, "{" TIMES ",\"columns\":[%s],\"quantities\":[%s]}", CASES[i].columns,
                     CASES[i].quantities);
        fixture_file(&f, "quantities.json", text.data);
        load_catalogue(f.rules, keep, &told, &catalogue, NULL);
        if (strncmp(told.first, CASES[i].fault, strlen(CASES[i].fault)) != 0 ||
            (told.count > 0) != (*CASES[i].fault != '\0') ||
            (catalogue != NULL) == (told.count > 0))
            fail_msg("%s: %d '%s', not '%s'", CASES[i].quantities, told.count, told.first,
                     CASES[i].fault);
        catalogue_free(catalogue);
        text_buffer_free(&text);
        fixture_remove(&f);
    }
}

/* ---- models.json ---- */

/* What is made of several records is there whatever a plant's own file names. */
static void what_is_computed_needs_no_catalogue(void **state)
{
    static const struct {
        const char *quantity, *unit, *title;
    } ROWS[] = {
        {"a_c", "degC", "T"},
        {"inhibitor_pct_flour", "%", "inhibitor_pct_flour"},
        {"inhibitor_weighed_pct_flour", "%", "Inhibitor dose as weighed"},
        {"inhibitor_active_pct_flour", "%", "Active inhibitor dose"},
        {"inhibitor_active_pct", "%", "Inhibitor's active share"},
        {"inhibitor_unrecorded_share", "1", "Share of the mixes without inhibitor on record"},
        {"softener_unrecorded_share", "1", "Share of the mixes without softener on record"},
        {"softener_pct_flour", "%", "softener_pct_flour"},
        {"acid_pct_flour", "%", "Acid dose"},
        {"yeast_pct_flour", "%", "Yeast dose"},
        {"fat_pct_flour", "%", "Fat dose"},
        {"crumb_ph", "", "crumb_ph"}, /* none of that file's */
    };
    struct fixture f;
    struct catalogue *catalogue = NULL;
    (void)state;
    fixture_folder(&f);
    fixture_file(&f, "quantities.json",
                 "{" TIMES ",\"columns\":[" COLUMNS
                 "],\"quantities\":[" QUANTITY("a_c", DEGREES) "]}");
    assert_int_equal(load_catalogue(f.rules, NULL, NULL, &catalogue, NULL), 0);
    struct vocabulary *v = vocabulary_new(catalogue);
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        if (vocabulary_quantity(v, ROWS[i].quantity) != (*ROWS[i].unit != '\0') ||
            strcmp(vocabulary_unit(v, ROWS[i].quantity), ROWS[i].unit) != 0 ||
            strcmp(vocabulary_quantity_title(v, ROWS[i].quantity), ROWS[i].title) != 0)
            fail_msg("%s", ROWS[i].quantity);
    }
    vocabulary_free(v);
    catalogue_free(catalogue);
    fixture_remove(&f);
}

static void count(void *arg, const struct error *fault)
{
    (void)fault;
    ++*(int *)arg;
}

#define PARAMETER(name, numbers) "{\"name\":\"" name "\"," numbers ",\"source\":\"s\"}"

static void parameters_of_models(void **state)
{
    struct fixture f;
    struct models_parameters plain, loaded;
    int faults = 0;
    (void)state;
    fixture_folder(&f);
    parameters_default(&plain);
    assert_int_equal(models_file_load(f.rules, count, &faults, &loaded, NULL), 0); /* no file */
    assert_memory_equal(&plain, &loaded, sizeof plain);
    const char *name = "acid.pka_shift";
    static const struct {
        const char *numbers;
        int faults;
        const char *why;
    } CASES[] = {{"\"low\":1,\"typical\":2,\"high\":3", 0, NULL},
                 {"\"low\":2,\"typical\":2,\"high\":2", 0, NULL},
                 {"\"low\":2,\"typical\":1,\"high\":3", 1, "must have low <= typical <= high"},
                 {"\"low\":1,\"typical\":4,\"high\":3", 1, "must have low <= typical <= high"},
                 {"\"low\":1,\"typical\":2", 1, "required"}};
    for (size_t i = 0; i < COUNT_OF(CASES); i++) {
        char text[512];
        struct error err = {0};
        snprintf(text, sizeof text, "{\"parameters\":[" PARAMETER("%s", "%s") "]}", name,
                 CASES[i].numbers);
        fixture_file(&f, "models.json", text);
        faults = 0;
        int rc = models_file_load(f.rules, count, &faults, &loaded, &err);
        if (faults != CASES[i].faults || (rc != 0) != (faults > 0) || rc != (int)err.code)
            fail_msg("%s: %d faults %d %s", CASES[i].numbers, faults, rc, err.text);
    }
    struct error err = {0};
    fixture_file(
        &f, "models.json",
        "{\"parameters\":[" PARAMETER("nothing", "\"low\":1,\"typical\":2,\"high\":3") "]}");
    assert_int_equal(models_file_load(f.rules, NULL, NULL, &loaded, &err), ERROR_INVALID);
    assert_string_equal(err.text, "no such parameter");
    assert_string_equal(err.field, "/parameters/0/name");
    fixture_remove(&f);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(facts),
        cmocka_unit_test(units_and_titles),
        cmocka_unit_test(curves),
        cmocka_unit_test(causes_and_cautions),
        cmocka_unit_test(what_stands_by_itself),
        cmocka_unit_test(quantities_and_columns),
        cmocka_unit_test(what_may_be_meant),
        cmocka_unit_test(faults_of_a_catalogue),
        cmocka_unit_test(what_is_computed_needs_no_catalogue),
        cmocka_unit_test(parameters_of_models),
    };
    return cmocka_run_group_tests(tests, set_up, tear_down);
}

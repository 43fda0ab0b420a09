/* Preserving systems as plants have them: several ingredients a lot, each with a dose and a target
 * of its own, in the dough or on the surface; one in another's place from a day on; and the plant's
 * own inhibitor, told by its kind or not. */
#include "../rank/fixture.h"
#include "tell/tell.h"
#include "tell/whatif.h"

enum { SPRAY = 6, WHEAT = 7 }; /* ids of quantities */

struct plant {
    struct fixture f;
    struct triage *triage;
    struct limits *limits;
    int64_t lot;
};

static void open_plant(struct plant *p)
{
    static const char *const RULES[] = {"causes/inhibitor-underdosed.json", "causes/old-stock.json",
                                        "causes/packed-hot.json", "causes/not-known.json",
                                        "asks.json"};
    struct error err = {0};
    fixture_open(&p->f);
    fixture_plant(&p->f, 30);
    p->lot = fixture_lot(20, 1, 0);
    for (size_t i = 0; i < sizeof RULES / sizeof RULES[0]; i++)
        fixture_copy(&p->f, "tests/rank/rules", RULES[i]);
    fixture_copy(&p->f, "rules", "preservers.json");
    p->triage = fixture_triage(&p->f);
    if (limits_load(ODDLOAF_SOURCE_DIR "/rules/limits.json", NULL, NULL, &p->limits, &err))
        fail_msg("%s", err.text);
}

static void close_plant(struct plant *p)
{
    limits_free(p->limits);
    triage_free(p->triage);
    fixture_close(&p->f);
}

/* Without readings of the dose, nor a target of it. */
static void forget_inhibitor(struct plant *p)
{
    fixture_sql(&p->f, "DELETE FROM reading WHERE quantity_id = 5;"
                       "DELETE FROM target WHERE quantity_id = 5");
}

/* Every lot of `since` and later, kg on the 100 kg of its mix. */
static void give(struct plant *p, const char *kind, const char *applied, double kg, int since_day)
{
    fixture_sql(
        &p->f,
        "INSERT INTO material_use(lot_id, material, material_lot, mix, amount, unit, kind,"
        " applied) SELECT id, 'inhibitor', 'I-%s%s', 'M1', %g, 'kg', %s%s%s, %s%s%s FROM lot"
        " WHERE id >= %lld",
        kind ? kind : "own", applied ? applied : "", kg, kind ? "'" : "", kind ? kind : "NULL",
        kind ? "'" : "", applied ? "'" : "", applied ? applied : "NULL", applied ? "'" : "",
        (long long)fixture_lot(since_day, 1, 0));
}

static void target(struct plant *p, int id, const char *quantity, double pct)
{
    fixture_sql(&p->f, "INSERT INTO quantity VALUES(%d, '%s')", id, quantity);
    fixture_sql(&p->f, "INSERT INTO target(product_id, quantity_id, target) VALUES(1, %d, %g)", id,
                pct);
}

static json_t *rank_of(struct plant *p, int64_t case_id)
{
    struct error err = {0};
    json_t *ranking = NULL;
    struct ranking kept;
    if (tell_case(p->triage, p->f.store, case_id, &ranking, &kept, &err))
        fail_msg("%s", err.text);
    ranking_clear(&kept);
    return ranking;
}

static json_t *whatif_of(struct plant *p, struct whatif asked)
{
    struct error err = {0};
    json_t *answer = NULL;
    asked.lot_id = p->lot;
    asked.limits = p->limits;
    if (whatif_tell(p->triage, p->f.store, &asked, &answer, &err))
        fail_msg("%s", err.text);
    return answer;
}

static json_t *way(const json_t *answer, size_t at, const char *member)
{
    return json_object_get(json_array_get(json_object_get(answer, "ways"), at), member);
}

static const char *text_of(const json_t *object, const char *name)
{
    return json_string_value(json_object_get(object, name));
}

/* What `why` has of a cause and a fact; NULL. Borrowed of *ret. */
static const json_t *spoken(struct plant *p, int64_t case_id, const char *fact, json_t **ret)
{
    struct error err = {0};
    size_t i;
    json_t *one;
    if (tell_why(p->triage, p->f.store, case_id, "inhibitor-underdosed", ret, &err))
        fail_msg("%s", err.text);
    const json_t *cause = json_array_get(json_object_get(*ret, "causes"), 0);
    json_array_foreach(json_object_get(cause, "facts"), i, one)
    {
        if (strcmp(text_of(one, "fact"), fact) == 0)
            return one;
    }
    return NULL;
}

static int64_t complain(struct plant *p)
{
    fixture_records_changed(&p->f);
    return fixture_complain(&p->f, "mold", p->lot, AT(25, 15), "{\"found_on\":\"2026-06-20\"}");
}

static void a_spray_short_of_its_target_is_underdosed_by_its_name(void **state)
{
    static const char SPRAYED[] = "potassium_sorbate_surface_pct_flour";
    struct plant p;
    json_t *why;
    (void)state;
    open_plant(&p);
    forget_inhibitor(&p);
    target(&p, SPRAY, SPRAYED, 0.1);
    give(&p, "potassium-sorbate", "surface", 0.1, 0);
    fixture_sql(&p.f, "UPDATE material_use SET amount = 0.03 WHERE lot_id = %lld AND kind NOTNULL",
                (long long)p.lot);
    int64_t case_id = complain(&p);
    json_t *ranking = rank_of(&p, case_id);
    assert_string_equal(text_of(json_array_get(json_object_get(ranking, "ranked"), 0), "cause"),
                        "inhibitor-underdosed");
    const json_t *one = spoken(&p, case_id, SPRAYED, &why);
    assert_non_null(one);
    assert_string_equal(text_of(one, "name"), "Potassium sorbate dose, on the surface");
    assert_near(json_number_value(json_object_get(one, "value")), 0.03, 1e-9);
    assert_near(json_number_value(json_object_get(one, "target")), 0.1, 1e-9);
    json_decref(why);
    json_decref(ranking);
    close_plant(&p);
}

/* Of two that a lot has, the one that is short is spoken of, though the other is above. */
static void the_one_that_is_short_is_spoken_of(void **state)
{
    struct plant p;
    json_t *why;
    (void)state;
    open_plant(&p);
    target(&p, WHEAT, "cultured_wheat_pct_flour", 1);
    give(&p, "cultured-wheat", NULL, 1, 0);
    fixture_sql(&p.f, "UPDATE material_use SET amount = 0.4 WHERE lot_id = %lld AND kind NOTNULL",
                (long long)p.lot);
    fixture_sql(&p.f, "UPDATE reading SET value = 0.36 WHERE lot_id = %lld AND quantity_id = 5",
                (long long)p.lot);
    int64_t case_id = complain(&p);
    assert_non_null(spoken(&p, case_id, "cultured_wheat_pct_flour", &why));
    json_decref(why);
    fixture_sql(&p.f, "UPDATE reading SET value = 0.06 WHERE lot_id = %lld AND quantity_id = 5",
                (long long)p.lot);
    fixture_records_changed(&p.f);
    assert_non_null(spoken(&p, case_id, "inhibitor_pct_flour", &why));
    json_decref(why);
    close_plant(&p);
}

/* A first lot with what no recipe has and nobody had before. */
static void a_dose_without_a_target_says_nothing(void **state)
{
    struct plant p;
    json_t *why;
    (void)state;
    open_plant(&p);
    forget_inhibitor(&p);
    give(&p, "cultured-wheat", NULL, 0.2, 20);
    int64_t case_id = complain(&p);
    assert_null(spoken(&p, case_id, "cultured_wheat_pct_flour", &why));
    json_decref(why);
    json_t *facts;
    struct error err = {0};
    assert_int_equal(tell_facts(p.triage, p.f.store, case_id, &facts, &err), 0);
    size_t i;
    json_t *one;
    json_array_foreach(json_object_get(facts, "facts"), i, one)
    {
        if (strcmp(text_of(one, "fact"), "inhibitor_pct_flour") == 0)
            assert_null(json_object_get(one, "target"));
        /* the dose as recorded is no other than the dose as specified: nobody specified one */
        if (json_object_get(json_object_get(one, "change"), "recorded"))
            assert_near(json_number_value(json_array_get(json_object_get(one, "bits"), 0)), 0,
                        1e-9);
    }
    json_decref(facts);
    close_plant(&p);
}

static void assert_kinds(const json_t *list, const char *kinds)
{
    struct text_buffer text = {0};
    size_t i;
    json_t *one;
    json_array_foreach(list, i, one) text_appendf(&text, "%s%s %s", i ? ", " : "",
                                                  text_of(one, "kind"), text_of(one, "applied"));
    assert_string_equal(text.length ? text.data : "", kinds);
    text_buffer_free(&text);
}

/* The recipe still has the old one: it is what was specified, and no part of what was made. */
static void what_took_its_place_stands_alone(void **state)
{
    struct plant p;
    (void)state;
    open_plant(&p);
    fixture_sql(&p.f, "DELETE FROM reading WHERE quantity_id = 5 AND lot_id >= %lld",
                (long long)fixture_lot(18, 1, 0));
    give(&p, "cultured-wheat", NULL, 1.2, 18);
    fixture_records_changed(&p.f);
    json_t *answer = whatif_of(&p, (struct whatif){0});
    assert_kinds(way(answer, 0, "preserving"), "cultured-wheat dough");
    assert_kinds(way(answer, 1, "preserving"), "calcium-propionate dough");
    const json_t *strength =
        json_object_get(json_array_get(way(answer, 0, "preserving"), 0), "strength_pct");
    assert_true(json_is_false(json_object_get(strength, "told")));
    assert_near(json_number_value(json_object_get(strength, "low")), 4, 1e-9);
    assert_true(json_is_true(json_object_get(strength, "from_memory")));
    json_decref(answer);
    /* a certificate tells */
    fixture_sql(&p.f, "UPDATE material_use SET active_pct = 15 WHERE kind NOTNULL");
    fixture_records_changed(&p.f);
    answer = whatif_of(&p, (struct whatif){0});
    strength = json_object_get(json_array_get(way(answer, 0, "preserving"), 0), "strength_pct");
    assert_true(json_is_true(json_object_get(strength, "told")));
    assert_near(json_number_value(json_object_get(strength, "high")), 15, 1e-9);
    assert_true(json_is_false(json_object_get(strength, "from_memory")));
    json_decref(answer);
    close_plant(&p);
}

/* Of as many as a lot may have none is left out, and of those with several acids no acid. */
static void none_of_many_is_left_out(void **state)
{
    static const char *const KINDS[] = {
        "potassium-sorbate", "sodium-benzoate", "lactic-acid",     "tartaric-acid",
        "cultured-wheat",    "fermented-whey",  "fermented-flour", "acetic-acid",
        "sorbic-acid",       "benzoic-acid",    "propionic-acid",  "sodium-propionate"};
    enum { COUNT = sizeof KINDS / sizeof KINDS[0], TWO_ACIDS = 2 };
    struct plant p;
    (void)state;
    open_plant(&p);
    forget_inhibitor(&p);
    for (int i = 0; i < COUNT; i++) {
        give(&p, KINDS[i], NULL, 0.1, 18);
        if (i < COUNT / 2)
            give(&p, KINDS[i], "surface", 0.05, 18);
    }
    fixture_records_changed(&p.f);
    json_t *answer = whatif_of(&p, (struct whatif){0});
    assert_int_equal(json_array_size(way(answer, 0, "preserving")),
                     COUNT + TWO_ACIDS + COUNT / 2 + 1);
    json_decref(answer);
    close_plant(&p);
}

/* Beside what the lot has; each kind by its name, and the dose of what is there a lever. */
static void one_more_can_be_asked_for(void **state)
{
    struct plant p;
    (void)state;
    open_plant(&p);
    json_t *answer =
        whatif_of(&p, (struct whatif){.changes = {{"potassium_sorbate_surface_pct_flour", 0.1}},
                                      .change_count = 1});
    assert_kinds(way(answer, 2, "preserving"),
                 "calcium-propionate dough, potassium-sorbate surface");
    assert_true(json_number_value(json_object_get(way(answer, 2, "mold_free_days"), "typical")) >
                json_number_value(json_object_get(way(answer, 0, "mold_free_days"), "typical")));
    json_decref(answer);
    close_plant(&p);
}

/* Ranked, explained and predicted alike, to the last digit. */
static void the_plants_own_by_its_kind_is_the_same(void **state)
{
    json_t *ranked[2], *expected[2];
    (void)state;
    for (int named = 0; named < 2; named++) {
        struct plant p;
        open_plant(&p);
        fixture_sql(&p.f, "DELETE FROM reading WHERE quantity_id = 5");
        give(&p, NULL, NULL, 0.3, 0);
        fixture_sql(&p.f,
                    "UPDATE material_use SET amount = 0.2 WHERE lot_id = %lld AND"
                    " material = 'inhibitor'",
                    (long long)p.lot);
        if (named) {
            fixture_sql(&p.f, "UPDATE material_use SET kind = 'calcium-propionate', applied ="
                              " 'dough' WHERE material = 'inhibitor'");
            fixture_sql(&p.f,
                        "UPDATE quantity SET name = 'calcium_propionate_pct_flour' WHERE id = 5");
        }
        json_t *ranking = rank_of(&p, complain(&p));
        ranked[named] = json_incref(json_object_get(ranking, "ranked"));
        json_decref(ranking);
        expected[named] = whatif_of(&p, (struct whatif){.hold_days = 9, .share = 0.9});
        close_plant(&p);
    }
    assert_true(json_equal(ranked[0], ranked[1]));
    assert_true(json_equal(expected[0], expected[1]));
    for (int i = 0; i < 2; i++) {
        json_decref(ranked[i]);
        json_decref(expected[i]);
    }
}

/* What the records say of sorbate, and what a smell of fuel is then told as: NAN, where they say
 * nothing. */
static double sorbate_by(struct plant *p, double *ret_probability)
{
    struct error err = {0};
    json_t *why = NULL, *one;
    size_t i;
    double value = NAN;
    fixture_records_changed(&p->f);
    int64_t case_id = fixture_complain(&p->f, "off-odor", p->lot, AT(25, 15),
                                       "{\"observed\":{\"odor\":[\"hydrocarbon\"]}}");
    json_t *ranking = rank_of(p, case_id);
    json_array_foreach(json_object_get(ranking, "ranked"), i, one)
    {
        if (strcmp(text_of(one, "cause"), "inhibitor-broken-down") == 0)
            *ret_probability = json_number_value(json_object_get(one, "probability"));
    }
    if (tell_why(p->triage, p->f.store, case_id, "inhibitor-broken-down", &why, &err))
        fail_msg("%s", err.text);
    json_array_foreach(json_object_get(json_array_get(json_object_get(why, "causes"), 0), "facts"),
                       i, one)
    {
        if (strcmp(text_of(one, "fact"), "sorbate_used") == 0)
            value = json_number_value(json_object_get(one, "value"));
    }
    json_decref(why);
    json_decref(ranking);
    return value;
}

/* Where the records name what the bread is preserved with, sorbate cannot have been broken down in
 * bread that has none; where they name nothing all is as before. */
static void what_is_not_in_the_bread_is_not_broken_down(void **state)
{
    static const struct {
        const char *kind, *target; /* of a use; of the recipe */
        double pct, value;
    } ROWS[] = {
        {NULL, NULL, 0, NAN},
        {"calcium-propionate", NULL, 0, 0},
        {"potassium-sorbate", NULL, 0, 1},
        {NULL, "cultured_wheat_pct_flour", 1, 0},
        {NULL, "sorbic_acid_surface_pct_flour", 0.1, 1},
        {NULL, "potassium_sorbate_pct_flour", 0, NAN}, /* none is wanted, nor anything else */
        {"vinegar", NULL, 0, NAN}};                    /* what else there is it does not say */
    double unsaid = NAN;
    (void)state;
    for (size_t i = 0; i < sizeof ROWS / sizeof ROWS[0]; i++) {
        struct plant p;
        double probability = NAN;
        open_plant(&p);
        fixture_copy(&p.f, "rules", "cautions.json");
        fixture_copy(&p.f, "rules", "causes/inhibitor-broken-down.json");
        fixture_copy(&p.f, "rules", "causes/oil-taint.json");
        triage_free(p.triage);
        p.triage = fixture_triage(&p.f);
        forget_inhibitor(&p);
        if (ROWS[i].kind)
            give(&p, ROWS[i].kind, NULL, 0.3, 0);
        if (ROWS[i].target)
            target(&p, SPRAY, ROWS[i].target, ROWS[i].pct);
        double value = sorbate_by(&p, &probability);
        print_message("%s %s: sorbate %g, %.3f\n", ROWS[i].kind ? ROWS[i].kind : "",
                      ROWS[i].target ? ROWS[i].target : "", value, probability);
        assert_true(isnan(ROWS[i].value) ? isnan(value) : value == ROWS[i].value);
        unsaid = i ? unsaid : probability;
        if (isnan(ROWS[i].value) && ROWS[i].kind)
            assert_true(probability > unsaid / 2); /* what vinegar itself says of a smell */
        else if (isnan(ROWS[i].value))
            assert_true(fabs(probability - unsaid) < 1e-9);
        else
            assert_true(ROWS[i].value > 0 ? probability > unsaid : probability < unsaid / 4);
        close_plant(&p);
    }
}

/* Bread that is to have no inhibitor, and has none on record, has neither too much nor too little
 * of it; a dose that is on record is there all the same. */
static void what_no_recipe_wants_is_no_cause(void **state)
{
    static const struct {
        double target, kg;
        const char *kind;
        bool cause;
    } ROWS[] = {{0.3, 0, NULL, true},
                {0, 0, NULL, false},
                {0, 0.3, NULL, true},
                {0, 0.3, "potassium-sorbate", true}};
    (void)state;
    for (size_t i = 0; i < sizeof ROWS / sizeof ROWS[0]; i++) {
        struct plant p;
        struct error err = {0};
        size_t k;
        json_t *one, *ranking;
        double probability = 0;
        open_plant(&p);
        fixture_copy(&p.f, "rules", "cautions.json");
        fixture_copy(&p.f, "rules", "causes/inhibitor-overdosed.json");
        fixture_copy(&p.f, "rules", "causes/rope.json");
        triage_free(p.triage);
        p.triage = fixture_triage(&p.f);
        forget_inhibitor(&p);
        fixture_sql(&p.f, "INSERT INTO target(product_id, quantity_id, target) VALUES(1, 5, %g)",
                    ROWS[i].target);
        if (ROWS[i].kg > 0)
            give(&p, ROWS[i].kind, NULL, ROWS[i].kg, 0);
        fixture_records_changed(&p.f);
        int64_t id = fixture_complain(&p.f, "off-odor", p.lot, AT(22, 15),
                                      "{\"observed\":{\"odor\":[\"fruity\"]}}");
        if (tell_case(p.triage, p.f.store, id, &ranking, NULL, &err))
            fail_msg("%s", err.text);
        json_array_foreach(json_object_get(ranking, "ranked"), k, one)
        {
            if (strcmp(text_of(one, "cause"), "inhibitor-overdosed") == 0)
                probability = json_number_value(json_object_get(one, "probability"));
        }
        if ((probability > 0) != ROWS[i].cause)
            fail_msg("row %zu: %g", i, probability);
        json_decref(ranking);
        close_plant(&p);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_spray_short_of_its_target_is_underdosed_by_its_name),
        cmocka_unit_test(the_one_that_is_short_is_spoken_of),
        cmocka_unit_test(a_dose_without_a_target_says_nothing),
        cmocka_unit_test(what_took_its_place_stands_alone),
        cmocka_unit_test(none_of_many_is_left_out),
        cmocka_unit_test(one_more_can_be_asked_for),
        cmocka_unit_test(the_plants_own_by_its_kind_is_the_same),
        cmocka_unit_test(what_is_not_in_the_bread_is_not_broken_down),
        cmocka_unit_test(what_no_recipe_wants_is_no_cause),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

/* A case from records and complaints to the ranking and its views. */
#include "../rank/fixture.h"
#include "store/ranking.h"
#include "store/stage.h"
#include "store/verdict.h"
#include "tell/tell.h"
#include <pthread.h>

static void sample_rules(struct fixture *f)
{
    static const char *const FILES[] = {"causes/packed-hot.json",
                                        "causes/inhibitor-underdosed.json",
                                        "causes/contamination-slicer.json",
                                        "causes/old-stock.json",
                                        "causes/not-known.json",
                                        "asks.json"};
    for (size_t i = 0; i < sizeof FILES / sizeof FILES[0]; i++)
        fixture_copy(f, "tests/rank/rules", FILES[i]);
}

/* Line 1, day 20, first turn: packed at 47 °C. */
static int64_t hot_case(struct fixture *f)
{
    int64_t lot = fixture_lot(20, 1, 0);
    fixture_sql(f, "UPDATE reading SET value = 47 WHERE lot_id = %lld AND quantity_id = 1",
                (long long)lot);
    fixture_complain(f, "mold", lot, AT(25, 15),
                     "{\"found_on\":\"2026-06-20\",\"observed\":{\"where\":\"side\",\"wet_inside_"
                     "bag\":true,\"kept\":\"counter\"}}");
    return fixture_complain(f, "mold", lot, AT(26, 15), "{\"observed\":{\"where\":\"side\"}}");
}

static json_t *top_of(const json_t *ranking)
{
    return json_array_get(json_object_get(ranking, "ranked"), 0);
}

static const char *text_of(const json_t *object, const char *name)
{
    return json_string_value(json_object_get(object, name));
}

/* Who logs a complaint is told the same of its case, only less. */
static void assert_brief(struct triage *triage, struct fixture *f, int64_t case_id,
                         const json_t *all)
{
    static const char *const SAME[] = {"symptom", "harm", "harm_possible", "ask",
                                       "caller_cautions"};
    static const char *const OF_A_CAUSE[] = {"cause", "title", "probability"};
    json_t *brief = NULL;
    const json_t *causes = json_object_get(all, "ranked");
    assert_int_equal(tell_brief(triage, f->store, case_id, &brief, NULL), 0);
    for (size_t i = 0; i < sizeof SAME / sizeof *SAME; i++)
        assert_true(json_equal(json_object_get(brief, SAME[i]), json_object_get(all, SAME[i])));
    const json_t *first = json_object_get(brief, "ranked");
    assert_int_equal(json_array_size(first),
                     json_array_size(causes) < TELL_FIRST ? json_array_size(causes) : TELL_FIRST);
    for (size_t i = 0; i < json_array_size(first); i++) {
        const json_t *one = json_array_get(first, i);
        assert_int_equal(json_object_size(one), 3);
        for (size_t k = 0; k < 3; k++)
            assert_true(json_equal(json_object_get(one, OF_A_CAUSE[k]),
                                   json_object_get(json_array_get(causes, i), OF_A_CAUSE[k])));
    }
    json_decref(brief);
}

static json_t *rank_of(struct triage *triage, struct fixture *f, int64_t case_id)
{
    struct error err = {0};
    json_t *ranking = NULL;
    struct ranking kept;
    if (tell_case(triage, f->store, case_id, &ranking, &kept, &err))
        fail_msg("%s", err.text);
    assert_string_equal(kept.causes[0].cause, text_of(top_of(ranking), "cause"));
    ranking_clear(&kept);
    assert_brief(triage, f, case_id, ranking);
    return ranking;
}

/* Packed at 47 °C, where 38 is specified. */
static void what_would_have_held_is_said_of_the_first_cause(void **state)
{
    struct fixture f;
    (void)state;
    fixture_open(&f);
    fixture_plant(&f, 30);
    sample_rules(&f);
    struct triage *triage = fixture_triage(&f);
    int64_t id = hot_case(&f);
    json_t *ranking = rank_of(triage, &f, id), *actions = json_object_get(ranking, "actions");
    const char *held = text_of(ranking, "held");
    int days = 0, instead = 0, range[4] = {0};
    char still[80];
    assert_string_equal(text_of(top_of(ranking), "cause"), "packed-hot");
    assert_non_null(held);
    assert_int_equal(sscanf(held,
                            "Core temperature at packing at 38 °C or below, not 47, the middle one "
                            "of this lot's packs that carry a spore would have held %d days (%d to "
                            "%d) without mold instead of %d (%d to %d): half of them mold sooner.",
                            &days, &range[0], &range[1], &instead, &range[2], &range[3]),
                     6);
    assert_true(range[0] < days && days < range[1]);
    assert_true(range[2] < instead && instead < range[3]);
    assert_true(days > instead && instead > 0);
    assert_non_null(strstr(held, "It was packed warm, at 47.0 °C in a room of 22 °C: drops"));
    assert_string_equal(json_string_value(json_array_get(actions, json_array_size(actions) - 1)),
                        held);
    json_decref(ranking);
    /* longer, and yet not as long as it is sold */
    for (int life = days; life <= days + 1; life++) {
        fixture_sql(&f, "UPDATE product SET shelf_life_days = %d", life);
        fixture_records_changed(&f);
        snprintf(still, sizeof still, "That is still short of its shelf life of %d days.", life);
        ranking = rank_of(triage, &f, id);
        assert_int_equal(strstr(text_of(ranking, "held"), still) != NULL, life > days);
        json_decref(ranking);
    }
    /* as specified: nothing would have held longer */
    fixture_sql(&f, "UPDATE reading SET value = 38 WHERE lot_id = %lld AND quantity_id = 1",
                (long long)fixture_lot(20, 1, 0));
    fixture_records_changed(&f);
    ranking = rank_of(triage, &f, id);
    assert_null(json_object_get(ranking, "held"));
    json_decref(ranking);
    triage_free(triage);
    fixture_close(&f);
}

/* Sorbate, a tenth of what is specified: the rule speaks of the inhibitor, the models take both. */
static void what_would_have_held_is_said_of_a_named_ingredient(void **state)
{
    struct fixture f;
    (void)state;
    fixture_open(&f);
    fixture_plant(&f, 30);
    sample_rules(&f);
    fixture_sql(&f,
                "UPDATE quantity SET name = 'potassium_sorbate_pct_flour' WHERE id = 5;"
                "UPDATE reading SET value = 0.03 WHERE lot_id = %lld AND quantity_id = 5",
                (long long)fixture_lot(20, 1, 0));
    struct triage *triage = fixture_triage(&f);
    int64_t id = fixture_complain(&f, "mold", fixture_lot(20, 1, 0), AT(25, 15), "{}");
    json_t *ranking = rank_of(triage, &f, id);
    const char *held = text_of(ranking, "held");
    assert_string_equal(text_of(top_of(ranking), "cause"), "inhibitor-underdosed");
    assert_non_null(held);
    assert_non_null(strstr(held, "Potassium-sorbate dose at 0.3 % or above, not 0.03,"));
    assert_null(strstr(held, "packed warm"));
    json_decref(ranking);
    triage_free(triage);
    fixture_close(&f);
}

static void assert_sums_to_one(const json_t *ranking)
{
    double sum = 0;
    const json_t *ranked = json_object_get(ranking, "ranked");
    for (size_t i = 0; i < json_array_size(ranked); i++)
        sum += json_number_value(json_object_get(json_array_get(ranked, i), "probability"));
    assert_near(sum, 1, 1e-9);
}

static void test_hot_lot(void **state)
{
    struct fixture f;
    (void)state;
    fixture_open(&f);
    fixture_plant(&f, 40);
    sample_rules(&f);
    struct triage *triage = fixture_triage(&f);
    int64_t id = hot_case(&f);
    json_t *ranking = rank_of(triage, &f, id);
    assert_string_equal(text_of(top_of(ranking), "cause"), "packed-hot");
    assert_true(json_number_value(json_object_get(top_of(ranking), "probability")) > 0.8);
    assert_string_equal(text_of(json_array_get(json_object_get(ranking, "lots"), 0), "lot"),
                        "L161");
    assert_int_equal(json_array_size(json_object_get(ranking, "complaints")), 2);
    assert_true(json_array_size(json_object_get(ranking, "checks")) > 0);
    assert_sums_to_one(ranking);
    /* the same again, from kept and from fresh memory: the same bytes */
    json_t *again = rank_of(triage, &f, id);
    struct triage *fresh = fixture_triage(&f);
    json_t *anew = rank_of(fresh, &f, id);
    char *a = jsonx_dump(ranking), *b = jsonx_dump(again), *c = jsonx_dump(anew);
    assert_string_equal(a, b);
    assert_string_equal(a, c);
    free(a);
    free(b);
    free(c);
    json_decref(ranking);
    json_decref(again);
    json_decref(anew);
    triage_free(fresh);
    triage_free(triage);
    fixture_close(&f);
}

/* What came after the case's newest complaint is not looked at: complaints on other lots, plates,
 * readings. History replays to the same answer. */
static void test_replay(void **state)
{
    struct fixture f;
    (void)state;
    fixture_open(&f);
    fixture_plant(&f, 40);
    sample_rules(&f);
    int64_t id = hot_case(&f);
    struct triage *triage = fixture_triage(&f);
    json_t *before = rank_of(triage, &f, id);
    for (int i = 0; i < 12; i++)
        fixture_complain(&f, "mold", fixture_lot(20, 1, i % 3 + 1), AT(27, i), "{}");
    fixture_sql(&f, "INSERT INTO plantlog VALUES('slicer', 3, '', '1', %lld, 900, NULL)",
                (long long)AT(27, 0));
    fixture_sql(&f, "INSERT INTO reading VALUES(%lld, 1, %lld, '', 'late', 20, NULL)",
                (long long)fixture_lot(20, 1, 0), (long long)AT(27, 0));
    fixture_records_changed(&f);
    json_t *after = rank_of(triage, &f, id);
    char *a = jsonx_dump(before), *b = jsonx_dump(after);
    assert_string_equal(a, b);
    free(a);
    free(b);
    json_decref(before);
    json_decref(after);
    triage_free(triage);
    fixture_close(&f);
}

/* Film lots last five days here; one of the first day turns up again on day 20. */
static void test_age_of_material(void **state)
{
    struct fixture f;
    struct error err = {0};
    (void)state;
    fixture_open(&f);
    fixture_plant(&f, 30);
    sample_rules(&f);
    fixture_file(&f, "causes/forgotten.json",
                 "{\"id\":\"forgotten\",\"title\":\"t\",\"symptoms\":{\"mold\":1},\"evidence\":["
                 "{\"fact\":\"film_lot_age_days\",\"as\":\"z\",\"curve\":[[0,0],[8,4]],"
                 "\"because\":\"b\",\"source\":\"s\"}]}");
    int64_t lot = fixture_lot(20, 1, 2);
    fixture_sql(&f, "UPDATE material_use SET material_lot = 'F1-0' WHERE lot_id = %lld",
                (long long)lot);
    struct triage *triage = fixture_triage(&f);
    int64_t id = fixture_complain(&f, "mold", lot, AT(26, 0), "{}");
    json_t *why = NULL;
    assert_int_equal(tell_why(triage, f.store, id, "forgotten", &why, &err), 0);
    const json_t *fact = json_array_get(
        json_object_get(json_array_get(json_object_get(why, "causes"), 0), "facts"), 0);
    assert_string_equal(text_of(fact, "fact"), "film_lot_age_days");
    double usual = json_number_value(json_object_get(fact, "usual"));
    assert_near(json_number_value(json_object_get(fact, "value")), 20.5, 1e-3);
    assert_true(usual > 2 && usual < 4);
    assert_true(json_number_value(json_object_get(fact, "z")) > 8);
    assert_near(json_number_value(json_object_get(fact, "bits")), 4, 1e-9);
    json_decref(why);
    triage_free(triage);
    fixture_close(&f);
}

static int reach_as_of(struct triage *triage, struct fixture *f, const struct tell_asked *asked,
                       json_t **ret)
{
    struct error err = {0};
    int rc = tell_reach(triage, f->store, asked, ret, &err);
    if (rc)
        print_message("%s\n", err.text);
    return rc;
}

/* Swabs and cleanings are joined as of the lot's packing, on its line. */
/* How often a place was cleaned between its sample and the case's lot; -1: not said. */
static json_int_t cleanings_of(struct triage *triage, struct fixture *f, int64_t case_id,
                               const char *sample)
{
    struct error err = {0};
    json_t *told = NULL;
    json_int_t cleanings = -1;
    assert_int_equal(tell_facts(triage, f->store, case_id, &told, &err), 0);
    const json_t *facts = json_object_get(told, "facts");
    for (size_t i = 0; i < json_array_size(facts); i++) {
        const json_t *fact = json_array_get(facts, i);
        const json_t *number = json_object_get(fact, "cleanings");
        if (strcmp(text_of(fact, "fact"), sample) == 0 && number)
            cleanings = json_integer_value(number);
        assert_true(!number || strstr(text_of(fact, "fact"), "_rlu")); /* of samples alone */
    }
    json_decref(told);
    return cleanings;
}

static void test_places(void **state)
{
    struct fixture f;
    struct error err = {0};
    (void)state;
    fixture_open(&f);
    fixture_plant(&f, 40);
    sample_rules(&f);
    for (int day = 0; day < 30; day++)
        for (int line = 1; line <= 2; line++) {
            bool dirty = line == 1 && day >= 18 && day < 22;
            fixture_sql(&f, "INSERT INTO plantlog VALUES('slicer', 3, '', '%d', %lld, %d, NULL)",
                        line, (long long)AT(day, 2), dirty ? 400 : 4 + day % 3);
            fixture_sql(&f, "INSERT INTO plantlog VALUES('slicer', 4, '', '%d', %lld, %d, NULL)",
                        line, (long long)AT(day, 3), dirty ? 0 : 1);
        }
    struct triage *triage = fixture_triage(&f);
    static const char BODY[] = "{\"observed\":{\"where\":\"cut-face\"}}";
    int64_t dirty = fixture_complain(&f, "mold", fixture_lot(20, 1, 2), AT(26, 0), BODY);
    int64_t clean = fixture_complain(&f, "mold", fixture_lot(20, 2, 2), AT(26, 0), BODY);
    json_t *ranking = rank_of(triage, &f, dirty);
    assert_string_equal(text_of(top_of(ranking), "cause"), "contamination-slicer");
    double p = json_number_value(json_object_get(top_of(ranking), "probability"));
    json_decref(ranking);
    json_t *why = NULL;
    assert_int_equal(tell_why(triage, f.store, dirty, "contamination-slicer", &why, &err), 0);
    const json_t *facts =
        json_object_get(json_array_get(json_object_get(why, "causes"), 0), "facts");
    double missed = -1, hours = -1, swab = -1;
    for (size_t i = 0; i < json_array_size(facts); i++) {
        const json_t *fact = json_array_get(facts, i);
        double value = json_number_value(json_object_get(fact, "value"));
        if (strcmp(text_of(fact, "fact"), "slicer.cleaning_missed") == 0)
            missed = value;
        if (strcmp(text_of(fact, "fact"), "slicer.hours_since_cleaned") == 0)
            hours = value;
        if (strcmp(text_of(fact, "fact"), "slicer.swab_cfu.peak") == 0)
            swab = value;
        assert_non_null(json_object_get(fact, "source"));
    }
    assert_near(missed, 3, 1e-9);              /* days 18, 19 and 20 at 3 o'clock */
    assert_near(hours, 24 * 3 + 12 - 3, 1e-9); /* done last on day 17 at 3 */
    assert_near(swab, 400, 1e-9);
    json_decref(why);
    /* both were sampled at 2 of that day; at 3 one was cleaned, the other not */
    fixture_sql(&f, "INSERT INTO quantity VALUES(90, 'atp_rlu')");
    for (int line = 1; line <= 2; line++)
        fixture_sql(&f, "INSERT INTO plantlog VALUES('slicer', 90, '', '%d', %lld, 50, NULL)", line,
                    (long long)AT(20, 2));
    fixture_records_changed(&f);
    assert_int_equal(cleanings_of(triage, &f, clean, "slicer.atp_rlu"), 1);
    assert_int_equal(cleanings_of(triage, &f, dirty, "slicer.atp_rlu"), 0);
    fixture_sql(&f, "DELETE FROM plantlog WHERE quantity_id = 90");
    fixture_records_changed(&f);
    ranking = rank_of(triage, &f, clean);
    const json_t *ranked = json_object_get(ranking, "ranked");
    for (size_t i = 0; i < json_array_size(ranked); i++)
        if (strcmp(text_of(json_array_get(ranked, i), "cause"), "contamination-slicer") == 0)
            assert_true(json_number_value(
                            json_object_get(json_array_get(ranked, i), "probability")) < p - 0.3);
    json_decref(ranking);
    json_t *reach = NULL;
    struct tell_asked asked = {.case_id = dirty, .now_ms = AT(26, 0)};
    assert_int_equal(reach_as_of(triage, &f, &asked, &reach), 0);
    assert_true(json_is_false(json_object_get(reach, "words_alone"))); /* swabs say so, too */
    json_decref(reach);
    asked.case_id = clean; /* of that cause only what was said tells */
    asked.cause = "contamination-slicer";
    assert_int_equal(reach_as_of(triage, &f, &asked, &reach), 0);
    assert_true(json_is_true(json_object_get(reach, "words_alone")));
    json_decref(reach);
    asked = (struct tell_asked){.case_id = dirty, .now_ms = AT(26, 0)};
    assert_int_equal(reach_as_of(triage, &f, &asked, &reach), 0);
    const json_t *lots = json_object_get(reach, "lots");
    assert_true(json_array_size(lots) > 10);
    for (size_t i = 0; i < json_array_size(lots); i++) {
        const json_t *lot = json_array_get(lots, i);
        assert_string_equal(text_of(lot, "line"), "1");
        assert_string_not_equal(text_of(lot, "lot"), "L163"); /* its own */
        assert_true(json_number_value(json_object_get(lot, "probability")) <= p);
        assert_int_equal(json_array_size(json_object_get(lot, "routes")), 1);
        assert_true(json_is_true(json_object_get(lot, "in_code")));
    }
    assert_string_equal(text_of(reach, "in_code_on"), "2026-06-22"); /* not this machine's day */
    json_decref(reach);
    asked.now_ms = AT(60, 0);
    assert_int_equal(reach_as_of(triage, &f, &asked, &reach), 0);
    lots = json_object_get(reach, "lots");
    assert_true(json_array_size(lots) > 10);
    for (size_t i = 0; i < json_array_size(lots); i++)
        assert_true(json_is_false(json_object_get(json_array_get(lots, i), "in_code")));
    json_decref(reach);
    /* all that it was made of alike is told, not the nearest condition alone */
    fixture_sql(&f, "INSERT INTO material_use(lot_id, material, material_lot) VALUES"
                    "(163, 'inhibitor', 'CP'), (167, 'inhibitor', 'CP');"
                    "UPDATE reading SET value = 0.1 WHERE lot_id IN (163, 167) AND quantity_id = 5;"
                    "DELETE FROM plantlog");
    fixture_records_changed(&f);
    asked =
        (struct tell_asked){.case_id = dirty, .cause = "inhibitor-underdosed", .now_ms = AT(26, 0)};
    assert_int_equal(reach_as_of(triage, &f, &asked, &reach), 0);
    bool told = false;
    for (size_t i = 0; i < json_array_size(json_object_get(reach, "lots")); i++) {
        const json_t *lot = json_array_get(json_object_get(reach, "lots"), i);
        told = told || (strstr(text_of(lot, "because"), "same inhibitor lot") &&
                        strstr(text_of(lot, "because"), "made of the same mix"));
    }
    assert_true(told);
    json_decref(reach);
    triage_free(triage);
    fixture_close(&f);
}

/* Two lots of the same hours, and the cleaning of the place between them. */
static void a_lot_behind_a_cleaning_is_told_apart(void **state)
{
    struct fixture f;
    (void)state;
    fixture_open(&f);
    fixture_plant(&f, 40);
    sample_rules(&f);
    for (int day = 0; day < 30; day++)
        fixture_sql(&f, "INSERT INTO plantlog VALUES('slicer', 4, '', '1', %lld, %d, NULL)",
                    (long long)AT(day, 3), day < 18 || day >= 22);
    struct triage *triage = fixture_triage(&f);
    struct tell_asked asked = {
        .case_id = fixture_complain(&f, "mold", fixture_lot(22, 1, 0), AT(26, 0), "{}"),
        .cause = "contamination-slicer",
        .now_ms = AT(26, 0)};
    json_t *reach = NULL;
    assert_int_equal(reach_as_of(triage, &f, &asked, &reach), 0);
    const json_t *lots = json_object_get(reach, "lots"), *one;
    double before = NAN, after = NAN;
    size_t i;
    json_array_foreach(lots, i, one)
    {
        double p = json_number_value(json_object_get(one, "probability"));
        bool parted = strstr(text_of(one, "because"), "but the slicer was cleaned between the two");
        if (strcmp(text_of(one, "lot"), "L172") == 0) { /* six hours before */
            assert_non_null(strstr(text_of(one, "because"), "between the same two cleanings"));
            assert_false(parted);
            before = p;
        }
        if (strcmp(text_of(one, "lot"), "L178") == 0) { /* six hours after, cleaned halfway */
            assert_true(parted);
            after = p;
        }
    }
    assert_true(after < before / 2);
    json_decref(reach);
    triage_free(triage);
    fixture_close(&f);
}

static const json_t *reached(const json_t *reach, const char *lot)
{
    size_t i;
    const json_t *one;
    json_array_foreach(json_object_get(reach, "lots"), i, one)
    {
        if (strcmp(text_of(one, "lot"), lot) == 0)
            return one;
    }
    return NULL;
}

static const char *nth_reached(const json_t *reach, size_t nth)
{
    return text_of(json_array_get(json_object_get(reach, "lots"), nth), "lot");
}

static json_t *reach_of(struct triage *triage, struct fixture *f, const char *symptom,
                        const char *harm)
{
    char body[80];
    struct error err = {0};
    json_t *reach = NULL;
    snprintf(body, sizeof body, "{\"harm\":[\"%s\"]}", harm);
    int64_t id = fixture_complain(f, symptom, fixture_lot(20, 1, 1), AT(26, 0), body);
    fixture_sql(f, "UPDATE complaint SET harm = 1, body = '%s' WHERE case_id = %lld", body,
                (long long)id);
    const struct tell_asked asked = {.case_id = id, .now_ms = AT(26, 0)};
    if (tell_reach(triage, f->store, &asked, &reach, &err))
        fail_msg("%s", err.text);
    return reach;
}

/* L162, run on day 20 between two of another product, with flour that all lots of eleven days had.
 */
static void harmed_plant(struct fixture *f)
{
    fixture_open(f);
    fixture_plant(f, 40);
    sample_rules(f);
    fixture_sql(f, "INSERT INTO product(id, product, name, family, shelf_life_days, unit_g, gtin)"
                   " VALUES(2, 'R', 'Rye', 'pan-bread', 10, 680, NULL);"
                   "UPDATE lot SET product_id = 2 WHERE line = '1' AND (id - 1) / 8 IN (19, 21);"
                   "INSERT INTO material_use(lot_id, material, material_lot) SELECT id, 'flour',"
                   " 'FL' FROM lot WHERE (id - 1) / 8 BETWEEN 15 AND 25;"
                   "INSERT INTO hold(lot_id, code, fold, reason, by_name, by_user, at_ms, ended_ms,"
                   " disposition, end_reason, ended_by, ended_user) VALUES(163, 'L163', 'L163',"
                   " 'wet', 'mira', 'u', 1, 2, 'destroy', 'wet', 'mira', 'u')");
}

/* A label is a matter of the run, of what ran before and after it, and of the bags. */
static void test_reach_of_a_wrong_label(void **state)
{
    struct fixture f;
    (void)state;
    harmed_plant(&f);
    struct triage *triage = fixture_triage(&f);
    json_t *reach = reach_of(triage, &f, "other", "wrong-label");
    assert_string_equal(nth_reached(reach, 0), "L156");
    assert_string_equal(nth_reached(reach, 1), "L169");
    assert_string_equal(nth_reached(reach, 2), "L161");
    assert_string_equal(nth_reached(reach, 3), "L163");
    assert_string_equal(text_of(reached(reach, "L163"), "came_of_it"), "destroyed (by mira: wet)");
    assert_string_equal(text_of(reached(reach, "L196"), "because"), "same film lot F1-4");
    assert_null(reached(reach, "L166")); /* shares a mix on the other line */
    assert_int_equal(json_array_size(json_object_get(reach, "lots")), 20);
    assert_int_equal(json_array_size(json_object_get(reach, "carry_no_label")), 2);
    assert_null(json_object_get(reach, "common"));
    assert_null(json_object_get(reach, "causes"));
    json_decref(reach);
    triage_free(triage);
    fixture_close(&f);
}

/* Beside words that may be harm no cause is named either, but where it is asked for. */
static void test_reach_of_what_may_be_harm(void **state)
{
    struct fixture f;
    struct error err = {0};
    (void)state;
    harmed_plant(&f);
    struct triage *triage = fixture_triage(&f);
    int64_t id =
        fixture_complain(&f, "mold", fixture_lot(20, 1, 1), AT(26, 0), "{\"harm_possible\":true}");
    struct tell_asked asked = {.case_id = id, .now_ms = AT(26, 0)};
    for (int named = 0; named < 2; named++) {
        json_t *reach = NULL;
        asked.cause = named ? "packed-hot" : NULL;
        if (tell_reach(triage, f.store, &asked, &reach, &err))
            fail_msg("%s", err.text);
        assert_int_equal(json_object_get(reach, "cause") != NULL, named);
        assert_int_equal(json_object_get(reach, "by") != NULL, !named);
        assert_true(json_is_true(json_object_get(reach, "harm_possible")));
        assert_true(named || json_array_size(json_object_get(reach, "lots")) > 0);
        json_decref(reach);
    }
    triage_free(triage);
    fixture_close(&f);
}

/* Of a lot that is open each that it may be is named, and how many more it may be. */
static void test_reach_of_an_open_lot(void **state)
{
    struct fixture f;
    struct error err = {0};
    json_t *reach = NULL;
    (void)state;
    harmed_plant(&f);
    struct triage *triage = fixture_triage(&f);
    int64_t id = fixture_complain(&f, "other", 0, AT(26, 0), "{\"harm\":[\"foreign-matter\"]}");
    fixture_sql(&f,
                "UPDATE complaint SET harm = 1 WHERE case_id = %lld;"
                "INSERT OR IGNORE INTO complaint_lot SELECT id, 161, 0.1 FROM complaint WHERE"
                " case_id = %lld",
                (long long)id, (long long)id);
    const struct complaint_lot may_be[] = {{161, 0.1}, {162, 0.1}, {163, 0.02}};
    const struct tell_asked asked = {
        .case_id = id, .now_ms = AT(26, 0), .may_be = may_be, .may_be_count = 3, .left_out = 7};
    if (tell_reach(triage, f.store, &asked, &reach, &err))
        fail_msg("%s", err.text);
    assert_int_equal(json_array_size(json_object_get(reach, "lots")), 3);
    assert_non_null(reached(reach, "L163"));
    assert_true(json_is_true(json_object_get(reach, "more")));
    assert_int_equal(json_integer_value(json_object_get(reach, "left_out")), 7);
    json_decref(reach);
    triage_free(triage);
    fixture_close(&f);
}

static bool tells(const json_t *list, const char *what)
{
    size_t i;
    const json_t *text;
    json_array_foreach(list, i, text)
    {
        if (strstr(json_string_value(text), what))
            return true;
    }
    return false;
}

/* A pack blown up by gas stays closed, whoever reads it and whatever the symptom. */
static void test_a_blown_pack_is_minded(void **state)
{
    static const char *const SYMPTOMS_OF[] = {"off-odor", "staling", "other"};
    struct fixture f;
    struct error err = {0};
    (void)state;
    fixture_open(&f);
    fixture_plant(&f, 30);
    sample_rules(&f);
    fixture_copy(&f, "rules", "cautions.json");
    struct triage *triage = fixture_triage(&f);
    for (size_t i = 0; i < 2 * sizeof SYMPTOMS_OF / sizeof *SYMPTOMS_OF; i++) {
        const char *symptom = SYMPTOMS_OF[i / 2];
        bool blown = i % 2 == 0;
        json_t *told = NULL, *before = NULL;
        json_t *body = json_pack("{s:s, s:{s:s}}", "symptom", symptom, "observed", "bag",
                                 blown ? "blown" : "torn");
        const struct complaint_lots none = {0};
        int64_t id = fixture_complain(&f, symptom, 150 + (int64_t)i, AT(26, 0),
                                      blown ? "{\"observed\":{\"bag\":\"blown\"}}"
                                            : "{\"observed\":{\"bag\":\"torn\"}}");
        if (tell_case(triage, f.store, id, &told, NULL, &err) ||
            tell_preview(triage, f.store, body, &none, &before, &err))
            fail_msg("%s", err.text);
        const json_t *callers = json_object_get(told, "caller_cautions");
        assert_true(tells(callers, "do not open it indoors") == blown);
        assert_true(tells(json_object_get(told, "cautions"), "do not open it indoors") == blown);
        assert_true(tells(json_object_get(told, "cautions"), "licensed laboratory") == blown);
        assert_false(tells(callers, "licensed laboratory")); /* no news for a caller */
        assert_true(tells(json_object_get(before, "caller_cautions"), "do not open") == blown);
        json_decref(body);
        json_decref(told);
        json_decref(before);
    }
    triage_free(triage);
    fixture_close(&f);
}

/* Film that three products ran on bears no label; of two, one may be in the other's bags. */
static void test_plain_film_is_no_label(void **state)
{
    static const char *const HARMS[] = {"wrong-label", "allergic-reaction"};
    struct fixture f;
    (void)state;
    for (size_t i = 0; i < sizeof HARMS / sizeof HARMS[0]; i++) {
        harmed_plant(&f);
        fixture_sql(&f, "INSERT INTO product(id, product, name, family, shelf_life_days, unit_g)"
                        " VALUES(3, 'H', 'Wheat', 'pan-bread', 10, 680);"
                        "UPDATE lot SET product_id = 3 WHERE id = 194");
        struct triage *triage = fixture_triage(&f);
        json_t *reach = reach_of(triage, &f, "other", HARMS[i]);
        const json_t *common = json_object_get(reach, "common");
        const json_t *film = json_array_get(common, json_array_size(common) - 1);
        for (size_t k = 0; k < json_array_size(common); k++)
            if (strstr(text_of(json_array_get(common, k), "shares"), "film"))
                film = json_array_get(common, k);
        assert_string_equal(text_of(film, "shares"), "same film lot F1-4");
        assert_int_equal(json_integer_value(json_object_get(film, "lots")), 20);
        assert_int_equal(json_integer_value(json_object_get(film, "products")), 3);
        assert_null(reached(reach, "L196"));
        assert_non_null(reached(reach, "L161"));
        json_decref(reach);
        triage_free(triage);
        fixture_close(&f);
    }
}

static void test_reach_of_other_harm(void **state)
{
    struct fixture f;
    (void)state;
    harmed_plant(&f);
    struct triage *triage = fixture_triage(&f);
    json_t *allergen = reach_of(triage, &f, "mold", "allergic-reaction");
    assert_string_equal(nth_reached(allergen, 0), "L156");
    assert_string_equal(text_of(reached(allergen, "L166"), "because"), "same mix M1");
    const json_t *common = json_array_get(json_object_get(allergen, "common"), 0);
    assert_string_equal(text_of(common, "shares"), "same flour lot FL");
    assert_int_equal(json_integer_value(json_object_get(common, "lots")), 88);
    assert_true(json_is_true(json_object_get(allergen, "causes")));
    json_t *metal = reach_of(triage, &f, "staling", "foreign-matter");
    assert_string_equal(nth_reached(metal, 0), "L161");
    assert_null(reached(metal, "L156"));
    assert_non_null(reached(metal, "L196"));
    assert_int_equal(json_array_size(json_object_get(metal, "common")), 1);
    json_decref(metal);
    json_decref(allergen);
    triage_free(triage);
    fixture_close(&f);
}

/* Whoever did it was where the packs lay: lots sent to the same store while they were in code, and
 * none of another store, none that was out of code. */
static void test_reach_of_tampering(void **state)
{
    struct fixture f;
    (void)state;
    harmed_plant(&f);
    fixture_sql(&f, "DELETE FROM dispatch");
    static const struct {
        int day, line;
        const char *store;
    } SENT[] = {{20, 1, "0417"}, {14, 2, "0417"}, {24, 2, "0417"}, {13, 2, "0418"}, {5, 2, "0417"}};
    for (size_t i = 0; i < sizeof SENT / sizeof *SENT; i++) {
        const long long lot = (long long)fixture_lot(SENT[i].day, SENT[i].line, 1);
        fixture_sql(&f,
                    "INSERT INTO dispatch(lot_id, route, store, at_ms, units, transit_c) SELECT"
                    " %lld, 'R9', '%s', packed_to_ms + 3600000, 10, 20 FROM lot WHERE id = %lld",
                    lot, SENT[i].store, lot);
    }
    struct triage *triage = fixture_triage(&f);
    json_t *reach = reach_of(triage, &f, "other", "tampering");
    static const char *const WAYS[] = {
        "sent to a store this lot went to while it was in code; nobody names that store",
        "sent to the same store while it was in code"};
    static const bool REACHED[] = {false, true, true, false, false};
    const struct tell_asked asked = {.case_id = 1, .now_ms = AT(26, 0)};
    for (size_t i = 1; i < 2 * sizeof SENT / sizeof *SENT; i++) {
        const size_t k = i % (sizeof SENT / sizeof *SENT), named = i >= sizeof SENT / sizeof *SENT;
        char code[16];
        if (!k) { /* a caller says which */
            fixture_sql(&f, "UPDATE complaint SET store = '0417'");
            json_decref(reach);
            assert_int_equal(reach_as_of(triage, &f, &asked, &reach), 0);
            continue;
        }
        snprintf(code, sizeof code, "L%lld", (long long)fixture_lot(SENT[k].day, SENT[k].line, 1));
        const json_t *one = reached(reach, code);
        bool by_store = one && strcmp(text_of(one, "because"), WAYS[named]) == 0;
        if (by_store != REACHED[k])
            fail_msg("%s: %s", code, one ? text_of(one, "because") : "not reached");
    }
    json_decref(reach);
    triage_free(triage);
    fixture_close(&f);
}

/* An open lot: the mixture of its candidates, and of none of them. */
static void test_mixture(void **state)
{
    struct fixture f;
    struct error err = {0};
    (void)state;
    fixture_open(&f);
    fixture_plant(&f, 40);
    sample_rules(&f);
    hot_case(&f);
    struct triage *triage = fixture_triage(&f);
    json_t *body = json_pack("{s:s, s:s, s:{s:s}}", "symptom", "mold", "received_at",
                             "2026-06-21T12:00:00Z", "observed", "where", "side");
    const struct complaint_lots none = {0};
    double share[3] = {0};
    for (int i = 0; i < 3; i++) {
        const struct complaint_lots lots = {
            .count = 2,
            .lot = {{fixture_lot(20, 1, 0), 0.5 * i}, {fixture_lot(20, 2, 0), 0.4 - 0.2 * i}}};
        json_t *ranking = NULL;
        assert_int_equal(tell_preview(triage, f.store, body, &lots, &ranking, &err), 0);
        const json_t *ranked = json_object_get(ranking, "ranked");
        for (size_t k = 0; k < json_array_size(ranked); k++)
            if (strcmp(text_of(json_array_get(ranked, k), "cause"), "packed-hot") == 0)
                share[i] =
                    json_number_value(json_object_get(json_array_get(ranked, k), "probability"));
        json_decref(ranking);
    }
    assert_true(share[0] < share[1] && share[1] < share[2]);
    json_t *ranking = NULL;
    assert_int_equal(tell_preview(triage, f.store, body, &none, &ranking, &err), 0);
    assert_int_equal(json_array_size(json_object_get(ranking, "ranked")), TELL_FIRST);
    json_decref(ranking);
    json_decref(body);
    body = json_pack("{s:s}", "symptom", "moldy");
    assert_int_equal(tell_preview(triage, f.store, body, &none, &ranking, &err), ERROR_INVALID);
    assert_string_equal(err.field, "symptom");
    json_decref(body);
    triage_free(triage);
    fixture_close(&f);
}

static void test_harm_first(void **state)
{
    struct fixture f;
    (void)state;
    fixture_open(&f);
    fixture_plant(&f, 30);
    sample_rules(&f);
    struct triage *triage = fixture_triage(&f);
    int64_t id =
        fixture_complain(&f, "mold", fixture_lot(15, 1, 0), AT(20, 0), "{\"harm\":[\"illness\"]}");
    json_t *ranking = rank_of(triage, &f, id);
    assert_true(json_is_true(json_object_get(ranking, "harm")));
    const json_t *harms = json_object_get(ranking, "harms"), *told = json_array_get(harms, 0);
    assert_int_equal(json_array_size(harms), 1);
    assert_string_equal(json_string_value(json_array_get(json_object_get(told, "harm"), 0)),
                        "illness");
    assert_non_null(json_object_get(told, "at"));
    const json_t *cautions = json_object_get(ranking, "cautions");
    assert_non_null(strstr(json_string_value(json_array_get(cautions, 0)), "medical help"));
    json_decref(ranking);
    triage_free(triage);
    fixture_close(&f);
}

/* What is known is not asked; the caller's questions come first; `why` tells what would flip. */
static void test_ask_and_why(void **state)
{
    struct fixture f;
    struct error err = {0};
    (void)state;
    fixture_open(&f);
    fixture_plant(&f, 30);
    sample_rules(&f);
    struct triage *triage = fixture_triage(&f);
    int64_t id = fixture_complain(&f, "mold", fixture_lot(15, 1, 0), AT(20, 0),
                                  "{\"observed\":{\"wet_inside_bag\":false}}");
    json_t *asked = NULL;
    assert_int_equal(tell_ask(triage, f.store, id, &asked, &err), 0);
    const json_t *list = json_object_get(asked, "ask");
    assert_true(json_array_size(list) > 0);
    double last = INFINITY;
    for (size_t i = 0; i < json_array_size(list); i++) {
        const json_t *one = json_array_get(list, i);
        /* to a thousandth, what makes the first one right before what only tells */
        double gain = 1000 * json_number_value(json_object_get(one, "gain_first")) +
                      json_number_value(json_object_get(one, "gain_bits")) / 1000;
        assert_string_not_equal(text_of(json_array_get(list, i), "fact"), "wet_inside_bag");
        assert_true(gain > 0 && gain <= last);
        last = gain;
    }
    json_decref(asked);
    int64_t hot = hot_case(&f);
    json_t *why = NULL;
    assert_int_equal(tell_why(triage, f.store, hot, NULL, &why, &err), 0);
    const json_t *causes = json_object_get(why, "causes");
    assert_int_equal(json_array_size(causes), 5);
    bool shown_twice = false;
    const json_t *facts = json_object_get(json_array_get(causes, 0), "facts");
    for (size_t i = 0; i < json_array_size(facts); i++)
        shown_twice =
            shown_twice || json_is_false(json_object_get(json_array_get(facts, i), "counted"));
    assert_true(shown_twice); /* the same heat, read twice: shown, counted once */
    json_decref(why);
    assert_int_equal(tell_why(triage, f.store, hot, "no-such", &why, &err), ERROR_NOT_FOUND);
    assert_int_equal(tell_why(triage, f.store, 999, NULL, &why, &(struct error){0}),
                     ERROR_NOT_FOUND);
    triage_free(triage);
    fixture_close(&f);
}

static void test_flip(void **state)
{
    struct fixture f;
    struct error err = {0};
    (void)state;
    fixture_open(&f);
    fixture_plant(&f, 30);
    sample_rules(&f);
    struct triage *triage = fixture_triage(&f);
    int64_t lot = fixture_lot(15, 1, 0);
    fixture_sql(&f, "UPDATE reading SET value = 46 WHERE lot_id = %lld AND quantity_id = 1",
                (long long)lot);
    int64_t id = fixture_complain(&f, "mold", lot, AT(21, 0), "{}");
    json_t *why = NULL;
    assert_int_equal(tell_why(triage, f.store, id, "packed-hot", &why, &err), 0);
    const json_t *flips = json_object_get(why, "flips");
    bool found = false;
    for (size_t i = 0; i < json_array_size(flips); i++) {
        const json_t *flip = json_array_get(flips, i);
        if (strcmp(text_of(flip, "fact"), "core_at_pack_c") != 0)
            continue;
        double to = json_number_value(json_object_get(flip, "to"));
        found = true;
        assert_true(to > 36 && to < 46);
        assert_non_null(strstr(text_of(flip, "text"), "packed-hot falls to"));
    }
    assert_true(found);
    json_decref(why);
    triage_free(triage);
    fixture_close(&f);
}

static void test_lot_view(void **state)
{
    struct fixture f;
    struct error err = {0};
    (void)state;
    fixture_open(&f);
    fixture_plant(&f, 30);
    sample_rules(&f);
    struct triage *triage = fixture_triage(&f);
    json_t *lot = NULL;
    assert_int_equal(tell_lot(triage, f.store, fixture_lot(20, 2, 1), &lot, &err), 0);
    assert_string_equal(text_of(lot, "product"), "W");
    const json_t *days = json_object_get(json_object_get(lot, "prediction"), "mold_free_days");
    double made = json_number_value(json_object_get(json_object_get(days, "as_made"), "typical"));
    assert_true(made > 2 && made < 60);
    bool core = false;
    const json_t *readings = json_object_get(lot, "readings");
    for (size_t i = 0; i < json_array_size(readings); i++) {
        const json_t *reading = json_array_get(readings, i);
        if (strcmp(text_of(reading, "quantity"), "core_at_pack_c") == 0) {
            core = true;
            assert_near(json_number_value(json_object_get(reading, "target")), 38, 1e-9);
            assert_near(json_number_value(json_object_get(reading, "usual")), 38, 0.2);
        }
    }
    assert_true(core);
    json_decref(lot);
    assert_int_equal(tell_lot(triage, f.store, 99999, &lot, &err), ERROR_NOT_FOUND);
    triage_free(triage);
    fixture_close(&f);
}

/* Verdicts: priors move by them, but not those of cases before them; scores count them. */
static void test_verdicts(void **state)
{
    struct fixture f;
    struct error err = {0};
    (void)state;
    fixture_open(&f);
    fixture_plant(&f, 40);
    sample_rules(&f);
    struct triage *triage = fixture_triage(&f);
    int64_t early = fixture_complain(&f, "mold", fixture_lot(10, 1, 0), AT(15, 0), "{}");
    int64_t late = fixture_complain(&f, "mold", fixture_lot(30, 1, 0), AT(36, 0), "{}");
    json_t *early_before = rank_of(triage, &f, early), *late_before = rank_of(triage, &f, late);
    for (int i = 0; i < 10; i++) {
        int64_t id = fixture_complain(&f, "mold", fixture_lot(11 + i, 2, 0), AT(18 + i, 0), "{}");
        json_t *told = NULL;
        struct ranking ranking;
        assert_int_equal(tell_case(triage, f.store, id, &told, &ranking, &err), 0);
        assert_int_equal(store_begin(f.store, &err), 0);
        assert_int_equal(ranking_save(f.store, &ranking, &err), 0);
        const struct verdict_new verdict = {
            id, AT(30, i), i < 8 ? "old-stock" : "packed-hot", "inspection", "", "qa"};
        if (verdict_add(f.store, &verdict, &err))
            fail_msg("%s", err.text);
        assert_int_equal(store_commit(f.store, &err), 0);
        ranking_clear(&ranking);
        json_decref(told);
    }
    json_t *early_after = rank_of(triage, &f, early), *late_after = rank_of(triage, &f, late);
    double before = 0, after = 0;
    for (size_t i = 0; i < 5; i++) {
        const json_t *x = json_array_get(json_object_get(late_before, "ranked"), i);
        const json_t *y = json_array_get(json_object_get(late_after, "ranked"), i);
        if (strcmp(text_of(x, "cause"), "old-stock") == 0)
            before = json_number_value(json_object_get(x, "probability"));
        if (strcmp(text_of(y, "cause"), "old-stock") == 0)
            after = json_number_value(json_object_get(y, "probability"));
    }
    assert_true(after > before);
    assert_true(json_equal(early_before, early_after));
    json_decref(early_before);
    json_decref(early_after);
    json_decref(late_before);
    json_decref(late_after);
    json_t *scores = NULL;
    if (tell_scores(triage, f.store, &(struct stage_of){{0, AT(100, 0)}, NULL}, &scores, &err))
        fail_msg("%s", err.text);
    assert_int_equal(json_integer_value(json_object_get(scores, "verdicts")), 10);
    double top3 = json_number_value(json_object_get(scores, "top3"));
    assert_true(top3 >= json_number_value(json_object_get(scores, "top1")) && top3 <= 1);
    assert_true(json_number_value(json_object_get(scores, "log_score")) > 0);
    assert_true(json_array_size(json_object_get(scores, "calibration")) > 0);
    assert_true(json_is_array(json_object_get(scores, "proposals")));
    json_decref(scores);
    triage_free(triage);
    fixture_close(&f);
}

/* What is kept tells again what was told: all but the texts of the rules, and no more than six
 * decimals of a probability. */
static void test_kept(void **state)
{
    struct fixture f;
    struct error err = {0};
    json_t *told = NULL, *again = NULL;
    struct ranking ranking, read;
    (void)state;
    fixture_open(&f);
    fixture_plant(&f, 40);
    sample_rules(&f);
    struct triage *triage = fixture_triage(&f);
    int64_t id = hot_case(&f);
    assert_int_equal(tell_case(triage, f.store, id, &told, &ranking, &err), 0);
    assert_int_equal(store_begin(f.store, &err), 0);
    assert_int_equal(ranking_save(f.store, &ranking, &err), 0);
    assert_int_equal(store_commit(f.store, &err), 0);
    assert_int_equal(ranking_get(f.store, id, 0, &read, &err), 0);
    assert_true(ranking_same(&ranking, &read));
    assert_true(ranking.item_count > 0);
    assert_int_equal(tell_kept(triage, f.store, id, 1, &again, &err), 0);
    json_t *ranked = json_object_get(told, "ranked");
    for (size_t i = 0; i < json_array_size(ranked); i++) {
        const json_t *cause = json_array_get(ranked, i);
        json_t *sides[] = {json_object_get(cause, "for"), json_object_get(cause, "against")};
        json_real_set(json_object_get(cause, "probability"),
                      round(1e6 * ranking.causes[i].probability) / 1e6);
        for (size_t k = 0; k < json_array_size(sides[0]); k++)
            json_object_del(json_array_get(sides[0], k), "because");
        for (size_t k = 0; k < json_array_size(sides[1]); k++)
            json_object_del(json_array_get(sides[1], k), "because");
        for (int k = 0; k < 2 && !tell_mailed_why((int)i, ranking.causes[i].probability); k++)
            json_array_clear(sides[k]);
    }
    char *was = jsonx_dump(ranked), *is = jsonx_dump(json_object_get(again, "ranked"));
    json_t *as_told = NULL, *as_kept = NULL;
    assert_int_equal(jsonx_parse(was, strlen(was), &as_told, &err), 0);
    assert_int_equal(jsonx_parse(is, strlen(is), &as_kept, &err), 0);
    if (!json_equal(as_told, as_kept))
        fail_msg("told %s\nkept %s", was, is);
    assert_int_equal(tell_kept(triage, f.store, id, 2, &again, &err), ERROR_NOT_FOUND);
    json_decref(as_told);
    json_decref(as_kept);
    free(was);
    free(is);
    json_decref(told);
    json_decref(again);
    ranking_clear(&ranking);
    ranking_clear(&read);
    triage_free(triage);
    fixture_close(&f);
}

/* Several readers, each with its own connection, one snapshot: the same bytes as alone. */
struct reader {
    pthread_t thread;
    struct triage *triage;
    const char *dir;
    const int64_t *cases;
    char **expected;
    int count, wrong;
};

static void *read_cases(void *arg)
{
    struct reader *reader = arg;
    struct store *store;
    struct error err = {0};
    if (store_open(reader->dir, STORE_READ, &store, &err))
        return NULL;
    for (int round = 0; round < 3; round++)
        for (int i = 0; i < reader->count; i++) {
            json_t *ranking = NULL;
            if (tell_case(reader->triage, store, reader->cases[i], &ranking, NULL, &err)) {
                reader->wrong++;
                continue;
            }
            char *text = jsonx_dump(ranking);
            reader->wrong += strcmp(text, reader->expected[i]) != 0;
            free(text);
            json_decref(ranking);
        }
    store_close(store);
    return NULL;
}

static void test_threads(void **state)
{
    enum { CASES = 12, READERS = 4 };
    struct fixture f;
    struct reader readers[READERS];
    int64_t cases[CASES];
    char *expected[CASES];
    (void)state;
    fixture_open(&f);
    fixture_plant(&f, 40);
    sample_rules(&f);
    for (int i = 0; i < CASES; i++)
        cases[i] = fixture_complain(&f, "mold", fixture_lot(12 + i, 1 + i % 2, i % 4),
                                    AT(18 + i, 0), "{\"observed\":{\"where\":\"side\"}}");
    struct triage *alone = fixture_triage(&f);
    for (int i = 0; i < CASES; i++) {
        json_t *ranking = rank_of(alone, &f, cases[i]);
        expected[i] = jsonx_dump(ranking);
        json_decref(ranking);
    }
    struct triage *shared = fixture_triage(&f);
    for (int i = 0; i < READERS; i++) {
        readers[i] = (struct reader){0, shared, f.dir, cases, expected, CASES, 0};
        assert_int_equal(pthread_create(&readers[i].thread, NULL, read_cases, &readers[i]), 0);
    }
    for (int i = 0; i < READERS; i++) {
        pthread_join(readers[i].thread, NULL);
        assert_int_equal(readers[i].wrong, 0);
    }
    for (int i = 0; i < CASES; i++)
        free(expected[i]);
    triage_free(alone);
    triage_free(shared);
    fixture_close(&f);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_would_have_held_is_said_of_the_first_cause),
        cmocka_unit_test(what_would_have_held_is_said_of_a_named_ingredient),
        cmocka_unit_test(test_hot_lot),
        cmocka_unit_test(test_replay),
        cmocka_unit_test(test_age_of_material),
        cmocka_unit_test(test_places),
        cmocka_unit_test(a_lot_behind_a_cleaning_is_told_apart),
        cmocka_unit_test(test_reach_of_a_wrong_label),
        cmocka_unit_test(test_plain_film_is_no_label),
        cmocka_unit_test(test_reach_of_what_may_be_harm),
        cmocka_unit_test(test_reach_of_an_open_lot),
        cmocka_unit_test(test_reach_of_other_harm),
        cmocka_unit_test(test_reach_of_tampering),
        cmocka_unit_test(test_a_blown_pack_is_minded),
        cmocka_unit_test(test_mixture),
        cmocka_unit_test(test_harm_first),
        cmocka_unit_test(test_ask_and_why),
        cmocka_unit_test(test_flip),
        cmocka_unit_test(test_lot_view),
        cmocka_unit_test(test_kept),
        cmocka_unit_test(test_verdicts),
        cmocka_unit_test(test_threads),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

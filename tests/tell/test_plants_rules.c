/* Two plants of a company, one with rules of its own: whatever is told of a case or a lot is told
 * by those of its plant, and each learns from its own verdicts. */
#include "../rank/fixture.h"
#include "models/parameters.h"
#include "rank/calibration.h"
#include "rank/learning.h"
#include "store/stage.h"
#include "store/verdict.h"
#include "tell/measured_json.h"
#include "tell/tell.h"
#include "tell/whatif.h"

#define COUNT_OF(array) (sizeof(array) / sizeof *(array))

enum { DAY = 20, HOT_C = 47 };
#define ACTION "Open the second cooler, which only north has"
#define BODY                                                                                       \
    "{\"found_on\":\"2026-06-20\",\"symptom\":\"mold\",\"received_at\":\"2026-06-21T15:00:00Z\"}"

struct company {
    struct fixture f;
    struct triage *triage, *north;
    int64_t of[2]; /* the case of north, of south: of lots that read the same */
};

static json_t *document_of(struct company *c, const char *name)
{
    char path[200];
    snprintf(path, sizeof path, "%s/%s", c->f.rules, name);
    json_t *document = json_load_file(path, 0, NULL);
    assert_non_null(document);
    return document;
}

static void put_of_north(struct company *c, const char *name, json_t *document)
{
    char path[80], *text = json_dumps(document, 0);
    snprintf(path, sizeof path, "plants/north/%s", name);
    fixture_file(&c->f, path, text);
    free(text);
    json_decref(document);
}

static void write_rules_of_north(struct company *c)
{
    static const char *const FOLDERS[] = {"plants", "plants/north", "plants/north/causes"};
    for (size_t i = 0; i < COUNT_OF(FOLDERS); i++) {
        char path[200];
        snprintf(path, sizeof path, "%s/%s", c->f.rules, FOLDERS[i]);
        assert_int_equal(mkdir(path, 0755), 0);
    }
    json_t *cause = document_of(c, "causes/packed-hot.json");
    json_object_set_new(cause, "symptoms", json_pack("{s:f}", "mold", 0.008));
    json_object_set_new(cause, "actions", json_pack("[s]", ACTION));
    json_object_set_new(cause, "reach", json_pack("[s]", "lot"));
    json_array_append_new(json_object_get(cause, "cautions"), json_string("North is dusty"));
    put_of_north(c, "causes/packed-hot.json", cause);
    json_t *asks = document_of(c, "asks.json"), *ask;
    size_t i;
    json_array_foreach(json_object_get(asks, "asks"), i, ask)
        json_object_set_new(ask, "ask", json_string("What does north ask?"));
    put_of_north(c, "asks.json", asks);
    put_of_north(c, "models.json",
                 json_pack("{s:[{s:s, s:f, s:f, s:f, s:s}]}", "parameters", "name",
                           "mold.time_scale", "low", 3.0, "typical", 4.0, "high", 5.0, "source",
                           "plant experience"));
}

static int64_t complain(struct company *c, const char *plant, int64_t lot, int64_t received_ms)
{
    int64_t id = fixture_complain(&c->f, "mold", lot, received_ms, BODY);
    fixture_sql(&c->f, "UPDATE complaint_case SET plant = '%s' WHERE id = %lld", plant,
                (long long)id);
    return id;
}

static int setup(void **state)
{
    static const char *const FILES[] = {"causes/packed-hot.json",
                                        "causes/contamination-slicer.json", "causes/old-stock.json",
                                        "causes/not-known.json", "asks.json"};
    struct company *c = xcalloc(1, sizeof *c);
    fixture_open(&c->f);
    fixture_plant(&c->f, 24);
    for (size_t i = 0; i < COUNT_OF(FILES); i++)
        fixture_copy(&c->f, "tests/rank/rules", FILES[i]);
    write_rules_of_north(c);
    fixture_sql(&c->f, "UPDATE lot SET plant = CASE line WHEN '1' THEN 'north' ELSE 'south' END");
    for (int line = 1; line <= 2; line++)
        fixture_sql(&c->f, "UPDATE reading SET value = %d WHERE lot_id = %lld AND quantity_id = 1",
                    HOT_C, (long long)fixture_lot(DAY, line, 0));
    fixture_records_changed(&c->f);
    c->triage = fixture_triage(&c->f);
    assert_int_equal(
        triage_add_plant(c->triage, c->f.rules, "north", fixture_print_fault, NULL, NULL), 0);
    assert_int_equal(
        triage_add_plant(c->triage, c->f.rules, "south", fixture_print_fault, NULL, NULL), 0);
    c->north = triage_of(c->triage, "north");
    c->of[0] = complain(c, "north", fixture_lot(DAY, 1, 0), AT(25, 15));
    c->of[1] = complain(c, "south", fixture_lot(DAY, 2, 0), AT(25, 15));
    *state = c;
    return 0;
}

static int teardown(void **state)
{
    struct company *c = *state;
    triage_free(c->triage);
    fixture_close(&c->f);
    free(c);
    return 0;
}

/* ---- whose rules ---- */

static void a_plant_without_a_folder_has_the_companys(void **state)
{
    struct company *c = *state;
    struct triage *of = NULL;
    assert_ptr_not_equal(c->north, c->triage);
    assert_ptr_equal(triage_of(c->triage, "south"), c->triage);
    assert_ptr_equal(triage_of(c->triage, ""), c->triage);
    assert_ptr_equal(triage_of(c->north, NULL), c->triage);
    assert_ptr_equal(triage_of(c->north, "north"), c->north);
    assert_int_equal(triage_of_lot(c->triage, c->f.store, fixture_lot(DAY, 1, 1), &of, NULL), 0);
    assert_ptr_equal(of, c->north);
    assert_int_equal(triage_of_lot(c->north, c->f.store, fixture_lot(DAY, 2, 1), &of, NULL), 0);
    assert_ptr_equal(of, c->triage);
    assert_int_equal(triage_of_lot(c->triage, c->f.store, 9999, &of, NULL), ERROR_NOT_FOUND);
    json_t *plants = triage_plants_json(c->triage);
    assert_int_equal(json_array_size(plants), 1);
    assert_string_equal(json_string_value(json_object_get(json_array_get(plants, 0), "plant")),
                        "north");
    assert_string_equal(json_string_value(json_object_get(json_array_get(plants, 0), "rules")),
                        triage_hash(c->north));
    json_decref(plants);
}

static void a_plants_wrong_file_is_no_plant(void **state)
{
    struct company *c = *state;
    struct error err = {0};
    fixture_file(&c->f, "plants/north/models.json", "{\"parameters\":1}");
    assert_int_equal(triage_add_plant(c->triage, c->f.rules, "north", NULL, NULL, &err),
                     ERROR_INVALID);
    assert_non_null(strstr(err.source, "plants/north/models.json"));
    fixture_file(&c->f, "plants/north/models.json", "{\"parameters\":[]}");
    fixture_file(&c->f, "plants/north/asks.json", "{\"asks\":1}");
    error_clear(&err);
    assert_int_equal(triage_add_plant(c->triage, c->f.rules, "north", NULL, NULL, &err),
                     ERROR_INVALID);
    assert_non_null(strstr(err.source, "plants/north/asks.json"));
}

static void what_is_decided_goes_for_all(void **state)
{
    struct company *c = *state;
    char before[80], all[TRIAGE_HASH], all_now[TRIAGE_HASH];
    struct triage *apart = triage_apart(c->triage);
    assert_ptr_not_equal(triage_of(apart, "north"), c->north);
    assert_ptr_equal(triage_of(apart, "north")->rules, c->north->rules);
    assert_ptr_equal(triage_of(apart, "south"), apart);
    triage_free(apart);
    triage_hash_of_all(c->triage, all);
    strcpy(before, triage_hash(c->north));
    assert_string_not_equal(all, triage_hash(c->triage));
    json_t *factor = json_pack("{s:f, s:f, s:f}", "low", 1.0, "typical", 2.0, "high", 3.0);
    json_t *adopted =
        json_pack("{s:{s:O, s:O}}", "fit", "time_scale", factor, "spores_scale", factor);
    assert_int_equal(calibration_apply(c->triage, adopted, NULL), 0);
    double low, was, now, high;
    parameters_get(&c->north->uncalibrated, "mold.time_scale", &low, &was, &high);
    parameters_get(&c->north->models, "mold.time_scale", &low, &now, &high);
    assert_near(was, 4, 1e-12);
    assert_near(now, 8, 1e-12);
    assert_string_not_equal(triage_hash(c->north), before);
    strcpy(before, triage_hash(c->north));
    json_t *kept = json_pack("{s:[{s:b, s:s, s:s, s:i}]}", "switches", "on", 1, "by", "mira", "at",
                             "today", "at_ms", 1);
    assert_int_equal(learning_apply(c->triage, kept, NULL), 0);
    assert_true(learning_is_on(c->north));
    assert_string_not_equal(triage_hash(c->north), before);
    assert_string_not_equal(triage_hash_of_all(c->triage, all_now), all);
    json_decref(kept);
    json_decref(adopted);
    json_decref(factor);
}

/* ---- what is told ---- */

static double chance_in(const json_t *told, const char *list)
{
    size_t i;
    const json_t *one;
    json_array_foreach(json_object_get(told, list), i, one)
    {
        if (strcmp(json_string_value(json_object_get(one, "cause")), "packed-hot") == 0)
            return json_number_value(json_object_get(one, "probability"));
    }
    return -1;
}

static bool says(const json_t *told, const char *text)
{
    char *all = json_dumps(told, 0);
    bool found = strstr(all, text) != NULL;
    free(all);
    return found;
}

static int why(struct company *c, int64_t id, json_t **ret)
{
    return tell_why(c->triage, c->f.store, id, NULL, ret, NULL);
}
static int brief(struct company *c, int64_t id, json_t **ret)
{
    return tell_brief(c->triage, c->f.store, id, ret, NULL);
}
static int whole(struct company *c, int64_t id, json_t **ret)
{
    return tell_case(c->triage, c->f.store, id, ret, NULL, NULL);
}

static void the_same_complaint_is_ranked_otherwise(void **state)
{
    static const struct {
        int (*tell)(struct company *c, int64_t id, json_t **ret);
        const char *list;
    } VIEWS[] = {{whole, "ranked"}, {brief, "ranked"}, {why, "causes"}};
    struct company *c = *state;
    double first[2] = {-1, -1};
    for (size_t i = 0; i < COUNT_OF(VIEWS); i++)
        for (int plant = 0; plant < 2; plant++) {
            json_t *told = NULL;
            assert_int_equal(VIEWS[i].tell(c, c->of[plant], &told), 0);
            double chance = chance_in(told, VIEWS[i].list);
            first[plant] = first[plant] < 0 ? chance : first[plant];
            assert_near(chance, first[plant], 1e-9);
            const json_t *rules = json_object_get(told, "rules");
            if (rules)
                assert_string_equal(json_string_value(rules),
                                    triage_hash(plant ? c->triage : c->north));
            json_decref(told);
        }
    assert_true(first[1] > 0.5 && first[0] >= 0 && first[0] < first[1] / 2);
}

static void all_else_of_a_case_is_by_its_plants_rules(void **state)
{
    struct company *c = *state;
    for (int plant = 0; plant < 2; plant++) {
        const struct tell_asked asked = {
            .case_id = c->of[plant], .cause = "packed-hot", .now_ms = AT(26, 0)};
        json_t *told = NULL;
        struct ranking kept;
        assert_int_equal(tell_reach(c->triage, c->f.store, &asked, &told, NULL), 0);
        /* the hours of its line carry the fault, where north says that no other lot does */
        assert_int_equal(json_array_size(json_object_get(told, "lots")) > 0, plant);
        json_decref(told);
        assert_int_equal(tell_ask(c->triage, c->f.store, c->of[plant], &told, NULL), 0);
        assert_true(json_array_size(json_object_get(told, "ask")) > 0);
        assert_int_equal(says(told, "What does north ask?"), !plant);
        json_decref(told);
        assert_int_equal(tell_case(c->triage, c->f.store, c->of[plant], &told, &kept, NULL), 0);
        assert_string_equal(kept.rules, triage_hash(plant ? c->triage : c->north));
        json_decref(told);
        ranking_clear(&kept);
        assert_int_equal(tell_facts(c->triage, c->f.store, c->of[plant], &told, NULL), 0);
        assert_true(says(told, "core_at_pack_c"));
        json_decref(told);
        assert_int_equal(tell_sheet(c->triage, c->f.store, c->of[plant], &told, NULL), 0);
        assert_non_null(json_object_get(told, "lot"));
        json_decref(told);
    }
}

/* What is done and minded is the first cause's: so sure that it is first at both. */
static void actions_and_cautions_are_the_plants(void **state)
{
    static const char WET[] = "{\"symptom\":\"mold\",\"observed\":{\"where\":\"side\","
                              "\"wet_inside_bag\":true}}";
    struct company *c = *state;
    for (int plant = 0; plant < 2; plant++) {
        int64_t lot = fixture_lot(DAY, plant + 1, 0);
        json_t *told = NULL;
        for (int n = 0; n < 4; n++)
            assert_int_equal(fixture_complain(&c->f, "mold", lot, AT(25, 16 + n), WET),
                             c->of[plant]);
        assert_int_equal(whole(c, c->of[plant], &told), 0);
        assert_string_equal(json_string_value(json_object_get(
                                json_array_get(json_object_get(told, "ranked"), 0), "cause")),
                            "packed-hot");
        assert_int_equal(says(json_object_get(told, "actions"), ACTION), !plant);
        assert_int_equal(says(json_object_get(told, "cautions"), "North is dusty"), !plant);
        json_decref(told);
    }
}

/* No plant's: two plants' lots, or none. */
static void a_case_of_no_one_plant_is_ranked_by_the_companys(void **state)
{
    struct company *c = *state;
    json_t *south = NULL, *told = NULL;
    fixture_sql(&c->f, "UPDATE complaint_case SET plant = '' WHERE id = %lld", (long long)c->of[0]);
    assert_int_equal(whole(c, c->of[0], &told), 0);
    assert_int_equal(whole(c, c->of[1], &south), 0);
    assert_string_equal(json_string_value(json_object_get(told, "rules")), triage_hash(c->triage));
    assert_near(chance_in(told, "ranked"), chance_in(south, "ranked"), 1e-9);
    json_decref(told);
    json_decref(south);
}

static double preview(struct company *c, const char *body, const struct complaint_lots *lots)
{
    json_t *said = json_loads(body, 0, NULL), *told = NULL;
    struct error err = {0};
    if (tell_preview(c->triage, c->f.store, said, lots, &told, &err))
        fail_msg("%s", err.text);
    double chance = chance_in(told, "ranked");
    json_decref(said);
    json_decref(told);
    return chance;
}

/* Before it is logged, too: its lot's; the lot open, what is named, else what all share. */
static void a_preview_is_by_the_rules_of_its_plant(void **state)
{
#define ONE(line, turn)                                                                            \
    {                                                                                              \
        fixture_lot(DAY, line, turn), .5                                                           \
    }
#define NAMED "{\"symptom\":\"mold\",\"plant\":\"north\"}"
    static const char PLAIN[] = "{\"symptom\":\"mold\"}";
    struct company *c = *state;
    const struct complaint_lots none = {.state = LOT_UNKNOWN},
                                north = {LOT_SEVERAL, 2, {ONE(1, 0), ONE(1, 1)}},
                                both = {LOT_SEVERAL, 2, {ONE(2, 0), ONE(1, 1)}},
                                exact = {LOT_EXACT, 1, {{fixture_lot(DAY, 2, 0), 1}}};
    double company = preview(c, PLAIN, &none), named = preview(c, NAMED, &none);
    assert_true(named < company / 10); /* the shares alone: there is no record */
    double shared = preview(c, PLAIN, &north), of_both = preview(c, PLAIN, &both);
    assert_true(shared < of_both / 2);
    assert_near(preview(c, NAMED, &exact), preview(c, PLAIN, &exact), 1e-12); /* the lot tells */
    assert_true(preview(c, NAMED, &both) < of_both / 2);
}

static double days_as_specified(const json_t *told)
{
    const json_t *days = json_object_get(
        json_object_get(json_object_get(told, "prediction"), "mold_free_days"), "as_specified");
    return json_number_value(json_object_get(days, "typical"));
}

/* North's mold takes four times as long. */
static void a_lot_is_predicted_by_its_plants_models(void **state)
{
    struct company *c = *state;
    double days[2];
    char *ways[2];
    for (int plant = 0; plant < 2; plant++) {
        const struct whatif asked = {.lot_id = fixture_lot(DAY, plant + 1, 1),
                                     .changes = {{"core_at_pack_c", 40}},
                                     .change_count = 1};
        json_t *told = NULL;
        assert_int_equal(tell_lot(c->triage, c->f.store, asked.lot_id, &told, NULL), 0);
        days[plant] = days_as_specified(told);
        json_decref(told);
        assert_int_equal(whatif_tell(c->triage, c->f.store, &asked, &told, NULL), 0);
        ways[plant] = json_dumps(json_object_get(told, "ways"), 0);
        json_decref(told);
    }
    assert_true(days[1] > 0 && days[0] > 1.5 * days[1]);
    assert_string_not_equal(ways[0], ways[1]);
    free(ways[0]);
    free(ways[1]);
}

/* ---- what verdicts teach ---- */

static double prior_of(struct company *c, struct triage *triage, const char *cause)
{
    const struct case_input input = {.symptom = SYMPTOM_MOLD, .as_of_ms = AT(99, 0)};
    double *priors = NULL;
    assert_int_equal(case_rank_priors(triage, c->f.store, &input, NULL, &priors, NULL), 0);
    double prior = priors[rules_cause(triage->rules, cause)];
    free(priors);
    return prior;
}

static void settle(struct company *c, int64_t id)
{
    struct ranking_cause said[] = {{"old-stock", .9}, {"not-known", .1}};
    struct ranking ranking = {.case_id = id,
                              .as_of_ms = AT(25, 15),
                              .complaints = 1,
                              .rules = "sha256:00",
                              .causes = said,
                              .cause_count = 2};
    const struct verdict_new verdict = {id,           AT(30, 0), "contamination-slicer",
                                        "inspection", "",        "qa"};
    assert_int_equal(store_begin(c->f.store, NULL), 0);
    assert_int_equal(ranking_save(c->f.store, &ranking, NULL), 0);
    assert_int_equal(verdict_add(c->f.store, &verdict, NULL), 0);
    assert_int_equal(store_commit(c->f.store, NULL), 0);
}

static void each_learns_from_its_own_verdicts(void **state)
{
    static const char SLICER[] = "contamination-slicer";
    const struct when_span all = {0, INT64_MAX};
    struct company *c = *state;
    struct case_rank_learned found;
    double company = prior_of(c, c->triage, SLICER), north = prior_of(c, c->north, SLICER);
    settle(c, c->of[0]);
    assert_near(prior_of(c, c->triage, SLICER), company, 1e-12);
    double taught = prior_of(c, c->north, SLICER);
    assert_true(taught > north * 1.01);
    settle(c, c->of[1]);
    assert_true(prior_of(c, c->triage, SLICER) > company * 1.01);
    assert_near(prior_of(c, c->north, SLICER), taught, 1e-12);
    assert_int_equal(case_rank_learned(c->triage, c->f.store, all, NULL, &found, NULL), 0);
    assert_int_equal(found.cases, 2);
    assert_int_equal(case_rank_learned(c->triage, c->f.store, all, "north", &found, NULL), 0);
    assert_int_equal(found.cases, 1);
}

/* Enough confirmed cases of one plant, whose callers all say what its rules hold unlikely. */
static void proposals_are_of_the_rules_that_ranked(void **state)
{
    struct company *c = *state;
    json_t *list = NULL, *one;
    size_t i, of_north = 0;
    for (int n = 0; n < 24; n++) {
        int64_t id = fixture_complain(
            &c->f, "mold", fixture_lot(1 + n % 12, 1, n / 12), AT(16 + n % 12, n / 12),
            n % 2 ? "{\"observed\":{\"where\":\"base\"}}" : "{\"observed\":{\"where\":\"side\"}}");
        const struct verdict_new verdict = {
            id, AT(40, n), n % 2 ? "packed-hot" : "contamination-slicer", "inspection", "", "qa"};
        fixture_sql(&c->f, "UPDATE complaint_case SET plant = 'north' WHERE id = %lld",
                    (long long)id);
        assert_int_equal(store_begin(c->f.store, NULL), 0);
        assert_int_equal(verdict_add(c->f.store, &verdict, NULL), 0);
        assert_int_equal(store_commit(c->f.store, NULL), 0);
    }
    const struct stage_of of = {.span = {0, AT(99, 0)}};
    assert_int_equal(tell_proposals(c->triage, c->f.store, &of, &list, NULL), 0);
    json_array_foreach(list, i, one)
    {
        const char *file = json_string_value(json_object_get(one, "file"));
        assert_string_equal(json_string_value(json_object_get(one, "plant")), "north");
        of_north += strstr(file, "plants/north/causes/packed-hot.json") != NULL;
    }
    assert_true(of_north > 0);
    json_decref(list);
}

#define TEST(name) cmocka_unit_test_setup_teardown(name, setup, teardown)

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(a_plant_without_a_folder_has_the_companys),
        TEST(a_plants_wrong_file_is_no_plant),
        TEST(what_is_decided_goes_for_all),
        TEST(the_same_complaint_is_ranked_otherwise),
        TEST(all_else_of_a_case_is_by_its_plants_rules),
        TEST(actions_and_cautions_are_the_plants),
        TEST(a_case_of_no_one_plant_is_ranked_by_the_companys),
        TEST(a_preview_is_by_the_rules_of_its_plant),
        TEST(a_lot_is_predicted_by_its_plants_models),
        TEST(each_learns_from_its_own_verdicts),
        TEST(proposals_are_of_the_rules_that_ranked),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

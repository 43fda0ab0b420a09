/* A case ranked over the lots that it may be about, guards of evidence, what verdicts in the store
 * teach, and what the rules are asked by name. */
#include "../failing.h"
#include "fixture.h"
#include "store/ranking.h"
#include "store/verdict.h"

enum { HOT = 44 };

static struct triage *plant(struct fixture *f)
{
    static const char *const FILES[] = {"causes/packed-hot.json",
                                        "causes/contamination-slicer.json", "causes/old-stock.json",
                                        "causes/not-known.json"};
    fixture_open(f);
    fixture_plant(f, 24);
    for (size_t i = 0; i < COUNT_OF(FILES); i++)
        fixture_copy(f, "tests/rank/rules", FILES[i]);
    fixture_sql(f, "UPDATE reading SET value = %d WHERE lot_id = %d AND quantity_id = 1", HOT,
                (int)fixture_lot(20, 1, 0));
    return fixture_triage(f);
}

/* ---- several lots ---- */

static struct complaint_lots candidates(double hot, double other, double rare)
{
    return (struct complaint_lots){.state = LOT_SEVERAL,
                                   .count = 3,
                                   .lot = {{fixture_lot(20, 1, 0), hot},
                                           {fixture_lot(20, 2, 0), other},
                                           {fixture_lot(21, 2, 0), rare}}};
}

static void rank_one(struct triage *triage, struct store *store, const struct complaint_lots *lots,
                     struct case_rank *ret)
{
    struct case_input input;
    struct error err = {0};
    json_t *body =
        json_pack("{s:s, s:s}", "symptom", "mold", "received_at", "2026-06-21T12:00:00Z");
    if (case_input_of(body, lots, AT(25, 12), &input, &err) ||
        case_rank_make(triage, store, &input, ret, &err))
        fail_msg("%s", err.text);
    json_decref(body);
}

static double chance(const struct triage *triage, const struct rank *rank, const char *cause)
{
    return rank->causes[rank_find(rank, rules_cause(triage->rules, cause))].probability;
}

/* A lot of less than a hundredth is not looked at, and so much of none of them neither: the others
 * then are all there is. */
static void lots_speak_by_their_weights(void **state)
{
    static const struct {
        double weight[3], mixed[4]; /* of the lots, and of none of them */
        int count;
    } CASES[] = {
        {{.7, .25, .045}, {.7 / .995, .25 / .995, .045 / .995}, 3},
        {{.6, .2, .05}, {.6, .2, .05, .15}, 4},
        {{.7, .295, .004}, {.7 / .995, .295 / .995}, 2},
        {{.992, .003, .002}, {1}, 1},
    };
    struct fixture f;
    (void)state;
    struct triage *triage = plant(&f);
    for (size_t i = 0; i < COUNT_OF(CASES); i++) {
        const double *w = CASES[i].weight;
        const struct complaint_lots lots = candidates(w[0], w[1], w[2]);
        struct case_rank ranked, one; /* they point into themselves */
        rank_one(triage, f.store, &lots, &ranked);
        double want = 0, weights = 0, sum = 0;
        assert_int_equal(ranked.lot_count, CASES[i].count);
        for (int k = 0; k < ranked.lot_count; k++) {
            double share = CASES[i].mixed[k];
            struct complaint_lots alone = {.state = ranked.lots[k].lot_id ? LOT_EXACT : LOT_UNKNOWN,
                                           .count = ranked.lots[k].lot_id > 0,
                                           .lot = {{ranked.lots[k].lot_id, 1}}};
            rank_one(triage, f.store, &alone, &one);
            assert_int_equal(one.lot_count, 1);
            assert_near(ranked.lots[k].weight, share, 1e-9);
            want += share * chance(triage, one.rank, "packed-hot");
            weights += ranked.lots[k].weight;
            case_rank_clear(&one);
        }
        for (int k = 0; k < ranked.rank->count; k++)
            sum += ranked.rank->causes[k].probability;
        assert_near(weights, 1, 1e-9);
        assert_near(sum, 1, 1e-9);
        assert_near(chance(triage, ranked.rank, "packed-hot"), want, 1e-9);
        for (int k = 1; k < ranked.rank->count; k++)
            assert_true(ranked.rank->causes[k - 1].probability >=
                        ranked.rank->causes[k].probability);
        assert_ptr_equal(case_rank_facts(&ranked), &ranked.lots[0].facts);
        case_rank_clear(&ranked);
    }
    triage_free(triage);
    fixture_close(&f);
}

/* Mold that no bread shows so soon may be of none of the lots that it is said to be of. */
static void mold_too_soon_may_be_of_no_lot(void **state)
{
    static const struct {
        const char *found_on; /* packed on 16 June */
        int lots;
        double weight;
    } CASES[] = {{"2026-06-17", 2, .5}, {"2026-06-18", 1, 1}};
    const struct complaint_lots lots = {
        .state = LOT_EXACT, .count = 1, .lot = {{fixture_lot(20, 1, 0), 1}}};
    struct fixture f;
    (void)state;
    struct triage *triage = plant(&f);
    double chances[COUNT_OF(CASES)];
    for (size_t i = 0; i < COUNT_OF(CASES); i++) {
        struct case_rank ranked;
        struct case_input input;
        json_t *body = json_pack("{s:s, s:s, s:s}", "symptom", "mold", "received_at",
                                 "2026-06-21T12:00:00Z", "found_on", CASES[i].found_on);
        assert_int_equal(case_input_of(body, &lots, AT(25, 12), &input, NULL), 0);
        assert_int_equal(case_rank_make(triage, f.store, &input, &ranked, NULL), 0);
        assert_int_equal(ranked.lot_count, CASES[i].lots);
        assert_int_equal(ranked.lots[0].lot_id, fixture_lot(20, 1, 0));
        assert_near(ranked.lots[0].weight, CASES[i].weight, 1e-9);
        chances[i] = chance(triage, ranked.rank, "packed-hot");
        case_rank_clear(&ranked);
        json_decref(body);
    }
    assert_true(chances[1] > .5 && chances[0] < chances[1] - .1); /* its own record tells less */
    triage_free(triage);
    fixture_close(&f);
}

static void a_case_of_another_kind_has_no_causes(void **state)
{
    struct fixture f;
    struct case_rank ranked;
    struct error err = {0};
    (void)state;
    struct triage *triage = plant(&f);
    int64_t id = fixture_complain(&f, "other", fixture_lot(20, 1, 0), AT(25, 12), "{}");
    assert_int_equal(case_rank_read(triage, f.store, id, &ranked, &err), ERROR_INVALID);
    assert_string_equal(err.text, "case C1 is of none of the kinds that have causes");
    assert_non_null(strstr(err.hint, "oddloaf ask what to ask"));
    assert_int_equal(case_rank_read(triage, f.store, id + 1, &ranked, NULL), ERROR_NOT_FOUND);
    triage_free(triage);
    fixture_close(&f);
}

/* ---- guards ---- */

static void a_guard_knows_does_not_know_or_says_no(void **state)
{
    static const char *words[] = {"base", "side"};
    static const struct {
        double value;
        int says;
    } NUMBERS[] = {{4.99, 0}, {5, 1}, {5.5, 1}, {6, 1}, {6.01, 0}};
    struct fixture f;
    struct fact_set facts;
    (void)state;
    struct triage *triage = plant(&f);
    const struct rules *rules = triage->rules;
    fact_set_init(&facts, rules, 2);
    int ph = rules_fact(rules, "core_at_pack_c"), where = rules_fact(rules, "where");
    const struct rule_guard none = {.fact = -1}, number = {.fact = ph, .from = 5, .to = 6},
                            word = {.fact = where, .words = words, .word_count = 2};
    assert_int_equal(evidence_bits_guard(&none, &facts, 0), 1);
    assert_int_equal(evidence_bits_guard(&number, &facts, 0), -1);
    assert_int_equal(evidence_bits_guard(&word, &facts, 1), -1);
    for (size_t i = 0; i < COUNT_OF(NUMBERS); i++) {
        fact_set_number(fact_set_at(&facts, ph, 0), NUMBERS[i].value);
        assert_int_equal(evidence_bits_guard(&number, &facts, 0), NUMBERS[i].says);
    }
    fact_set_word(fact_set_at(&facts, where, 0), "heel");
    fact_set_word(fact_set_at(&facts, where, 1), "heel");
    fact_set_word(fact_set_at(&facts, where, 1), "side");
    assert_int_equal(evidence_bits_guard(&word, &facts, 0), 0);
    assert_int_equal(evidence_bits_guard(&word, &facts, 1), 1);
    fact_set_clear(&facts);
    triage_free(triage);
    fixture_close(&f);
}

/* ---- verdicts ---- */

static void settle(struct fixture *f, int day, const char *cause, const char *confirmed_by)
{
    int64_t id = fixture_complain(f, "mold", fixture_lot(day, 2, 1), AT(day + 2, 1), "{}");
    const struct verdict_new verdict = {id, AT(day + 3, 1), cause, confirmed_by, "", "qa"};
    assert_int_equal(store_begin(f->store, NULL), 0);
    assert_int_equal(verdict_add(f->store, &verdict, NULL), 0);
    assert_int_equal(store_commit(f->store, NULL), 0);
}

static double prior_of(struct triage *triage, struct fixture *f, const char *cause, int64_t as_of)
{
    double *priors = NULL;
    const struct case_input input = {.symptom = SYMPTOM_MOLD, .as_of_ms = as_of};
    assert_int_equal(case_rank_priors(triage, f->store, &input, NULL, &priors, NULL), 0);
    double prior = priors[rules_cause(triage->rules, cause)];
    free(priors);
    return prior;
}

static void verdicts_teach_from_when_they_are_given(void **state)
{
    double measured = 0;
    (void)state;
    for (int judged = 0; judged < 2; judged++) {
        struct fixture f;
        struct triage *triage = plant(&f);
        double shipped = prior_of(triage, &f, "packed-hot", AT(99, 0));
        settle(&f, 5, "packed-hot", judged ? "judgement" : "inspection");
        assert_near(prior_of(triage, &f, "packed-hot", AT(8, 1)), shipped, 1e-12);
        double taught = prior_of(triage, &f, "packed-hot", AT(99, 0));
        assert_true(taught > shipped * 1.01);
        assert_true(!judged || taught < measured); /* counts half */
        measured = taught;
        settle(&f, 6, "gone-with-its-file", "inspection");
        assert_near(prior_of(triage, &f, "packed-hot", AT(99, 0)), taught, 1e-12);
        triage_free(triage);
        fixture_close(&f);
    }
}

struct asked {
    struct fixture *f;
    struct triage *triage;
};

static int ask_priors(void *arg, struct error *err)
{
    struct asked *a = arg;
    struct triage *triage = triage_apart(a->triage);
    double *priors = NULL;
    const struct case_input input = {.symptom = SYMPTOM_MOLD, .as_of_ms = AT(99, 0)};
    int rc = case_rank_priors(triage, a->f->store, &input, NULL, &priors, err);
    free(priors);
    triage_free(triage);
    return rc;
}

static int ask_case(void *arg, struct error *err)
{
    struct asked *a = arg;
    struct triage *triage = triage_apart(a->triage);
    struct case_rank ranked;
    int rc = case_rank_read(triage, a->f->store, 1, &ranked, err);
    if (!rc)
        case_rank_clear(&ranked);
    triage_free(triage);
    return rc;
}

static void what_cannot_be_read_is_not_ranked(void **state)
{
    struct fixture f;
    (void)state;
    struct asked a = {&f, plant(&f)};
    settle(&f, 5, "packed-hot", "inspection");
    failing_check(f.store, ask_priors, &a, "priors", 0);
    failing_check(f.store, ask_case, &a, "a case", 0);
    triage_free(a.triage);
    fixture_close(&f);
}

/* ---- what is asked by name ---- */

static void what_the_rules_know_of_a_cause(void **state)
{
    struct fixture f;
    (void)state;
    struct triage *t = plant(&f);
    assert_true(triage_cause_of(t, "contamination-slicer", "mold"));
    assert_false(triage_cause_of(t, "contamination-slicer", "staling"));
    assert_false(triage_cause_of(t, "contamination-slicer", "other"));
    assert_false(triage_cause_of(t, "never", "mold"));
    assert_true(triage_cause_in_plant(t, "contamination-slicer"));
    assert_false(triage_cause_in_plant(t, "not-known"));
    assert_false(triage_cause_in_plant(t, "old-stock"));
    assert_false(triage_cause_in_plant(t, "never"));
    assert_true(triage_cause_unfit(t, "never", "mold"));
    assert_false(triage_cause_unfit(t, "never", "staling"));
    assert_false(triage_cause_unfit(t, "old-stock", "staling"));
    assert_string_equal(triage_cause_title(t, "contamination-slicer"),
                        "Mold carried by the slicer");
    assert_null(triage_cause_title(t, "never"));
    assert_int_equal(triage_cause_count(t), 4);
    assert_true(triage_reads(t, "core_at_pack_c"));
    assert_false(triage_reads(t, "never"));
    triage_free(t);
    fixture_close(&f);
}

static void a_value_must_be_plausible(void **state)
{
    struct fixture f;
    struct error err = {0};
    (void)state;
    struct triage *t = plant(&f);
    const struct catalogue_quantity *q = catalogue_quantity(triage_catalogue(t), "core_at_pack_c");
    assert_int_equal(triage_check_quantity(t, "core_at_pack_c", q->low, &err), 0);
    assert_int_equal(triage_check_quantity(t, "core_at_pack_c", q->high, &err), 0);
    assert_int_equal(triage_check_quantity(t, "core_at_pack_c", q->low - 1, NULL), ERROR_INVALID);
    assert_int_equal(triage_check_quantity(t, "core_at_pack_c", q->high + 0.5, &err),
                     ERROR_INVALID);
    assert_non_null(strstr(err.text, "must lie from"));
    assert_string_equal(err.field, "core_at_pack_c");
    error_clear(&err);
    assert_int_equal(triage_check_quantity(t, "never", 1, &err), ERROR_INVALID);
    assert_string_equal(err.text, "no such quantity");
    assert_string_equal(err.field, "never");
    error_clear(&err);
    assert_int_equal(triage_check_quantity(t, "mold_genus", 1, &err), ERROR_INVALID);
    assert_non_null(strstr(err.text, "is told in words"));
    assert_string_equal(err.field, "mold_genus");
    triage_free(t);
    fixture_close(&f);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(lots_speak_by_their_weights),
        cmocka_unit_test(mold_too_soon_may_be_of_no_lot),
        cmocka_unit_test(a_case_of_another_kind_has_no_causes),
        cmocka_unit_test(a_guard_knows_does_not_know_or_says_no),
        cmocka_unit_test(verdicts_teach_from_when_they_are_given),
        cmocka_unit_test(what_cannot_be_read_is_not_ranked),
        cmocka_unit_test(what_the_rules_know_of_a_cause),
        cmocka_unit_test(a_value_must_be_plausible),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

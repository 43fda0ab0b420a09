/* Arithmetic of the ranking against published worked examples. */
#include "fixture.h"
#include "rank/priors.h"

/* E. T. Jaynes, "Probability Theory: The Logic of Science", 2003, ch. 4: machine A makes 1/3 bad
 * widgets, B 1/6, prior odds 1:10; and a third hypothesis, C, 99 % bad, at 1e-6. Here a bad widget
 * is a wet bag: bits of an item are log2 P(fact | cause), for complaints that stand alone
 * (pool_exponent 1). */
static const char MACHINE[] =
    "{\"id\":\"%s\",\"title\":\"%s\",\"symptoms\":{\"mold\":%.17g%s},\"background\":true,"
    "\"evidence\":[{\"fact\":\"wet_inside_bag\",\"table\":{\"yes\":%.17g,\"no\":%.17g},"
    "\"because\":\"b\",\"source\":\"s\"}]}";

static void machine(struct fixture *f, const char *id, double prior, double bad)
{
    char name[64], text[1024];
    snprintf(name, sizeof name, "causes/%s.json", id);
    snprintf(text, sizeof text, MACHINE, id, id, prior, ",\"off-odor\":1,\"staling\":1", log2(bad),
             log2(1 - bad));
    fixture_file(f, name, text);
}

static struct rules *rules_of(struct fixture *f)
{
    struct rules *rules = NULL;
    assert_int_equal(rules_load(f->rules, fixture_print_fault, NULL, &rules, NULL), 0);
    return rules;
}

static void rank_draws(const struct rules *rules, int bad, int good, struct rank *ret)
{
    struct fact_set facts;
    double *priors = xcalloc((size_t)rules->cause_count, sizeof *priors);
    fact_set_init(&facts, rules, bad + good);
    for (int i = 0; i < bad + good; i++)
        fact_set_word(fact_set_at(&facts, rules_fact(rules, "wet_inside_bag"), i),
                      i < bad ? "yes" : "no");
    priors_shipped(rules, SYMPTOM_MOLD, priors);
    rank_make(&facts, SYMPTOM_MOLD, priors, ret);
    free(priors);
    fact_set_clear(&facts);
}

static double decibels(const struct rules *rules, const struct rank *rank, const char *id)
{
    double p = rank->causes[rank_find(rank, rules_cause(rules, id))].probability, others = 0;
    for (int i = 0; i < rank->count; i++)
        if (rank->causes[i].cause != rules_cause(rules, id))
            others += rank->causes[i].probability;
    return 10 * log10(p / others);
}

static void test_two_machines(void **state)
{
    static const struct {
        int bad, good;
        double db;
    } DRAWS[] = {{5, 0, 5.051500}, {10, 0, 20.103000}, {3, 2, -2.907300},
                 {5, 5, .205999},  {20, 9, 41.484098}, {0, 10, -19.691001}};
    struct fixture f;
    (void)state;
    fixture_open(&f);
    fixture_file(&f, "ranking.json", "{\"pool_exponent\":1}");
    machine(&f, "a", 1, 1.0 / 3);
    machine(&f, "b", 10, 1.0 / 6);
    struct rules *rules = rules_of(&f);
    for (size_t i = 0; i < sizeof DRAWS / sizeof DRAWS[0]; i++) {
        struct rank rank;
        rank_draws(rules, DRAWS[i].bad, DRAWS[i].good, &rank);
        assert_near(decibels(rules, &rank, "a"), DRAWS[i].db, 1e-5);
        rank_free(&rank);
    }
    rules_free(rules);
    fixture_close(&f);
}

/* A cause without a share is none of the ranked, the first of the rules neither. */
static void test_cause_without_share(void **state)
{
    struct fixture f;
    (void)state;
    fixture_open(&f);
    machine(&f, "a", 1, 1.0 / 3);
    machine(&f, "b", 2, 1.0 / 6);
    machine(&f, "c", 3, 1.0 / 9);
    struct rules *rules = rules_of(&f);
    for (int none = 0; none < 3; none++) {
        struct fact_set facts;
        struct rank rank;
        double priors[] = {.2, .3, .5};
        priors[none] = 0;
        fact_set_init(&facts, rules, 1);
        rank_make(&facts, SYMPTOM_MOLD, priors, &rank);
        assert_int_equal(rank.count, 2);
        assert_int_equal(rank_find(&rank, none), -1);
        for (int other = 0; other < 3; other++)
            if (other != none)
                assert_in_range(rank_find(&rank, other), 0, 1);
        rank_free(&rank);
        fact_set_clear(&facts);
    }
    rules_free(rules);
    fixture_close(&f);
}

static void test_surer(void **state)
{
    static const struct {
        double was, is;
        bool surer;
    } ROWS[] = {{.44, .51, true},  {.48, .51, false}, {.51, .44, true}, {.51, .69, false},
                {.64, .7, true},   {.69, .71, false}, {.84, .9, true},  {.9, .84, true},
                {.91, .99, false}, {.1, .49, false},  {.4, .95, true},  {.5, .44, true},
                {.44, .5, true}};
    (void)state;
    for (size_t i = 0; i < sizeof ROWS / sizeof ROWS[0]; i++)
        if (rank_surer(ROWS[i].was, ROWS[i].is) != ROWS[i].surer)
            fail_msg("from %g to %g", ROWS[i].was, ROWS[i].is);
}

static void test_third_machine(void **state)
{
    static const struct {
        int bad;
        double a, b, c;
    } DRAWS[] = {{0, -10.0000, 10.0000, -60.0000},  {1, -6.9897, 6.9896, -52.6400},
                 {5, 5.0163, -5.0625, -27.1292},    {10, 2.2388, -22.1100, -2.3526},
                 {15, -21.3274, -56.5138, 21.3261}, {20, -44.9652, -95.1714, 44.9652}};
    struct fixture f;
    (void)state;
    fixture_open(&f);
    fixture_file(&f, "ranking.json", "{\"pool_exponent\":1}");
    machine(&f, "a", (1 - 1e-6) / 11, 1.0 / 3);
    machine(&f, "b", (1 - 1e-6) * 10 / 11, 1.0 / 6);
    machine(&f, "c", 1e-6, .99);
    struct rules *rules = rules_of(&f);
    for (size_t i = 0; i < sizeof DRAWS / sizeof DRAWS[0]; i++) {
        struct rank rank;
        rank_draws(rules, DRAWS[i].bad, 0, &rank);
        assert_near(decibels(rules, &rank, "a"), DRAWS[i].a, 6e-5);
        assert_near(decibels(rules, &rank, "b"), DRAWS[i].b, 6e-5);
        assert_near(decibels(rules, &rank, "c"), DRAWS[i].c, 6e-5);
        rank_free(&rank);
    }
    rules_free(rules);
    fixture_close(&f);
}

/* Naive Bayes over three causes and four clues, the fourth missing: skipped, not "no". Posterior
 * .198019802 .668316832 .133663366 (computed with two engines). */
static void clue(struct text_buffer *text, const char *fact, const char *word, double p)
{
    text_appendf(text,
                 "%s{\"fact\":\"%s\",\"table\":{\"%s\":%.17g},\"because\":\"b\",\"source\":\"s\"}",
                 strstr(text->data, "because") ? "," : "", fact, word, log2(p));
}

static void test_missing_clue(void **state)
{
    static const double PRIOR[] = {.5, .3, .2};
    static const double CLUES[4][3] = {{.8, .3, .1}, {.2, .6, .3}, {.1, .5, .9}, {.9, .01, .5}};
    static const double POSTERIOR[] = {.198019802, .668316832, .133663366};
    static const char *const IDS[] = {"a", "b", "c"};
    struct fixture f;
    (void)state;
    fixture_open(&f);
    for (int c = 0; c < 3; c++) {
        struct text_buffer text = {0};
        char name[32];
        snprintf(name, sizeof name, "causes/%s.json", IDS[c]);
        text_appendf(&text,
                     "{\"id\":\"%s\",\"title\":\"t\",\"symptoms\":{\"mold\":%g,\"off-odor\":1,"
                     "\"staling\":1},\"background\":true,\"evidence\":[",
                     IDS[c], PRIOR[c]);
        clue(&text, "where", "side", CLUES[0][c]);
        clue(&text, "colour", "black", CLUES[1][c]);
        clue(&text, "wet_inside_bag", "yes", CLUES[2][c]);
        clue(&text, "bag", "torn", CLUES[3][c]);
        text_append(&text, "]}");
        fixture_file(&f, name, text.data);
        text_buffer_free(&text);
    }
    struct rules *rules = rules_of(&f);
    struct fact_set facts;
    struct rank rank;
    double priors[3];
    fact_set_init(&facts, rules, 1);
    fact_set_word(fact_set_at(&facts, rules_fact(rules, "where"), 0), "side");
    fact_set_word(fact_set_at(&facts, rules_fact(rules, "colour"), 0), "black");
    fact_set_word(fact_set_at(&facts, rules_fact(rules, "wet_inside_bag"), 0), "yes");
    priors_shipped(rules, SYMPTOM_MOLD, priors);
    rank_make(&facts, SYMPTOM_MOLD, priors, &rank);
    double sum = 0;
    for (int i = 0; i < 3; i++) {
        assert_near(rank.causes[rank_find(&rank, rules_cause(rules, IDS[i]))].probability,
                    POSTERIOR[i], 1e-9);
        sum += rank.causes[i].probability;
    }
    assert_near(sum, 1, 1e-12);
    assert_string_equal(rules->causes[rank.causes[0].cause].id, "b");
    rank_free(&rank);
    fact_set_clear(&facts);
    rules_free(rules);
    fixture_close(&f);
}

/* One of a group speaks, the strongest; several complaints are pooled by n^exponent; guards. */
static void test_groups_pool_guards(void **state)
{
    struct fixture f;
    (void)state;
    fixture_open(&f);
    fixture_file(
        &f, "causes/a.json",
        "{\"id\":\"a\",\"title\":\"t\",\"symptoms\":{\"mold\":1},\"evidence\":["
        "{\"fact\":\"crumb_ph\",\"as\":\"value\",\"curve\":[[5,0],[6,1]],\"group\":\"g\","
        "\"because\":\"b\",\"source\":\"s\"},"
        "{\"fact\":\"crumb_ph\",\"as\":\"ratio\",\"curve\":[[1,0],[2,-8]],\"group\":\"g\","
        "\"because\":\"b\",\"source\":\"s\"},"
        "{\"fact\":\"where\",\"table\":{\"side\":2,\"*\":-0.5},\"because\":\"b\",\"source\":\"s\"},"
        "{\"fact\":\"bag\",\"table\":{\"torn\":1},\"when\":{\"fact\":\"where\",\"in\":[\"side\"]},"
        "\"because\":\"b\",\"source\":\"s\"},"
        "{\"fact\":\"bag\",\"table\":{\"torn\":4},\"unless\":{\"fact\":\"crumb_ph\",\"from\":5},"
        "\"because\":\"b\",\"source\":\"s\"}]}");
    fixture_file(&f, "causes/nk.json",
                 "{\"id\":\"nk\",\"title\":\"n\",\"symptoms\":{\"mold\":1,\"off-odor\":1,"
                 "\"staling\":1},\"background\":true}");
    struct rules *rules = rules_of(&f);
    struct fact_set facts;
    struct rank rank;
    double priors[2];
    fact_set_init(&facts, rules, 4);
    struct fact *ph = fact_set_at(&facts, rules_fact(rules, "crumb_ph"), 0);
    fact_set_number(ph, 5.5);
    ph->target = 5;
    for (int i = 0; i < 4; i++)
        fact_set_word(fact_set_at(&facts, rules_fact(rules, "where"), i), i < 2 ? "side" : "base");
    fact_set_word(fact_set_at(&facts, rules_fact(rules, "bag"), 0), "torn");
    fact_set_word(fact_set_at(&facts, rules_fact(rules, "bag"), 3), "torn");
    priors_shipped(rules, SYMPTOM_MOLD, priors);
    rank_make(&facts, SYMPTOM_MOLD, priors, &rank);
    const struct rank_cause *a = &rank.causes[rank_find(&rank, rules_cause(rules, "a"))];
    assert_near(a->items[0].bits, 0.5, 1e-12);
    assert_false(a->items[0].counted);
    assert_near(a->items[1].bits, -0.8, 1e-12);
    assert_true(a->items[1].counted);
    assert_near(a->items[2].bits, (2 + 2 - 0.5 - 0.5) / 4 * sqrt(4), 1e-12);
    assert_near(a->items[3].bits, 1, 1e-12); /* the second torn bag has no mold on the side */
    assert_true(isnan(a->items[4].bits));
    assert_near(a->bits, -0.8 + 1.5 + 1, 1e-12);
    rank_free(&rank);
    fact_set_clear(&facts);
    rules_free(rules);
    fixture_close(&f);
}

static void weighted(struct fixture *f, const char *id, double prior, const char *background)
{
    char name[64], text[512];
    snprintf(name, sizeof name, "causes/%s.json", id);
    snprintf(text, sizeof text,
             "{\"id\":\"%s\",\"title\":\"%s\",\"symptoms\":{\"mold\":%g,\"off-odor\":1,"
             "\"staling\":1},\"background\":%s}",
             id, id, prior, background);
    fixture_file(f, name, text);
}

/* Where evidence tells nothing, the rankings expect the shipped shares and verdicts add to the
 * shipped weights: Dirichlet prior (5,3,2)/10 x weight 10 and counts 7 2 1 give means .6 .25 .15
 * (conjugate updating, computed). */
static void test_priors(void **state)
{
    static const double MEANS[] = {.6, .25, .15};
    double seen[] = {7, 2, 1, 0}, expected[] = {5, 3, 2, 0};
    struct priors_sums sums = {.seen = seen, .expected = expected, .verdicts = 10};
    struct fixture f;
    double priors[4];
    (void)state;
    fixture_open(&f);
    fixture_file(&f, "ranking.json", "{\"prior_weight\":10}");
    weighted(&f, "a", 5, "false");
    weighted(&f, "b", 3, "false");
    weighted(&f, "c", 2, "false");
    weighted(&f, "nk", 10, "true");
    struct rules *rules = rules_of(&f);
    priors_learned(rules, SYMPTOM_MOLD, &sums, priors);
    for (int i = 0; i < 3; i++)
        assert_near(priors[i], MEANS[i] / 2, 1e-12);
    assert_near(priors[3], 0.5, 1e-12);
    /* what the rankings expected already is not learned once more */
    sums.expected = seen;
    priors_learned(rules, SYMPTOM_MOLD, &sums, priors);
    assert_near(priors[0], 0.25, 1e-12);
    assert_near(priors[1], 0.15, 1e-12);
    priors_shipped(rules, SYMPTOM_STALING, priors);
    assert_near(priors[0], 0.25, 1e-12);
    rules_free(rules);
    fixture_close(&f);
}

static void add_verdict(struct priors *priors, const struct rules *rules, const char *cause,
                        double day, const double *said)
{
    int64_t at = (int64_t)(day * WHEN_DAY_MS);
    priors_add(priors, &(struct priors_verdict){.at_ms = at,
                                                .as_of_ms = at,
                                                .symptom = SYMPTOM_MOLD,
                                                .cause = rules_cause(rules, cause),
                                                .weight = 1,
                                                .said = said});
}

/* Verdicts in time: a trouble counts once however many complain, two troubles twice; the share of
 * background moves by what the rankings had not expected of it; nothing acts before it was given.
 */
static void test_priors_in_time(void **state)
{
    struct fixture f;
    double one[3], many[3], two[3], before[3];
    (void)state;
    fixture_open(&f);
    fixture_file(&f, "ranking.json", "{\"prior_weight\":2,\"background_weight\":10}");
    weighted(&f, "a", 1, "false");
    weighted(&f, "b", 1, "false");
    weighted(&f, "nk", 2, "true");
    struct rules *rules = rules_of(&f);
    int a = rules_cause(rules, "a"), b = rules_cause(rules, "b"), nk = rules_cause(rules, "nk");
    struct priors *priors = priors_new(rules);
    add_verdict(priors, rules, "a", 100, NULL);
    priors_at(priors, SYMPTOM_MOLD, 101 * WHEN_DAY_MS, NULL, one);
    /* n 1, E .5 of each, s .5, W 2: a : b = .5 x 2 / 1.5 : .5 x 1 / 1.5 */
    assert_near(one[a] / one[b], 2, 1e-12);
    for (int i = 1; i < 9; i++)
        add_verdict(priors, rules, "a", 100 + i, NULL);
    priors_at(priors, SYMPTOM_MOLD, 200 * WHEN_DAY_MS, NULL, many);
    assert_near(many[a] / many[b], 2, 1e-12);
    add_verdict(priors, rules, "a", 150, NULL);
    priors_at(priors, SYMPTOM_MOLD, 200 * WHEN_DAY_MS, NULL, two);
    assert_near(two[a] / two[b], 3, 1e-12); /* n 2, E 1: (2 + 1) : (0 + 1) */
    priors_at(priors, SYMPTOM_MOLD, 100 * WHEN_DAY_MS, NULL, before);
    assert_near(before[a], 0.25, 1e-12);
    /* ten faults where half were expected to be background: odds 1 x 5/10 x 10/15 */
    assert_near(two[nk] / (1 - two[nk]), 5.0 / 10 * 10 / 15, 1e-12);
    assert_near(two[a] + two[b] + two[nk], 1, 1e-12);
    /* background is no trouble: it moves its own share, and nothing between the causes */
    double said[3] = {0}, after[3];
    said[a] = 0.5;
    said[b] = 0.1;
    said[nk] = 0.4;
    add_verdict(priors, rules, "nk", 160, said);
    priors_at(priors, SYMPTOM_MOLD, 200 * WHEN_DAY_MS, NULL, after);
    assert_near(after[a] / after[b], two[a] / two[b], 1e-12);
    assert_true(after[nk] > two[nk]);
    priors_free(priors);
    rules_free(rules);
    fixture_close(&f);
}

/* Far-apart weights neither overflow nor vanish. */
static void test_extremes(void **state)
{
    struct fixture f;
    struct rank rank;
    (void)state;
    fixture_open(&f);
    fixture_file(&f, "ranking.json", "{\"pool_exponent\":1}");
    machine(&f, "a", 1, .999);
    machine(&f, "b", 1, .001);
    struct rules *rules = rules_of(&f);
    rank_draws(rules, 400, 0, &rank);
    assert_near(rank.causes[0].probability, 1, 1e-12);
    assert_true(rank.causes[1].probability >= 0);
    rank_free(&rank);
    rules_free(rules);
    fixture_close(&f);
}

/* Against the plant's usual a ratio says as much as the lot stands apart from the others; against a
 * target it says what it says. What speaks against the cause is left as it is. */
static void test_ratio_without_target(void **state)
{
    static const struct {
        double value, target, usual, z, bits, other_bits;
    } CASES[] = {{.5, NAN, 1, 6, 4, 4},
                 {.5, NAN, 1, 1.5, 2, 2.5},
                 {.5, 1, 1, 1.5, 4, 4},
                 {.5, NAN, 1, NAN, 4, 4},
                 {1, NAN, 1, .1, -2, 1}};
    struct fixture f;
    (void)state;
    fixture_open(&f);
    fixture_file(&f, "causes/a.json",
                 "{\"id\":\"a\",\"title\":\"t\",\"symptoms\":{\"mold\":1,\"off-odor\":1,"
                 "\"staling\":1},\"background\":true,\"evidence\":[{\"fact\":\"crumb_ph\","
                 "\"as\":\"ratio\",\"curve\":[[0.5,4],[1,-2]],\"because\":\"b\",\"source\":\"s\"},"
                 "{\"fact\":\"crumb_ph\",\"as\":\"ratio\",\"curve\":[[0.5,4],[1,1]],"
                 "\"because\":\"b\",\"source\":\"s\"}]}");
    struct rules *rules = rules_of(&f);
    const struct rule_evidence *evidence = rules->causes[0].evidence;
    for (size_t i = 0; i < sizeof CASES / sizeof CASES[0]; i++) {
        struct fact fact = {.known = true,
                            .value = CASES[i].value,
                            .target = CASES[i].target,
                            .usual = CASES[i].usual,
                            .z = CASES[i].z,
                            .bits = NAN};
        assert_near(evidence_bits_of(&evidence[0], &fact), CASES[i].bits, 1e-12);
        /* where a usual lot speaks for the cause as well, so much is left of it */
        assert_near(evidence_bits_of(&evidence[1], &fact), CASES[i].other_bits, 1e-12);
    }
    rules_free(rules);
    fixture_close(&f);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_two_machines),
        cmocka_unit_test(test_third_machine),
        cmocka_unit_test(test_cause_without_share),
        cmocka_unit_test(test_surer),
        cmocka_unit_test(test_missing_clue),
        cmocka_unit_test(test_groups_pool_guards),
        cmocka_unit_test(test_priors),
        cmocka_unit_test(test_priors_in_time),
        cmocka_unit_test(test_extremes),
        cmocka_unit_test(test_ratio_without_target),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

/* What kept verdicts are worth at a plant: how often rankings would have had the cause first, with
 * and without what was confirmed nearby. */
#include "fixture.h"
#include "rank/learning.h"
#include "store/ranking.h"
#include "store/verdict.h"

enum { MOST = 4 };

/* Lots of line 1, far apart but for the last two. */
static const struct settled {
    int lot_day;
    struct ranking_cause said[MOST];
    int count;
    const char *was, *confirmed_by;
} SETTLED[] = {
    {1, {{"a", .7}, {"b", .1}, {"c", .1}, {"nk", .1}}, 4, "a", "inspection"},
    {10, {{"a", .1}, {"b", .7}, {"c", .1}, {"nk", .1}}, 4, "b", "inspection"},
    {20, {{"a", .1}, {"b", .1}, {"c", .7}, {"nk", .1}}, 4, "c", "inspection"},
    {30, {{"a", .1}, {"b", .1}, {"c", .1}, {"nk", .7}}, 4, "nk", "inspection"},
    {40, {{"a", .1}, {"b", .6}, {"c", .2}, {"nk", .1}}, 4, "c", "inspection"},    /* wrong */
    {50, {{"", 0}}, 0, "a", "inspection"},                                        /* not ranked */
    {-1, {{"a", .7}, {"b", .1}, {"c", .1}, {"nk", .1}}, 4, "a", "inspection"},    /* of no lot */
    {60, {{"a", .7}, {"b", .1}, {"c", .1}, {"nk", .1}}, 4, "gone", "inspection"}, /* no such */
    {70, {{"a", .7}, {"b", .1}, {"c", .1}, {"nk", .1}}, 4, "a", "inspection"},
    {71, {{"a", .44}, {"b", .46}, {"c", .05}, {"nk", .05}}, 4, "a", "inspection"}, /* beside it */
};
enum { CASES = 7, RIGHT = 5, RIGHT_NEARBY = 6 };

static void settle(struct fixture *f, const struct settled *one, const char *plant)
{
    struct error err = {0};
    int64_t lot = one->lot_day < 0 ? 0 : fixture_lot(one->lot_day, 1, 0);
    int64_t at_ms = AT(one->lot_day < 0 ? 80 : one->lot_day + 3, 0);
    int64_t id = fixture_complain(f, "mold", lot, at_ms, "{}");
    fixture_sql(f, "UPDATE complaint_case SET plant = '%s' WHERE id = %lld", plant, (long long)id);
    struct ranking ranking = {.case_id = id,
                              .as_of_ms = at_ms,
                              .complaints = 1,
                              .rules = "sha256:00",
                              .causes = (struct ranking_cause *)(uintptr_t)one->said,
                              .cause_count = one->count};
    assert_int_equal(store_begin(f->store, &err), 0);
    if (one->count && ranking_save(f->store, &ranking, &err))
        fail_msg("%s", err.text);
    const struct verdict_new verdict = {id,  at_ms + WHEN_HOUR_MS, one->was, one->confirmed_by, "",
                                        "qa"};
    if (verdict_add(f->store, &verdict, &err))
        fail_msg("%s", err.text);
    assert_int_equal(store_commit(f->store, &err), 0);
}

static struct triage *plant_of(struct fixture *f)
{
    static const char *const CAUSES[] = {"a", "b", "c", "nk"};
    fixture_open(f);
    fixture_plant(f, 75);
    for (size_t i = 0; i < sizeof CAUSES / sizeof *CAUSES; i++) {
        char name[40], text[200];
        snprintf(name, sizeof name, "causes/%s.json", CAUSES[i]);
        snprintf(text, sizeof text,
                 "{\"id\":\"%s\",\"title\":\"t\",\"symptoms\":{\"mold\":1,\"off-odor\":1,"
                 "\"staling\":1}%s}",
                 CAUSES[i], i == 3 ? ",\"background\":true" : "");
        fixture_file(f, name, text);
    }
    return fixture_triage(f);
}

static void learned_is(struct fixture *f, struct triage *triage, struct when_span span,
                       const char *plant, struct case_rank_learned wanted)
{
    struct case_rank_learned found;
    struct error err = {0};
    if (case_rank_learned(triage, f->store, span, plant, &found, &err))
        fail_msg("%s", err.text);
    assert_int_equal(found.cases, wanted.cases);
    assert_int_equal(found.right_without, wanted.right_without);
    assert_int_equal(found.right_with, wanted.right_with);
}

static void how_often_the_cause_was_first(void **state)
{
    const struct when_span all = {0, AT(100, 0)};
    struct fixture f;
    struct triage *triage = plant_of(&f);
    (void)state;
    for (size_t i = 0; i < sizeof SETTLED / sizeof *SETTLED; i++) {
        settle(&f, &SETTLED[i], i == 2 ? "Mill" : "");
        if (i == 0) /* and again below, when more are known */
            learned_is(&f, triage, all, NULL, (struct case_rank_learned){1, 1, 1});
    }
    learned_is(&f, triage, all, NULL, (struct case_rank_learned){CASES, RIGHT, RIGHT_NEARBY});
    learned_is(&f, triage, all, "Mill", (struct case_rank_learned){1, 1, 1});
    learned_is(&f, triage, (struct when_span){AT(5, 0), AT(35, 0)}, "",
               (struct case_rank_learned){3, 3, 3});
    learned_is(&f, triage, (struct when_span){AT(100, 0), AT(200, 0)}, NULL,
               (struct case_rank_learned){0, 0, 0});
    triage_free(triage);
    fixture_close(&f);
}

/* The prior of `a` for a case of mold at line 1 on day 90. */
static double prior_of_a(struct fixture *f, struct triage *triage, int64_t as_of_ms)
{
    const struct case_input input = {.symptom = SYMPTOM_MOLD, .as_of_ms = as_of_ms};
    struct error err = {0};
    double *priors = NULL;
    if (case_rank_priors(triage, f->store, &input, NULL, &priors, &err))
        fail_msg("%s", err.text);
    double a = priors[rules_cause(triage->rules, "a")];
    free(priors);
    return a;
}

/* A verdict of judgement weighs half of one that was inspected; what is given later tells nothing
 * yet, and what is taken back nothing more. */
static void verdicts_teach(void **state)
{
    const struct settled sure = {1, {{"", 0}}, 0, "a", "inspection"};
    const struct settled judged = {1, {{"", 0}}, 0, "a", "judgement"};
    double after[2];
    (void)state;
    for (int i = 0; i < 2; i++) {
        struct fixture f;
        struct triage *triage = plant_of(&f);
        double before = prior_of_a(&f, triage, AT(90, 0));
        settle(&f, i ? &judged : &sure, "");
        after[i] = prior_of_a(&f, triage, AT(90, 0));
        assert_true(after[i] > before);
        assert_near(prior_of_a(&f, triage, AT(4, 0)), before, 1e-12);
        struct error err = {0};
        assert_int_equal(store_begin(f.store, &err), 0);
        assert_int_equal(verdict_reopen(f.store, 1, "", "qa", AT(50, 0), &err), 0);
        assert_int_equal(store_commit(f.store, &err), 0);
        assert_near(prior_of_a(&f, triage, AT(90, 0)), before, 1e-12);
        triage_free(triage);
        fixture_close(&f);
    }
    assert_true(after[1] < after[0]);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(how_often_the_cause_was_first),
        cmocka_unit_test(verdicts_teach),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

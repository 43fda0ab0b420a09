/* How good rankings were: five that verdicts have judged, worked out by hand, and a case that was
 * settled before anything was said of it. */
#include "../rank/fixture.h"
#include "store/ranking.h"
#include "store/verdict.h"
#include "tell/tell.h"

enum { MOST = 4 };

static const struct judged {
    struct ranking_cause said[MOST];
    int count;
    const char *was;
} JUDGED[] = {
    {{{"packed-hot", .7}, {"old-stock", .2}, {"not-known", .1}}, 3, "packed-hot"}, /* first */
    {{{"packed-hot", .6}, {"old-stock", .3}, {"not-known", .1}}, 3, "old-stock"},  /* second */
    {{{"packed-hot", .5}, {"old-stock", .3}, {"contamination-slicer", .15}, {"not-known", .05}},
     4,
     "not-known"},                                                        /* fourth */
    {{{"packed-hot", .9}, {"not-known", .1}}, 2, "contamination-slicer"}, /* not said at all */
    {{{"packed-hot", 1}, {"not-known", 0}}, 2, "not-known"}, /* said to be impossible */
    {{{"", 0}}, 0, "old-stock"},
};

static void judge(struct fixture *f, int number)
{
    const struct judged *one = &JUDGED[number];
    struct error err = {0};
    int64_t id = fixture_complain(f, "mold", fixture_lot(number, 1, 0), AT(20, number), "{}");
    struct ranking ranking = {.case_id = id,
                              .as_of_ms = AT(20, number),
                              .complaints = 1,
                              .rules = "sha256:00",
                              .causes = (struct ranking_cause *)one->said,
                              .cause_count = one->count};
    assert_int_equal(store_begin(f->store, &err), 0);
    if (one->count && ranking_save(f->store, &ranking, &err))
        fail_msg("%s", err.text);
    const struct verdict_new verdict = {id, AT(30, number), one->was, "inspection", "", "qa"};
    if (verdict_add(f->store, &verdict, &err))
        fail_msg("%s", err.text);
    assert_int_equal(store_commit(f->store, &err), 0);
}

static double number(const json_t *object, const char *name)
{
    const json_t *value = json_object_get(object, name);
    assert_true(json_is_number(value));
    return json_number_value(value);
}

static json_t *scores_of(struct fixture *f, struct triage *triage, int64_t from_ms, int64_t to_ms)
{
    struct error err = {0};
    json_t *scores = NULL;
    if (tell_scores(triage, f->store, (struct when_span){from_ms, to_ms}, &scores, &err))
        fail_msg("%s", err.text);
    assert_true(json_is_array(json_object_get(scores, "proposals")));
    return scores;
}

static struct triage *plant(struct fixture *f)
{
    static const char *const FILES[] = {"causes/packed-hot.json",
                                        "causes/contamination-slicer.json", "causes/old-stock.json",
                                        "causes/not-known.json", "asks.json"};
    fixture_open(f);
    fixture_plant(f, 10);
    for (size_t i = 0; i < sizeof FILES / sizeof *FILES; i++)
        fixture_copy(f, "tests/rank/rules", FILES[i]);
    for (int i = 0; i < (int)(sizeof JUDGED / sizeof *JUDGED); i++)
        judge(f, i);
    return fixture_triage(f);
}

static void row_is(const json_t *list, size_t index, double said, double was, int n)
{
    const json_t *row = json_array_get(list, index);
    assert_near(number(row, "said"), said, 1e-9);
    assert_near(number(row, "was"), was, 1e-9);
    assert_int_equal(number(row, "n"), n);
}

static void test_worked_out_by_hand(void **state)
{
    struct fixture f;
    (void)state;
    struct triage *triage = plant(&f);
    json_t *scores = scores_of(&f, triage, 0, AT(100, 0));
    assert_int_equal(number(scores, "verdicts"), 5);
    assert_near(number(scores, "top1"), 1 / 5., 1e-9);
    assert_near(number(scores, "top3"), 3 / 5., 1e-9);
    assert_int_equal(number(scores, "floored"), 2);
    assert_near(number(scores, "log_score"), -(log(.7) + log(.3) + log(.05) + 2 * log(1e-4)) / 5,
                5e-5);
    assert_near(number(scores, "case_brier"), (.14 + .86 + 1.265 + 1.82 + 2) / 5, 1e-9);
    /* fourteen statements, four of which came true */
    const json_t *brier = json_object_get(scores, "brier");
    assert_near(number(brier, "score"), (.14 + .86 + 1.265 + .82 + 2) / 14, 1e-6);
    assert_near(number(brier, "uncertainty"), 4 / 14. * 10 / 14, 1e-6);
    const json_t *rows = json_object_get(scores, "calibration");
    assert_int_equal(json_array_size(rows), 8);
    row_is(rows, 0, .025, 1, 2);  /* .05 and 0, both true */
    row_is(rows, 1, .1125, 0, 4); /* .1 thrice and .15 */
    row_is(rows, 2, .2, 0, 1);
    row_is(rows, 3, .3, .5, 2);
    row_is(rows, 7, .95, 0, 2); /* .9 and 1 */
    assert_near(number(scores, "calibration_error"),
                (2 * .975 + 4 * .1125 + .2 + 2 * .2 + .5 + .6 + .3 + 2 * .95) / 14, 5e-5);
    const json_t *first = json_object_get(scores, "top_calibration");
    assert_int_equal(json_array_size(first), 4);
    row_is(first, 2, .7, 1, 1);
    row_is(first, 3, .95, 0, 2);
    assert_near(number(scores, "top_calibration_error"), (.5 + .6 + .3 + 2 * .95) / 5, 5e-5);
    json_decref(scores);
    triage_free(triage);
    fixture_close(&f);
}

/* Only verdicts of the period; of none, nothing is claimed. */
static void test_by_the_time_of_the_verdict(void **state)
{
    struct fixture f;
    (void)state;
    struct triage *triage = plant(&f);
    json_t *scores = scores_of(&f, triage, AT(30, 1), AT(30, 3));
    assert_int_equal(number(scores, "verdicts"), 2);
    assert_near(number(scores, "top3"), .5, 1e-9);
    json_decref(scores);
    scores = scores_of(&f, triage, AT(50, 0), AT(60, 0));
    assert_int_equal(number(scores, "verdicts"), 0);
    assert_true(json_is_null(json_object_get(scores, "top1")));
    assert_true(json_is_null(json_object_get(scores, "calibration_error")));
    assert_true(json_is_null(json_object_get(json_object_get(scores, "brier"), "score")));
    assert_int_equal(json_array_size(json_object_get(scores, "calibration")), 0);
    json_decref(scores);
    triage_free(triage);
    fixture_close(&f);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_worked_out_by_hand),
        cmocka_unit_test(test_by_the_time_of_the_verdict),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

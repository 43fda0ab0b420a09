/* How good rankings were: five that verdicts have judged, worked out by hand, and a case that was
 * settled before anything was said of it. */
#include "../failing.h"
#include "../rank/fixture.h"
#include "store/ranking.h"
#include "store/stage.h"
#include "store/verdict.h"
#include "tell/gaps.h"
#include "tell/tell.h"
#include "tell/whatif.h"

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
    if (tell_scores(triage, f->store, &(struct stage_of){{from_ms, to_ms}, NULL}, &scores, &err))
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
    /* 1 of 5, R 4.2, prop.test(1, 5, correct=FALSE) */
    assert_near(number(json_object_get(scores, "top1_range"), "low"), 0.0362, 5e-5);
    assert_near(number(json_object_get(scores, "top1_range"), "high"), 0.6245, 5e-5);
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

/* ---- a disk that fails ---- */

struct asked {
    struct fixture *f;
    int64_t case_id;
    int (*view)(struct asked *a, struct triage *triage, json_t **ret, struct error *err);
};

static int ranking(struct asked *a, struct triage *triage, json_t **ret, struct error *err)
{
    return tell_case(triage, a->f->store, a->case_id, ret, NULL, err);
}

static int kept(struct asked *a, struct triage *triage, json_t **ret, struct error *err)
{
    return tell_kept(triage, a->f->store, a->case_id, 1, ret, err);
}

static int why(struct asked *a, struct triage *triage, json_t **ret, struct error *err)
{
    return tell_why(triage, a->f->store, a->case_id, NULL, ret, err);
}

static int reach(struct asked *a, struct triage *triage, json_t **ret, struct error *err)
{
    const struct tell_asked asked = {.case_id = a->case_id, .now_ms = AT(31, 0)};
    return tell_reach(triage, a->f->store, &asked, ret, err);
}

static int facts(struct asked *a, struct triage *triage, json_t **ret, struct error *err)
{
    return tell_facts(triage, a->f->store, a->case_id, ret, err);
}

static int asks(struct asked *a, struct triage *triage, json_t **ret, struct error *err)
{
    return tell_ask(triage, a->f->store, a->case_id, ret, err);
}

static int lot(struct asked *a, struct triage *triage, json_t **ret, struct error *err)
{
    return tell_lot(triage, a->f->store, fixture_lot(1, 1, 0), ret, err);
}

static int around(struct asked *a, struct triage *triage, json_t **ret, struct error *err)
{
    *ret = json_object();
    return tell_lot_around(triage, a->f->store, fixture_lot(1, 1, 0), *ret, err);
}

static int sheet(struct asked *a, struct triage *triage, json_t **ret, struct error *err)
{
    return tell_sheet(triage, a->f->store, a->case_id, ret, err);
}

static int scores(struct asked *a, struct triage *triage, json_t **ret, struct error *err)
{
    return tell_scores(triage, a->f->store, &(struct stage_of){{0, AT(100, 0)}, NULL}, ret, err);
}

static int proposals(struct asked *a, struct triage *triage, json_t **ret, struct error *err)
{
    return tell_proposals(triage, a->f->store, &(struct stage_of){{0, AT(100, 0)}, NULL}, ret, err);
}

static int gaps(struct asked *a, struct triage *triage, json_t **ret, struct error *err)
{
    const struct gaps_query query = {.weeks = 2, .cases_ms = 60 * WHEN_DAY_MS, .within_ms = 60000};
    return gaps_tell(triage, a->f->store, &query, ret, err);
}

static int whatif(struct asked *a, struct triage *triage, json_t **ret, struct error *err)
{
    const struct whatif asked = {.lot_id = fixture_lot(1, 1, 0)};
    return whatif_tell(triage, a->f->store, &asked, ret, err);
}

/* By a set of rules of its own: nothing is kept from an earlier answer. */
static int ask_view(void *arg, struct error *err)
{
    struct asked *a = arg;
    struct triage *triage = fixture_triage(a->f);
    json_t *told = NULL;
    int rc = a->view(a, triage, &told, err);
    json_decref(told);
    triage_free(triage);
    return rc;
}

/* Candidates, neighbours and samples around a lot are left out where they cannot be read, and the
 * whole answer then says that something could not (store_failed()). */
static void what_cannot_be_read_is_no_answer(void **state)
{
#define ROW(view, unsaid)                                                                          \
    {                                                                                              \
#view, view, unsaid                                                                        \
    }
    static const struct {
        const char *name;
        int (*view)(struct asked *, struct triage *, json_t **, struct error *);
        int unsaid;
    } VIEWS[] = {
        ROW(ranking, 0),   ROW(kept, 0), ROW(why, 0),    ROW(reach, 0), ROW(facts, 0),
        ROW(asks, 0),      ROW(lot, 0),  ROW(around, 5), ROW(sheet, 0), ROW(scores, 0),
        ROW(proposals, 0), ROW(gaps, 0), ROW(whatif, 0),
    };
    struct fixture f;
    struct asked a = {.f = &f, .case_id = 1};
    (void)state;
    triage_free(plant(&f));
    for (size_t i = 0; i < COUNT_OF(VIEWS); i++) {
        a.view = VIEWS[i].view;
        failing_check(f.store, ask_view, &a, VIEWS[i].name, VIEWS[i].unsaid);
    }
    fixture_close(&f);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_worked_out_by_hand),
        cmocka_unit_test(test_by_the_time_of_the_verdict),
        cmocka_unit_test(what_cannot_be_read_is_no_answer),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

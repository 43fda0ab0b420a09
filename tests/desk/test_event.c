/* When a case is worth another mail. */
#include "check.h"
#include "desk/event.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct sample {
    struct ranking ranking;
    struct ranking_cause cause;
};

static struct ranking *ranking(struct sample *s, const char *cause, double p, int complaints)
{
    snprintf(s->cause.cause, sizeof s->cause.cause, "%s", cause);
    s->cause.probability = p;
    s->ranking = (struct ranking){.complaints = complaints, .causes = &s->cause, .cause_count = 1};
    return &s->ranking;
}

static void check(const struct ranking *was, const struct ranking *now, const char *expected)
{
    const char *why = event_case_reason(was, now);
    if (expected) {
        assert_non_null(why);
        assert_string_equal(why, expected);
    } else {
        assert_null(why);
    }
}

static void first(void **state)
{
    struct sample a;
    (void)state;
    check(NULL, ranking(&a, "packed-hot", 0.4, 1), "a new case");
}

static void nothing_new(void **state)
{
    struct sample a, b;
    (void)state;
    check(ranking(&a, "packed-hot", 0.4, 2), ranking(&b, "packed-hot", 0.45, 3), NULL);
}

/* Whoever was mailed a case as mold must hear of the illness, whatever leads. */
static void harm_is_news(void **state)
{
    struct sample a, b;
    struct ranking *was = ranking(&a, "packed-hot", 0.99, 5),
                   *now = ranking(&b, "packed-hot", 0.99, 6);
    (void)state;
    now->harm = true;
    check(was, now, "harm was reported");
    was->harm = true;
    check(was, now, NULL);
}

static void another_cause(void **state)
{
    struct sample a, b;
    (void)state;
    check(ranking(&a, "packed-hot", 0.4, 1), ranking(&b, "old-stock", 0.4, 1),
          "the likeliest cause changed");
}

static void a_band_crossed(void **state)
{
    struct sample a, b;
    (void)state;
    check(ranking(&a, "packed-hot", 0.6, 2), ranking(&b, "packed-hot", 0.75, 3),
          "the likeliest cause became more or less sure");
    check(ranking(&a, "packed-hot", 0.699, 2), ranking(&b, "packed-hot", 0.701, 3), NULL);
}

static void doubled(void **state)
{
    struct sample a, b;
    (void)state;
    check(ranking(&a, "packed-hot", 0.6, 2), ranking(&b, "packed-hot", 0.6, 4),
          "complaints doubled");
    check(ranking(&a, "packed-hot", 0.6, 2), ranking(&b, "packed-hot", 0.6, 3), NULL);
}

static struct ranking *of_lot(struct sample *s, const char *lot, int moved_here)
{
    struct ranking *now = ranking(s, "packed-hot", 0.4, 1);
    now->lot_told = true;
    now->moved_here = moved_here;
    snprintf(now->lot, sizeof now->lot, "%s", lot);
    return now;
}

/* Of a kind that has no causes: as much news as any, but of causes. */
static void without_causes(void **state)
{
    struct ranking was = {.complaints = 2}, now = {.complaints = 3};
    struct sample a;
    (void)state;
    check(NULL, &now, "a new case");
    check(&was, &now, NULL);
    now.complaints = 4;
    check(&was, &now, "complaints doubled");
    check(&was, ranking(&a, "packed-hot", 0.4, 2), "the likeliest cause changed");
}

static void another_lot(void **state)
{
    struct sample a, b;
    (void)state;
    check(of_lot(&a, "", 0), of_lot(&b, "L1", 0), "its lot is known now");
    check(of_lot(&a, "L1", 0), of_lot(&b, "L2", 0), "it is about another lot than told before");
    check(of_lot(&a, "L1", 0), of_lot(&b, "", 0), "the lot told before is in doubt");
    check(of_lot(&a, "L1", 0), of_lot(&b, "L1", 1), "another case was found to be about this lot");
    check(of_lot(&a, "L1", 0), of_lot(&b, "L1", 0), NULL);
    check(of_lot(&a, "", 0), of_lot(&b, "", 0), NULL);
    check(ranking(&a, "packed-hot", 0.4, 1), of_lot(&b, "L1", 0), NULL);
}

static void urgent_events_hold_no_contact(void **state)
{
    (void)state;
    json_t *body = json_pack("{s:s, s:[s], s:{s:s}, s:s}", "id", "u", "harm", "illness", "contact",
                             "name", "Dana Quill", "note", "call Dana");
    json_t *needs = json_pack("[s]", "a qualified person decides");
    json_t *told = json_pack("{s:s}", "lot_says", "likely L1 (90 %)");
    json_t *event = event_urgent("P", needs, body, told);
    json_decref(told);
    json_decref(needs);
    char *text = json_dumps(event, 0);
    assert_null(strstr(text, "Dana"));
    assert_non_null(strstr(text, "illness"));
    assert_non_null(strstr(text, "likely L1 (90 %)"));
    free(text);
    json_decref(event);
    json_decref(body);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(first),
        cmocka_unit_test(nothing_new),
        cmocka_unit_test(harm_is_news),
        cmocka_unit_test(another_cause),
        cmocka_unit_test(a_band_crossed),
        cmocka_unit_test(doubled),
        cmocka_unit_test(without_causes),
        cmocka_unit_test(another_lot),
        cmocka_unit_test(urgent_events_hold_no_contact),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

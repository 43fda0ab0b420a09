/* When a case is worth another mail. */
#include "check.h"
#include "desk/event.h"
#include <stdlib.h>
#include <string.h>

static json_t *ranking(const char *cause, double p, int complaints)
{
    json_t *list = json_array();
    for (int i = 0; i < complaints; i++)
        json_array_append_new(list, json_string("id"));
    return json_pack("{s:o, s:[{s:s, s:f}]}", "complaints", list, "ranked", "cause", cause,
                     "probability", p);
}

static void check(json_t *was, json_t *now, const char *expected)
{
    const char *why = event_case_reason(was, now);
    if (expected) {
        assert_non_null(why);
        assert_string_equal(why, expected);
    } else {
        assert_null(why);
    }
    json_decref(was);
    json_decref(now);
}

static void first(void **state)
{
    (void)state;
    check(NULL, ranking("packed-hot", 0.4, 1), "a new case");
}

static void nothing_new(void **state)
{
    (void)state;
    check(ranking("packed-hot", 0.4, 2), ranking("packed-hot", 0.45, 3), NULL);
}

static void another_cause(void **state)
{
    (void)state;
    check(ranking("packed-hot", 0.4, 1), ranking("old-stock", 0.4, 1),
          "the likeliest cause changed");
}

static void a_band_crossed(void **state)
{
    (void)state;
    check(ranking("packed-hot", 0.6, 2), ranking("packed-hot", 0.75, 3),
          "the likeliest cause became more or less sure");
    check(ranking("packed-hot", 0.699, 2), ranking("packed-hot", 0.701, 3), NULL);
}

static void doubled(void **state)
{
    (void)state;
    check(ranking("packed-hot", 0.6, 2), ranking("packed-hot", 0.6, 4), "complaints doubled");
    check(ranking("packed-hot", 0.6, 2), ranking("packed-hot", 0.6, 3), NULL);
}

static json_t *of_lot(const char *lot, const char *moved_here)
{
    json_t *now = ranking("packed-hot", 0.4, 1);
    json_object_set_new(now, "lot_state", json_string(lot ? "likely" : "several"));
    json_object_set_new(now, "lot", lot ? json_string(lot) : json_null());
    json_object_set_new(now, "moved_here", json_array());
    if (moved_here)
        json_array_append_new(json_object_get(now, "moved_here"), json_string(moved_here));
    return now;
}

static void another_lot(void **state)
{
    (void)state;
    check(of_lot(NULL, NULL), of_lot("L1", NULL), "its lot is known now");
    check(of_lot("L1", NULL), of_lot("L2", NULL), "it is about another lot than told before");
    check(of_lot("L1", NULL), of_lot(NULL, NULL), "the lot told before is in doubt");
    check(of_lot("L1", NULL), of_lot("L1", "C5"), "another case was found to be about this lot");
    check(of_lot("L1", NULL), of_lot("L1", NULL), NULL);
    check(of_lot(NULL, NULL), of_lot(NULL, NULL), NULL);
    check(ranking("packed-hot", 0.4, 1), of_lot("L1", NULL), NULL);
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
        cmocka_unit_test(another_cause),
        cmocka_unit_test(a_band_crossed),
        cmocka_unit_test(doubled),
        cmocka_unit_test(another_lot),
        cmocka_unit_test(urgent_events_hold_no_contact),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

/* What verdicts teach in time: which of them are of one trouble, and which teach nothing. Verdicts
 * without a ranking expect what was shipped, so that only how many troubles there were counts. */
#include "fixture.h"
#include "rank/priors.h"

#define DAY(n) ((int64_t)((n) * (double)WHEN_DAY_MS))

struct learning {
    struct rules *rules;
    int fault, other; /* a cause of mold that is none of the background, and no cause of mold */
    double *before, *after;
};

static int setup(void **state)
{
    struct learning *l = xcalloc(1, sizeof *l);
    struct error err = {0};
    if (rules_load(ODDLOAF_SOURCE_DIR "/rules", NULL, NULL, &l->rules, &err))
        fail_msg("%s", err.text);
    const int n = l->rules->cause_count;
    l->before = xcalloc((size_t)n, sizeof *l->before);
    l->after = xcalloc((size_t)n, sizeof *l->after);
    priors_shipped(l->rules, SYMPTOM_MOLD, l->before);
    l->fault = l->other = -1;
    for (int i = 0; i < n; i++) {
        if (l->before[i] > 0 && !l->rules->causes[i].background)
            l->fault = i;
        if (!(l->before[i] > 0))
            l->other = i;
    }
    assert_true(l->fault >= 0 && l->other >= 0);
    *state = l;
    return 0;
}

static int teardown(void **state)
{
    struct learning *l = *state;
    rules_free(l->rules);
    free(l->before);
    free(l->after);
    free(l);
    return 0;
}

/* The fault's share of all faults once its verdicts came, of cases of these days. */
static double taught(struct learning *l, const double *days, int count)
{
    struct priors *priors = priors_new(l->rules);
    for (int i = 0; i < count; i++)
        priors_add(priors, &(struct priors_verdict){.at_ms = DAY(100 + i),
                                                    .as_of_ms = DAY(days[i]),
                                                    .symptom = SYMPTOM_MOLD,
                                                    .cause = l->fault,
                                                    .weight = 1});
    priors_at(priors, SYMPTOM_MOLD, DAY(200), NULL, l->after);
    priors_free(priors);
    double faults = 0; /* how many cases are faults at all is learned apart */
    for (int i = 0; i < l->rules->cause_count; i++)
        faults += l->rules->causes[i].background ? 0 : l->after[i];
    return l->after[l->fault] / faults;
}

/* Cases at most 14 days apart are one trouble, however long it lasts, whichever is confirmed first;
 * others are another. */
static void troubles_are_told_apart_by_their_days(void **state)
{
    static const struct {
        double days[3];
        int count, troubles;
    } TOLD[] = {{{0}, 1, 1},         {{0, 0}, 2, 1},      {{0, 14}, 2, 1},     {{0, 14.01}, 2, 2},
                {{14, 0}, 2, 1},     {{14.01, 0}, 2, 2},  {{0, 13, 26}, 3, 1}, {{26, 13, 0}, 3, 1},
                {{0, 26, 13}, 3, 2}, {{0, 20, 40}, 3, 3}, {{13, 26, 0}, 3, 1}};
    struct learning *l = *state;
    double by[4] = {taught(l, NULL, 0), 0, 0, 0};
    for (int n = 1; n <= 3; n++) {
        const double apart[] = {0, 20, 40};
        by[n] = taught(l, apart, n);
        assert_true(by[n] > by[n - 1] * 1.001);
    }
    for (size_t i = 0; i < sizeof TOLD / sizeof *TOLD; i++)
        assert_near(taught(l, TOLD[i].days, TOLD[i].count), by[TOLD[i].troubles], 1e-12);
}

/* By the rules of today it is none of that symptom. */
static void a_cause_that_is_none_of_the_symptom_teaches_nothing(void **state)
{
    struct learning *l = *state;
    struct priors *priors = priors_new(l->rules);
    priors_add(priors, &(struct priors_verdict){.at_ms = DAY(1),
                                                .as_of_ms = DAY(0),
                                                .symptom = SYMPTOM_MOLD,
                                                .cause = l->other,
                                                .weight = 1});
    priors_at(priors, SYMPTOM_MOLD, DAY(2), NULL, l->after);
    for (int i = 0; i < l->rules->cause_count; i++)
        assert_near(l->after[i], l->before[i], 1e-15);
    priors_free(priors);
}

/* Whoever is ranked as of an older day knows of no later verdict; all shares stay shares. */
static void verdicts_count_from_when_they_are_given(void **state)
{
    struct learning *l = *state;
    struct priors *priors = priors_new(l->rules);
    double sum = 0;
    for (int day = 50; day <= 90; day += 20)
        priors_add(priors, &(struct priors_verdict){.at_ms = DAY(day),
                                                    .as_of_ms = DAY(day - 40),
                                                    .symptom = SYMPTOM_MOLD,
                                                    .cause = l->fault,
                                                    .weight = .5});
    double last = l->before[l->fault];
    priors_at(priors, SYMPTOM_MOLD, DAY(50), NULL, l->after);
    assert_near(l->after[l->fault], last, 1e-15);
    for (int day = 50; day <= 90; day += 20) {
        priors_at(priors, SYMPTOM_MOLD, DAY(day) + 1, NULL, l->after);
        assert_true(l->after[l->fault] > last);
        last = l->after[l->fault];
    }
    for (int i = 0; i < l->rules->cause_count; i++)
        sum += l->after[i];
    assert_near(sum, 1, 1e-9);
    priors_at(priors, SYMPTOM_STALING, DAY(99), NULL, l->after);
    priors_shipped(l->rules, SYMPTOM_STALING, l->before);
    for (int i = 0; i < l->rules->cause_count; i++)
        assert_near(l->after[i], l->before[i], 1e-15);
    priors_free(priors);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(troubles_are_told_apart_by_their_days, setup, teardown),
        cmocka_unit_test_setup_teardown(a_cause_that_is_none_of_the_symptom_teaches_nothing, setup,
                                        teardown),
        cmocka_unit_test_setup_teardown(verdicts_count_from_when_they_are_given, setup, teardown),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

/* Callers misread the codes of an invented bakery; the matcher has to find the lot and to know how
 * sure it is. The larger runs are in tests/bench/bench_lots.c. */
#include "check.h"

#include "base/error.h"
#include "lots/lot_rules.h"
#include "lots/match.h"
#include "sim.c" /* shared with the benchmark, no test of its own */
#include "store/store.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

struct world {
    char folder[64], rules[96];
    struct store *store;
    struct lot_matcher *matcher;
    struct sim sim;
};

static int set_up(void **state)
{
    struct world *w = calloc(1, sizeof *w);
    struct error err = {0};
    strcpy(w->folder, "/tmp/oddloaf-sim-XXXXXX");
    if (!w || !mkdtemp(w->folder) || store_open(w->folder, STORE_WRITE, &w->store, &err) < 0)
        return -1;
    struct sim_company bakery = sim_bakery(2026);
    sim_make(&w->sim, &bakery, w->store);
    snprintf(w->rules, sizeof w->rules, "%s/lots.json", w->folder);
    sim_rules(&w->sim, w->rules);
    *state = w;
    return lot_rules_load(w->rules, NULL, NULL, &w->matcher, &err);
}

static int tear_down(void **state)
{
    struct world *w = *state;
    char command[96];
    sim_free(&w->sim);
    lot_rules_free(w->matcher);
    store_close(w->store);
    snprintf(command, sizeof command, "rm -r %s", w->folder);
    int rc = system(command); /* NOLINT: a test's own folder */
    free(w);
    return rc;
}

static struct sim_score run(struct world *w, enum sim_callers callers, long calls)
{
    struct sim_score score = {0};
    for (long i = 0; i < calls; i++) {
        struct sim_call call;
        struct lot_match_result result;
        struct error err = {0};
        sim_next(&w->sim, callers, &call);
        assert_int_equal(match_lot(w->matcher, w->store, &call.query, &result, &err), 0);
        double sum = result.none_weight;
        for (size_t k = 0; k < result.count; k++) {
            assert_true(result.candidate[k].weight > 0 && result.candidate[k].weight <= 1);
            assert_true(k == 0 || result.candidate[k].weight <= result.candidate[k - 1].weight);
            sum += result.candidate[k].weight;
        }
        assert_true(sum > 1 - 1e-9 && sum < 1 + 1e-9);
        sim_count(&score, &call, &result);
    }
    return score;
}

static void misread_codes_are_found(void **state)
{
    struct sim_score s = run(*state, SIM_MISREAD, 2500);
    sim_print("misread", &s);
    assert_true((double)s.known_first >= 0.9 * (double)s.known);
    assert_true((double)s.known_five >= 0.98 * (double)s.known);
}

/* Of the calls whose likeliest lot is given 0.8, four in five should be that lot. */
static void stated_weights_are_probabilities(void **state)
{
    struct sim_score s = run(*state, SIM_STREAM, 4000);
    sim_print("stream", &s);
    assert_true(sim_calibration_gap(&s) < 0.02);
    for (int b = 5; b < SIM_BANDS; b++)
        if (s.in_band[b] >= 40) {
            double said = s.said[b] / (double)s.in_band[b];
            double right = (double)s.right[b] / (double)s.in_band[b];
            assert_true(right > said - 0.15 && right < said + 0.15);
        }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(misread_codes_are_found),
        cmocka_unit_test(stated_weights_are_probabilities),
    };
    return cmocka_run_group_tests(tests, set_up, tear_down);
}

/* Reports still to come: forecasts of past weeks, replayed as they would have been made then,
 * against what came in the end. */
#include "patterns/week_to_come.h"
#include "sim.h"
#include "stats/negbin.h"
#include <gsl/gsl_errno.h>

struct replay {
    int made, covered;            /* forecasts, and those that held */
    double middle;                /* of them in the middle 90 % of what was forecast */
    int telling, telling_covered; /* of weeks with five complaints or more to come */
    double said, was, width;
};

/* How much of this outcome lies between the forecast's 5 % and 95 % points. An outcome that is a
 * whole number takes up a stretch of the forecast's distribution, from P(less) to P(as much); its
 * part between the two counts, which is what drawing a place in the stretch gives on average
 * (C. Czado, T. Gneiting & L. Held, "Predictive model assessment for count data", Biometrics 65
 * (2009) 1254-1261). So a forecast that is right scores 0.9 however small the numbers are. */
static double middle(const struct delay_forecast *f, double came)
{
    double mean = f->expected_final - f->reported;
    long missing = (long)(came - f->reported);
    if (mean <= 0)
        return missing == 0 ? 0.9 : 0;
    double below = missing > 0 ? negbin_at_most(missing - 1, mean, f->size) : 0;
    double within = negbin_at_most(missing, mean, f->size);
    double part = fmin(within, 0.95) - fmax(below, 0.05);
    return within > below ? fmax(0, part) / (within - below) : 0;
}

static void replay_plant(struct sim *sim, struct replay *r)
{
    struct week_model *model = xcalloc(1, sizeof *model);
    struct week_data *d = sim_run(sim);
    week_expect_model_make(d, model);
    for (int s = 0; s < WEEK_SYMPTOMS; s++) {
        for (int back = 0; back < 4; back++) {
            struct delay_forecast f;
            int index = WEEK_HISTORY - 1 - back;
            long came = sim->final[s][index + WEEK_DELAYS];
            assert_true(week_to_come_forecast(model, s, index, &f));
            assert_true(f.reported <= f.final.low && f.final.low <= f.final.high);
            bool held = (double)came >= f.final.low && (double)came <= f.final.high;
            bool telling = f.expected_final - f.reported >= 5;
            r->made++;
            r->covered += held;
            r->width += f.final.high - f.final.low;
            r->middle += middle(&f, (double)came);
            r->telling += telling;
            r->telling_covered += telling && held;
            r->said += f.expected_final;
            r->was += (double)came;
        }
    }
    week_data_free(d);
    free(model);
}

/* Plants never seen before, with seeds of their own; spread of weeks from none to threefold. */
static void replay_plants(int first_seed, int plants, double phi, double volume, struct replay *r)
{
    for (int i = 0; i < plants; i++) {
        struct sim sim = sim_plant((uint64_t)first_seed + (uint64_t)i);
        sim.phi = phi;
        sim.units *= volume;
        replay_plant(&sim, r);
    }
}

static void intervals_cover_what_came(void **state)
{
    static const double PHI[] = {1, 1.5, 3};
    static const double VOLUME[] = {0.3, 2, 8};
    struct replay all = {0};
    (void)state;
    for (size_t i = 0; i < COUNT_OF(PHI); i++) {
        for (size_t k = 0; k < COUNT_OF(VOLUME); k++) {
            struct replay r = {0};
            replay_plants(100 + (int)(1000 * (3 * i + k)), 40, PHI[i], VOLUME[k], &r);
            double in_middle = r.middle / r.made;
            double share = (double)r.covered / r.made;
            double telling = (double)r.telling_covered / fmax(1, r.telling);
            print_message(
                "phi %g, %g million a week: %.1f %% of %d covered, %.1f %% in the middle; with 5 "
                "or more to come %.1f %% of %d covered; said %.3f of what came\n",
                PHI[i], VOLUME[k], 100 * share, r.made, 100 * in_middle, 100 * telling, r.telling,
                r.said / r.was);
            assert_true(fabs(r.said / r.was - 1) < (VOLUME[k] < 1 ? 0.12 : 0.06));
            assert_true(in_middle >= 0.85 && in_middle <= 0.95);
            /* where next to nothing is to come, an interval of one number holds more than 90 % */
            double error = sqrt(0.9 * 0.1 / r.made);
            assert_true(share >= 0.85 && share <= (VOLUME[k] < 1 ? 0.97 : 0.95) + 2 * error);
            all.made += r.made;
            all.covered += r.covered;
            all.telling += r.telling;
            all.telling_covered += r.telling_covered;
        }
    }
    double share = (double)all.covered / all.made;
    double telling = (double)all.telling_covered / all.telling;
    print_message("all weeks: %.1f %% of %d covered; with 5 or more to come %.1f %% of %d\n",
                  100 * share, all.made, 100 * telling, all.telling);
    assert_true(share >= 0.85 && share <= 0.95);
    assert_true(telling >= 0.86 && telling <= 0.94);
}

/* A plant of a few months, calm at first: a line's week in twenty is in trouble, which brings eight
 * times the mold, later than the rest. */
static void a_young_plant_is_not_too_sure(void **state)
{
    static const int WEEKS[] = {7, 10, 16, 22};
    (void)state;
    for (size_t i = 0; i < COUNT_OF(WEEKS); i++) {
        struct replay r = {0};
        for (uint64_t seed = 0; seed < 60; seed++) {
            struct sim sim = sim_plant(40000 + 100 * i + seed);
            sim.first = SIM_WEEKS - WEEKS[i];
            sim.units = 2e6;
            sim.trouble = 0.05;
            sim.trouble_times = 8;
            memcpy(sim.trouble_delay, (double[]){0.15, 0.3, 0.3, 0.15, 0.1}, 5 * sizeof(double));
            replay_plant(&sim, &r);
        }
        double share = (double)r.covered / r.made;
        double telling = (double)r.telling_covered / r.telling;
        print_message("%d weeks: %.1f %% of %d, with 5 or more to come %.1f %% of %d, width %.1f\n",
                      WEEKS[i], 100 * share, r.made, 100 * telling, r.telling, r.width / r.made);
        assert_true(share >= 0.87 && share <= 0.96);
        assert_true(telling >= 0.86 && telling <= 0.94);
        assert_true(r.width / r.made < 15);
    }
}

/* Of weeks that matter most, the newest two, and with numbers large enough for whole numbers not to
 * widen them. */
static void ninety_percent_is_ninety_percent(void **state)
{
    (void)state;
    struct week_model *model = xcalloc(1, sizeof *model);
    int made = 0, covered = 0;
    for (int i = 0; i < 250; i++) {
        struct sim sim = sim_plant(70000 + (uint64_t)i);
        sim.units = 3e6;
        sim.phi = 1 + i % 4 * 0.7;
        struct week_data *d = sim_run(&sim);
        week_expect_model_make(d, model);
        for (int back = 0; back < 2; back++) {
            struct delay_forecast f;
            assert_true(week_to_come_forecast(model, 0, WEEK_HISTORY - 1 - back, &f));
            long came = sim.final[0][WEEK_HISTORY - 1 - back + WEEK_DELAYS];
            made++;
            covered += (double)came >= f.final.low && (double)came <= f.final.high;
        }
        week_data_free(d);
    }
    free(model);
    print_message("newest two weeks of mold: %.1f %% of %d covered\n", 100.0 * covered / made,
                  made);
    assert_true(covered >= 0.85 * made && covered <= 0.95 * made);
}

/* A week twice as bad shows before it is all in. */
static void a_bad_week_is_forecast_higher(void **state)
{
    (void)state;
    struct week_model *model = xcalloc(1, sizeof *model);
    int higher = 0;
    for (int i = 0; i < 40; i++) {
        struct delay_forecast f, before;
        struct sim sim = sim_plant(300 + (uint64_t)i);
        sim.lines = 1;
        sim.raised_line = 0;
        sim.raised_from = SIM_WEEKS - 2;
        sim.raised_times = 3;
        struct week_data *d = sim_run(&sim);
        week_expect_model_make(d, model);
        assert_true(week_to_come_forecast(model, 0, WEEK_HISTORY - 2, &f));
        assert_true(week_to_come_forecast(model, 0, WEEK_HISTORY - 4, &before));
        higher += f.final.low > before.expected_final;
        week_data_free(d);
    }
    free(model);
    assert_true(higher >= 32);
}

static void without_a_past_nothing_is_said(void **state)
{
    (void)state;
    struct sim sim = sim_plant(3);
    for (int s = 0; s < WEEK_SYMPTOMS; s++)
        sim.rate[s] = 0;
    struct week_data *d = sim_run(&sim);
    struct week_model *model = xcalloc(1, sizeof *model);
    struct delay_forecast f;
    week_expect_model_make(d, model);
    assert_false(week_to_come_forecast(model, 0, WEEK_HISTORY - 1, &f));
    json_t *rows = week_to_come_json(model);
    assert_int_equal(json_array_size(rows), 0);
    json_decref(rows);
    free(model);
    week_data_free(d);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(intervals_cover_what_came),
        cmocka_unit_test(a_young_plant_is_not_too_sure),
        cmocka_unit_test(ninety_percent_is_ninety_percent),
        cmocka_unit_test(a_bad_week_is_forecast_higher),
        cmocka_unit_test(without_a_past_nothing_is_said),
    };
    gsl_set_error_handler_off();
    return cmocka_run_group_tests(tests, NULL, NULL);
}

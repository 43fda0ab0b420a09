/* Microseconds a prediction, and how far the quick forms are from a fine reference: the temperature
 * factor integrated as a differential equation (Runge-Kutta, quarter-hour steps) and the spread of
 * strains in 4001 even steps. */
#include "../models/product.h"
#include "models/calibrate.h"
#include "models/predict.h"

#include <math.h>
#include <stdio.h>
#include <string.h>
#include <time.h>

enum { LOTS = 64, ROUNDS = 400, FINE = 4001 };

static struct models_parameters parameters;
static struct lot_conditions lots[LOTS];
static struct lot_conditions specified;
static double sink; /* keeps results alive */

static double now_us(void)
{
    struct timespec ts;
    clock_gettime(CLOCK_MONOTONIC, &ts);
    return (double)ts.tv_sec * 1e6 + (double)ts.tv_nsec / 1e3;
}

static void make_lots(void)
{
    lot_conditions_unknown(&specified);
    specified.doses_known = true;
    specified.dose_count = 1;
    specified.doses[0] = (struct acid_dose){acid_product_find("calcium-propionate"), 0.3, NAN, NAN};
    for (int i = 0; i < LOTS; i++) {
        lots[i] = specified;
        lots[i].doses[0].dose_pct_flour = 0.05 * (i % 8);
        lots[i].crumb_ph = 5.2 + 0.1 * (i % 6);
        lots[i].core_at_pack_c = 34 + 3 * (i % 7);
        lots[i].segment_count = 3;
        lots[i].segments[0] = (struct mold_segment){18, 24};
        lots[i].segments[1] = (struct mold_segment){30, 10 + i % 20};
        lots[i].segments[2] = (struct mold_segment){24, 18 + i % 9};
    }
}

static void time_course(int i)
{
    struct mold_course course;
    predict_mold_course(&lots[i], &specified, &parameters, &course);
    sink += course.spores;
}

static void time_course_density(int i)
{
    static struct mold_course course;
    static int made = -1;
    if (made != i) {
        predict_mold_course(&lots[i], &specified, &parameters, &course);
        made = i;
    }
    for (int k = 0; k < 20; k++) {
        sink += predict_course_density(&course, &parameters, 2 + k % 10, 1);
    }
}

static void time_density(int i)
{
    struct mold_course course;
    predict_mold_course(&lots[i], &specified, &parameters, &course);
    sink += predict_course_density(&course, &parameters, 6, 1);
}

static void time_days(int i)
{
    struct mold_course course;
    predict_mold_course(&lots[i], &specified, &parameters, &course);
    sink += mold_free_days(&course, NAN);
}

static void time_mold(int i)
{
    struct mold_prediction prediction;
    predict_mold(&lots[i], &specified, &parameters, &prediction);
    sink += prediction.mold_free_days.typical;
}

static void time_firmness(int i)
{
    struct firmness_prediction prediction;
    predict_firmness(&lots[i], &specified, &parameters, 4, &prediction);
    sink += prediction.ratio.typical;
}

static void time_stale(int i)
{
    sink += predict_stale_density(&lots[i], &specified, &parameters, 4, 1);
}

static void time_rope(int i)
{
    struct rope_prediction prediction;
    predict_rope(&lots[i], &specified, &parameters, 3, &prediction);
    sink += prediction.share;
}

static void time_odor(int i)
{
    struct odor_prediction prediction;
    predict_odor(&lots[i], &specified, &parameters, &prediction);
    sink += prediction.cold.ratio;
}

static const struct {
    const char *name;
    void (*run)(int lot);
    int calls;
} timed[] = {
    {"course of a lot", time_course, 1},     {"density, course at hand", time_course_density, 20},
    {"density from a lot", time_density, 1}, {"mold-free days, typical", time_days, 1},
    {"mold, range and terms", time_mold, 1}, {"firmness with range", time_firmness, 1},
    {"stale density", time_stale, 1},        {"rope with range", time_rope, 1},
    {"odor with range", time_odor, 1},
};

static double group_work(const struct mold_group_values *g, const struct mold_conditions *c,
                         double age_days)
{
    double work = 0;
    double step = 1.0 / 96;
    for (int n_day = 0; step * n_day < age_days - 1e-9; n_day++) {
        double day = step * n_day;
        double end = 0;
        double middle_h = (day + fmin(step, age_days - day) / 2) * 24;
        size_t s = 0;
        for (; s + 1 < c->segment_count; s++) {
            end += c->segments[s].hours;
            if (middle_h < end) {
                break;
            }
        }
        /* the rate is constant within a piece: all four slopes of the Runge-Kutta step agree */
        work += fmin(step, age_days - day) *
                mold_gamma_cpm(c->segments[s].temp_c, g->t_min_c, g->t_opt_c, g->t_max_c, 2);
    }
    return work;
}

static double fine_group(const struct mold_group_values *g, const struct mold_conditions *c,
                         const struct mold_values *v, double work)
{
    double mic_sigma = sqrt(log1p(v->mic_spread_cv * v->mic_spread_cv));
    double spore_sigma = sqrt(log1p(v->spore_spread_cv * v->spore_spread_cv));
    double base = mold_gamma_aw(g, v, c->aw);
    double share = 0;
    double weights = 0;
    for (int k = 0; k < FINE; k++) {
        double z = -6 + 12.0 * k / (FINE - 1);
        double weight = exp(-z * z / 2);
        double acids = mold_gamma_acids(g, v, &c->undissociated, exp(z * mic_sigma));
        double growth = v->visible_diameter_mm / 2 /
                        (g->radial_opt_mm_d * base * (1 - v->growth_share * (1 - acids)));
        double lag = g->lag_opt_h / 24 / (base * acids);
        weights += weight;
        if (acids > 0 && work > growth) {
            share += weight * 0.5 * erfc(-log((work - growth) / lag) / spore_sigma * M_SQRT1_2);
        }
    }
    return share / weights;
}

static void measure_accuracy(void)
{
    const struct models_values *values = &parameters.typical;
    double worst = 0;
    double square = 0;
    int count = 0;
    for (int i = 0; i < LOTS; i++) {
        struct lot_conditions lot = lots[i];
        struct lot_facts facts;
        struct mold_conditions conditions;
        struct mold_course course;
        lot_conditions_fill(&lot, NULL, values);
        lot_conditions_facts(&lot, values, &facts);
        lot_conditions_mold(&lot, &facts, &conditions);
        mold_course_init(&course, &conditions, &values->mold);
        for (int n_day = 0; 2 + 2.5 * n_day < 15; n_day++) {
            double day = 2 + 2.5 * n_day;
            double fine = 0;
            for (int g = 0; g < MOLD_GROUPS; g++) {
                const struct mold_group_values *group = &values->mold.group[g];
                fine += course.group[g].weight * fine_group(group, &conditions, &values->mold,
                                                            group_work(group, &conditions, day));
            }
            double gap = fabs(fine - mold_spores_visible(&course, day));
            worst = fmax(worst, gap);
            square += gap * gap;
            count++;
        }
    }
    printf("share of spores visible against the fine reference: worst %.4f, rms %.5f over %d\n",
           worst, sqrt(square / count), count);
}

int main(void)
{
    parameters_default(&parameters);
    make_lots();
    for (size_t t = 0; t < sizeof(timed) / sizeof(timed[0]); t++) {
        double best = INFINITY;
        for (int round = 0; round < 5; round++) {
            double start = now_us();
            for (int r = 0; r < ROUNDS; r++) {
                timed[t].run(r % LOTS);
            }
            best = fmin(best, (now_us() - start) / ROUNDS / timed[t].calls);
        }
        printf("%-26s %8.2f us\n", timed[t].name, best);
    }
    measure_accuracy();
    return sink > 0 ? 0 : 1;
}

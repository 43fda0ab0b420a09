/* Prints what the models compute, one "name<TAB>value" a line, for models_scipy.py to compare with
 * the same quantities from SciPy. */
#include "../models/product.h"
#include "models/calibrate.h"
#include "models/predict.h"

#include <math.h>
#include <stdint.h>
#include <stdio.h>

#define COUNT_OF(array) (sizeof(array) / sizeof *(array))

static struct models_parameters parameters;

static void print_acids(void)
{
    for (int n_ph = 0; 3.5 + 0.25 * n_ph < 7.1; n_ph++) {
        double ph = 3.5 + 0.25 * n_ph;
        for (int k = 0; k < ACID_KINDS; k++) {
            printf("acid.%s.%.2f\t%.17g\n", acid_constants((enum acid_kind)k)->name, ph,
                   acid_kind_undissociated((enum acid_kind)k, ph, 0));
        }
    }
}

static void print_heat(void)
{
    static const char *const names[] = {"wall", "cylinder", "sphere"};
    static const double biots[] = {0.05, 0.1, 0.5, 1, 2, 5, 10, 50};
    static const double fouriers[] = {0.2, 0.3, 0.5, 1};
    for (int s = HEAT_WALL; s <= HEAT_SPHERE; s++) {
        for (size_t b = 0; b < COUNT_OF(biots); b++) {
            double root = heat_root((enum heat_shape)s, biots[b]);
            printf("root.%s.%g\t%.17g\n", names[s], biots[b], root);
            printf("coefficient.%s.%g\t%.17g\n", names[s], biots[b],
                   heat_coefficient((enum heat_shape)s, root));
            for (size_t f = 0; f < COUNT_OF(fouriers); f++) {
                struct heat_body body = {(enum heat_shape)s, 1, biots[b], 1.0 / 60};
                printf("core.%s.%g.%g\t%.17g\n", names[s], biots[b], fouriers[f],
                       heat_core_ratio(&body, fouriers[f], NULL));
            }
        }
    }
    for (int n_bake_min = 0; 14 + 5 * n_bake_min < 40; n_bake_min++) {
        double bake_min = 14 + 5 * n_bake_min;
        printf("enzyme.%g\t%.17g\n", bake_min,
               heat_bake_enzyme_min(&parameters.typical.heat, bake_min, 97));
        printf("pack.%g\t%.17g\n", 4 * bake_min,
               heat_core_at_pack_c(&parameters.typical.heat, 97, 4 * bake_min, 23));
    }
}

static void print_wet(void)
{
    for (int n_temp_c = 0; 1 + 12.3 * n_temp_c < 200; n_temp_c++) {
        double temp_c = 1 + 12.3 * n_temp_c;
        double pa = wet_saturation_pa_c(temp_c);
        printf("psat.%.1f\t%.17g\n", temp_c, pa);
        printf("tsat.%.1f\t%.17g\n", temp_c, wet_saturation_temp_k(pa));
    }
    for (int n_core_c = 0; 30 + 5 * n_core_c < 61; n_core_c++) {
        double core_c = 30 + 5 * n_core_c;
        struct wet_bag bag = {core_c, 22, 0.955, 800};
        struct wet_condensate c = wet_condensate_in_bag(&bag, &parameters.typical.wet);
        printf("free_g.%g\t%.17g\n", core_c, c.free_g);
    }
}

/* The same lots are built in models_scipy.py. */
static struct lot_conditions lot_at(int i)
{
    struct lot_conditions lot;
    lot_conditions_unknown(&lot);
    lot.doses_known = true;
    lot.dose_count = 2;
    lot.doses[0] =
        (struct acid_dose){acid_product_find("calcium-propionate"), 0.08 * (i % 5), NAN, 0.9};
    lot.doses[1] = (struct acid_dose){acid_product_find("vinegar"), 0.5 * (i % 3), 12, NAN};
    lot.crumb_ph = 5.2 + 0.1 * (i % 4);
    lot.crumb_aw = 0.94 + 0.01 * (i % 3);
    lot.crumb_moisture_pct = 38;
    lot.core_at_pack_c = 36 + 4 * (i % 4);
    lot.spores_per_pack = 0.5 + (i % 3);
    lot.segment_count = 3;
    lot.segments[0] = (struct mold_segment){18, 24};
    lot.segments[1] = (struct mold_segment){30, 12 + 3 * (i % 5)};
    lot.segments[2] = (struct mold_segment){24, 20 + i % 7};
    lot.aerobic_spores_cfu_g = 10 * (1 + i);
    return lot;
}

static void print_lots(void)
{
    for (int i = 0; i < 24; i++) {
        struct lot_conditions lot = lot_at(i);
        struct mold_course course;
        predict_mold_course(&lot, NULL, &parameters, &course);
        for (int day = 2; day <= 14; day += 3) {
            struct firmness_prediction firm;
            predict_firmness(&lot, NULL, &parameters, day, &firm);
            printf("visible.%d.%d\t%.17g\n", i, day, mold_spores_visible(&course, day));
            printf("density.%d.%d\t%.17g\n", i, day,
                   predict_course_density(&course, &parameters, day, 1));
            printf("firm.%d.%d\t%.17g\n", i, day, firm.ratio.typical);
        }
        printf("days.%d\t%.17g\n", i, mold_free_days(&course, NAN));
        struct rope_prediction rope;
        struct odor_prediction odor;
        predict_rope(&lot, NULL, &parameters, 3, &rope);
        predict_odor(&lot, NULL, &parameters, &odor);
        printf("rope.%d\t%.17g\n", i, rope.hours.typical);
        printf("odor.%d\t%.17g\n", i, odor.warm.ratio);
    }
}

static double uniform(uint64_t *seed)
{
    uint64_t z = (*seed += 0x9e3779b97f4a7c15u);
    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
    return ((double)((z ^ (z >> 31)) >> 11) + 0.5) / 9007199254740992.0;
}

enum { SAMPLES = 48 };

static void print_calibration(void)
{
    static struct mold_course courses[SAMPLES];
    static struct calibrate_sample samples[SAMPLES];
    struct calibrate_fit fit;
    uint64_t seed = 21;
    for (int i = 0; i < SAMPLES; i++) {
        struct lot_conditions lot = lot_at(i % 24);
        predict_mold_course(&lot, NULL, &parameters, &courses[i]);
        samples[i] = (struct calibrate_sample){&courses[i], 21, true, 1};
        double factor = 1.25 * exp(0.3 * (uniform(&seed) - 0.5));
        double u = uniform(&seed);
        for (int day = 1; day <= 21 && samples[i].none_yet; day++) {
            double share = mold_spores_visible_scaled(&courses[i], day, factor);
            if (u < -expm1(-2 * courses[i].spores * share)) {
                samples[i].days = day;
                samples[i].none_yet = false;
            }
        }
        printf("sample.%d\t%g\n", i, samples[i].none_yet ? -samples[i].days : samples[i].days);
    }
    if (calibrate_mold(samples, SAMPLES, NULL, &fit, NULL) == 0) {
        printf("fit.time\t%.17g\nfit.spores\t%.17g\nfit.sigma\t%.17g\n", fit.time.value,
               fit.spores.value, fit.lot_sigma);
        printf("fit.time_width\t%.17g\n", log(fit.time.high / fit.time.low));
    }
}

int main(void)
{
    parameters_default(&parameters);
    print_acids();
    print_heat();
    print_wet();
    print_lots();
    print_calibration();
    return 0;
}

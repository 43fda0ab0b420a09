/* Staling: firmness of crumb over time and temperature, drying, gummy crumb.
 *
 * Avrami law: (E_lim - E)/(E_lim - E_0) = exp(-(integral k dt)^n), k falling as the
 * temperature rises, E_lim the same at all temperatures (Cornford, Axford, Elton 1964
 * Cereal Chem 41:216); k integrates over a fluctuating temperature. 1/k from a table at
 * -18, -1, 10, 21 and 32 °C, linear in ln(1/k) between. Firmness is over fresh (E_0 = 1).
 * Valid from -20 to 40 °C. Units: days, °C, percent of crumb mass for moisture. */
#ifndef ODDLOAF_MODELS_STALING_H
#define ODDLOAF_MODELS_STALING_H

#include "models/mold.h"

#include <stdbool.h>
#include <stddef.h>

enum { STALING_TABLE = 5 };

struct staling_values {
    double avrami_n;
    double tau_d[STALING_TABLE]; /* 1/k */
    double limit_ratio;
    double no_softener_factor;
    double moisture_per_pct;
    double leak_loss_pct_d;
    double sealed_loss_pct_d;
    double bake_out_pct_min;
    double cool_out_pct_min;
    double stale_ratio, stale_cv;
    double gummy_ratio, gummy_cv;
    double gummy_core_c, gummy_core_sd_c;
    double time_scale;
    double valid_temp_c_min, valid_temp_c_max;
};

struct staling_loaf {
    double softener_ratio;    /* softener dose over target */
    double enzyme_min_ratio;  /* core minutes in the enzyme window over the usual */
    double moisture_lost_pct; /* crumb moisture below target at packing, percentage points */
    bool leaks;               /* seal open or bag torn */
};

/* Remaining share exp(-(k t)^n) at constant rate. */
double staling_theta(double age_days, double tau_days, double n);
/* E(t) between E_0 and E_lim. */
double staling_firmness(double theta, double fresh, double limit);
/* k in 1/d; ends of the table are carried on beyond it. */
double staling_rate_per_day(const struct staling_values *values, double temp_c);
/* Integral of k over the history up to an age. `*ret_valid` (may be NULL): every
 * temperature reached in the range of the table. */
double staling_work(const struct staling_values *values, const struct mold_segment *segments,
                    size_t count, double age_days, bool *ret_valid);
/* Crumb moisture lost before packing by baking and cooling longer than target, points. */
double staling_moisture_lost_pct(const struct staling_values *values, double extra_bake_min,
                                 double extra_cool_min);
/* Firmness over fresh as specified at an age. */
double staling_firmness_ratio(const struct staling_values *values, const struct staling_loaf *loaf,
                              const struct mold_segment *segments, size_t count, double age_days,
                              bool *ret_valid);
/* Share of buyers who call a loaf of this firmness stale. */
double staling_stale_share(const struct staling_values *values, double firmness_ratio);
/* Share who call the crumb gummy: too much softener, or a centre not baked out.
 * NAN core: not known, takes no part. */
double staling_gummy_share(const struct staling_values *values, double softener_ratio,
                           double core_end_bake_c);

#endif

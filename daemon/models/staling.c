#include "models/staling.h"

#include "models/normal.h"

#include <math.h>

static const double table_c[STALING_TABLE] = {-18, -1, 10, 21, 32};

double staling_theta(double age_days, double tau_days, double n)
{
    return age_days > 0 ? exp(-pow(age_days / tau_days, n)) : 1;
}

double staling_firmness(double theta, double fresh, double limit)
{
    return limit - (limit - fresh) * theta;
}

double staling_rate_per_day(const struct staling_values *values, double temp_c)
{
    int i = 0;
    while (i + 2 < STALING_TABLE && temp_c > table_c[i + 1]) {
        i++;
    }
    double share = (temp_c - table_c[i]) / (table_c[i + 1] - table_c[i]);
    /* below the table the frozen end is kept; above it the last slope goes on */
    share = share < 0 ? 0 : share;
    double log_tau =
        log(values->tau_d[i]) + share * (log(values->tau_d[i + 1]) - log(values->tau_d[i]));
    return exp(-log_tau) / values->time_scale;
}

double staling_work(const struct staling_values *values, const struct mold_segment *segments,
                    size_t count, double age_days, bool *ret_valid)
{
    double work = 0;
    double left = age_days;
    bool valid = count > 0;
    for (size_t s = 0; s < count && left > 0; s++) {
        double temp_c = segments[s].temp_c;
        double days = s + 1 < count ? fmin(left, segments[s].hours / 24) : left;
        valid = valid && temp_c >= values->valid_temp_c_min && temp_c <= values->valid_temp_c_max;
        work += days * staling_rate_per_day(values, temp_c);
        left -= days;
    }
    if (ret_valid) {
        *ret_valid = valid;
    }
    return work;
}

/* Softener that got to work, over target: dose times what the enzyme's time allowed. */
static double effective_softener(const struct staling_loaf *loaf)
{
    return loaf->softener_ratio * fmin(loaf->enzyme_min_ratio, 1);
}

/* Factor on k. */
static double softener_factor(const struct staling_values *values, double effective_ratio)
{
    /* the benefit of a higher dose levels off: no more than half a dose beyond target counts */
    double ratio = fmin(fmax(effective_ratio, 0), 1.5);
    return pow(values->no_softener_factor, 1 - ratio);
}

double staling_moisture_lost_pct(const struct staling_values *values, double extra_bake_min,
                                 double extra_cool_min)
{
    return fmax(extra_bake_min, 0) * values->bake_out_pct_min +
           fmax(extra_cool_min, 0) * values->cool_out_pct_min;
}

double staling_firmness_ratio(const struct staling_values *values, const struct staling_loaf *loaf,
                              const struct mold_segment *segments, size_t count, double age_days,
                              bool *ret_valid)
{
    double work = staling_work(values, segments, count, age_days, ret_valid) *
                  softener_factor(values, effective_softener(loaf));
    double theta = staling_theta(work, 1, values->avrami_n);
    double firmness = staling_firmness(theta, 1, values->limit_ratio);
    /* a sound bag's loss is part of the table, which was measured on wrapped bread */
    double leak_pct_d = loaf->leaks ? values->leak_loss_pct_d - values->sealed_loss_pct_d : 0;
    double dried_pct = loaf->moisture_lost_pct + leak_pct_d * fmax(age_days, 0);
    return firmness * exp(values->moisture_per_pct * dried_pct);
}

double staling_stale_share(const struct staling_values *values, double firmness_ratio)
{
    return normal_cdf(log(firmness_ratio / values->stale_ratio) /
                      sqrt(log1p(values->stale_cv * values->stale_cv)));
}

double staling_gummy_share(const struct staling_values *values, double softener_ratio,
                           double core_end_bake_c)
{
    double dose = softener_ratio > 0 ? normal_cdf(log(softener_ratio / values->gummy_ratio) /
                                                  sqrt(log1p(values->gummy_cv * values->gummy_cv)))
                                     : 0;
    double raw =
        isnan(core_end_bake_c)
            ? 0
            : normal_cdf((values->gummy_core_c - core_end_bake_c) / values->gummy_core_sd_c);
    return 1 - (1 - dose) * (1 - raw);
}

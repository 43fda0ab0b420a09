#include "models/mold.h"

#include "models/normal.h"

#include <math.h>
#include <string.h>

static const char *const group_names[MOLD_GROUPS] = {
    [MOLD_PENICILLIUM] = "penicillium", [MOLD_ASPERGILLUS] = "aspergillus",
    [MOLD_XEROPHILE] = "xerophile",     [MOLD_ROQUEFORTI] = "roqueforti",
    [MOLD_CHALK_YEAST] = "chalk-yeast", [MOLD_PAECILOMYCES] = "paecilomyces",
};

/* Strains: an even rule over the normal distribution, 0.9 apart, weights its density made to sum
 * to 1. Where a strain's MIC is passed the response has a corner, on which this rule loses less
 * than Gauss-Hermite of the same size. */
static const double strain_node[MOLD_STRAINS] = {-2.7, -1.8, -0.9, 0, 0.9, 1.8, 2.7};
static const double strain_weight[MOLD_STRAINS] = {
    0.0093894563971245112, 0.071135563374445446, 0.23974776700306707,  0.35945442645072578,
    0.23974776700306716,   0.071135563374445501, 0.0093894563971245112};

const char *mold_group_name(enum mold_group group)
{
    return group_names[group];
}

double mold_gamma_cpm(double x, double x_min, double x_opt, double x_max, int n)
{
    if (!(x > x_min && x < x_max)) {
        return 0;
    }
    double span = x_opt - x_min;
    double bracket = span * (x - x_opt) - (x_opt - x_max) * ((n - 1) * x_opt + x_min - n * x);
    double above = x - x_min;
    double top = (x - x_max) * above;
    if (n == 2) {
        top *= above;
        bracket *= span;
    }
    double gamma = top / bracket;
    /* cardinal values set too far apart from the form's shape can leave (0,1) by rounding */
    return gamma < 0 ? 0 : gamma > 1 ? 1 : gamma;
}

double mold_gamma_aw_linear(double aw, double aw_min)
{
    if (!(aw > aw_min)) {
        return 0;
    }
    return aw >= 1 ? 1 : (aw - aw_min) / (1 - aw_min);
}

double mold_gamma_inhibitor(double c_mmol_l, double mic_mmol_l, double alpha)
{
    if (!(c_mmol_l > 0)) {
        return 1;
    }
    if (c_mmol_l >= mic_mmol_l) {
        return 0;
    }
    double ratio = c_mmol_l / mic_mmol_l;
    return 1 - (alpha == 1 ? ratio : pow(ratio, alpha));
}

double mold_gamma_aw(const struct mold_group_values *group, const struct mold_values *values,
                     double aw)
{
    double dry = fmax(group->aw_line - aw, 0);
    double damp = fmax(group->aw_opt - fmax(aw, group->aw_line), 0);
    return pow(10, -100 * (values->aw_line_slope * dry + values->aw_wet_slope * damp));
}

double mold_able_share(const struct mold_group_values *group, const struct mold_values *values,
                       double aw)
{
    return fmin(fmax((aw - group->aw_min) / values->aw_ramp, 0), 1);
}

double mold_gamma_acids(const struct mold_group_values *group, const struct mold_values *values,
                        const struct acid_mix *undissociated, double mic_factor)
{
    double lag_factor = 1;
    for (int k = 0; k < ACID_KINDS; k++) {
        double c = undissociated->mmol_l[k];
        if (c > 0) {
            double ratio = c / (group->mic_mmol_l[k] * mic_factor);
            lag_factor *= 1 + (values->mic_lag_factor - 1) * pow(ratio, values->mic_order);
        }
    }
    return 1 / lag_factor;
}

static const char *range_trouble(const struct mold_conditions *c, const struct mold_values *v)
{
    if (!(c->ph >= v->valid_ph_min && c->ph <= v->valid_ph_max)) {
        return "crumb pH outside the range of the mold terms";
    }
    if (!(c->aw >= v->valid_aw_min && c->aw <= v->valid_aw_max)) {
        return "water activity outside the range of the mold terms";
    }
    if (c->segment_count < 1 || c->segment_count > MOLD_SEGMENTS_MAX) {
        return "no temperature history";
    }
    for (size_t s = 0; s < c->segment_count; s++) {
        double temp_c = c->segments[s].temp_c;
        if (!(temp_c >= v->valid_temp_c_min && temp_c <= v->valid_temp_c_max)) {
            return "temperature outside the range of the mold terms";
        }
    }
    if (!(c->spores_per_pack >= 0)) {
        return "spores per pack below zero";
    }
    return "";
}

/* Work is the integral of the temperature factor: one day at the optimum is one unit. */
static void fill_history(struct mold_course *course, struct mold_group_course *gc,
                         const struct mold_group_values *group,
                         const struct mold_conditions *conditions)
{
    double work = 0;
    double start_day = 0;
    for (size_t s = 0; s < course->segment_count; s++) {
        gc->rate[s] = mold_gamma_cpm(conditions->segments[s].temp_c, group->t_min_c, group->t_opt_c,
                                     group->t_max_c, 2);
        gc->work_start[s] = work;
        if (s + 1 == course->segment_count) {
            break;
        }
        work += gc->rate[s] * (course->end_day[s] - start_day);
        start_day = course->end_day[s];
    }
}

static void fill_strains(struct mold_group_course *gc, const struct mold_group_values *group,
                         const struct mold_conditions *c, const struct mold_values *v,
                         double base_factor)
{
    double mic_sigma = sqrt(log1p(v->mic_spread_cv * v->mic_spread_cv));
    double radius_mm = v->visible_diameter_mm / 2;
    for (int k = 0; k < MOLD_STRAINS; k++) {
        double inhibitor =
            mold_gamma_acids(group, v, &c->undissociated, exp(strain_node[k] * mic_sigma));
        double growth = 1 - v->growth_share * (1 - inhibitor);
        double lag_days = group->lag_opt_h / 24 / (base_factor * inhibitor);
        double rate_mm_d = group->radial_opt_mm_d * base_factor * growth;
        gc->log_lag_work[k] = log(v->time_scale * lag_days);
        gc->growth_work[k] = v->time_scale * radius_mm / rate_mm_d;
    }
}

/* Spores that cannot grow at this water activity are none. */
static void fill_weights(struct mold_course *course, const struct mold_conditions *conditions,
                         const struct mold_values *values)
{
    double all = 0;
    double able = 0;
    for (int g = 0; g < MOLD_GROUPS; g++) {
        double weight = conditions->weights[g];
        course->group[g].weight =
            weight * mold_able_share(&values->group[g], values, conditions->aw);
        all += weight;
        able += course->group[g].weight;
    }
    for (int g = 0; g < MOLD_GROUPS && able > 0; g++) {
        course->group[g].weight /= able;
    }
    course->spores = all > 0 ? conditions->spores_per_pack * values->spores_scale * able / all : 0;
}

void mold_course_init(struct mold_course *course, const struct mold_conditions *conditions,
                      const struct mold_values *values)
{
    memset(course, 0, sizeof(*course));
    course->reason = range_trouble(conditions, values);
    course->valid = course->reason[0] == '\0';
    course->segment_count = conditions->segment_count;
    if (course->segment_count > MOLD_SEGMENTS_MAX) {
        course->segment_count = MOLD_SEGMENTS_MAX;
    }
    course->horizon_days = values->horizon_days;
    course->inverse_sigma = 1 / sqrt(log1p(values->spore_spread_cv * values->spore_spread_cv));
    double day = 0;
    for (size_t s = 0; s < course->segment_count; s++) {
        day += conditions->segments[s].hours / 24;
        course->end_day[s] = s + 1 < course->segment_count ? day : INFINITY;
    }
    fill_weights(course, conditions, values);
    for (int g = 0; g < MOLD_GROUPS; g++) {
        const struct mold_group_values *group = &values->group[g];
        struct mold_group_course *gc = &course->group[g];
        if (gc->weight > 0) {
            fill_history(course, gc, group, conditions);
            fill_strains(gc, group, conditions, values,
                         mold_gamma_aw(group, values, conditions->aw));
        }
    }
}

static double group_visible(const struct mold_course *course, const struct mold_group_course *gc,
                            size_t segment, double days_in, double time_factor)
{
    double work = (gc->work_start[segment] + gc->rate[segment] * days_in) / time_factor;
    double share = 0;
    for (int k = 0; k < MOLD_STRAINS; k++) {
        double left = work - gc->growth_work[k];
        if (!(left > 0)) {
            continue;
        }
        double z = (log(left) - gc->log_lag_work[k]) * course->inverse_sigma;
        if (z > -8) {
            share += strain_weight[k] * (z > 8 ? 1 : normal_cdf(z));
        }
    }
    return gc->weight * share;
}

double mold_spores_visible(const struct mold_course *course, double age_days)
{
    return mold_spores_visible_scaled(course, age_days, 1);
}

double mold_spores_visible_scaled(const struct mold_course *course, double age_days,
                                  double time_factor)
{
    if (!(age_days > 0) || course->segment_count == 0) {
        return 0;
    }
    size_t s = 0;
    while (s + 1 < course->segment_count && age_days > course->end_day[s]) {
        s++;
    }
    double days_in = age_days - (s > 0 ? course->end_day[s - 1] : 0);
    double share = 0;
    for (int g = 0; g < MOLD_GROUPS; g++) {
        if (course->group[g].weight > 0) {
            share += group_visible(course, &course->group[g], s, days_in, time_factor);
        }
    }
    return share < 1 ? share : 1;
}

double mold_found_chance_scaled(const struct mold_course *course, double age_days, double look_days,
                                double time_factor, double spores_factor)
{
    double spores = course->spores * spores_factor;
    double before = mold_spores_visible_scaled(course, age_days - look_days, time_factor);
    double now = mold_spores_visible_scaled(course, age_days, time_factor);
    /* exp(-m a) - exp(-m b) without cancellation when both are near 1 */
    return exp(-spores * before) * -expm1(-spores * (now - before));
}

/* F at which half of the packs with a spore show: 1-exp(-m F) = (1-exp(-m))/2. */
static double half_share(double spores)
{
    if (spores < 1e-6) {
        return 0.5;
    }
    return -log1p(0.5 * expm1(-spores)) / spores;
}

/* Longer than anything is kept: what has not come by then never comes. */
static const double never_days = 1e6;

struct bracket {
    double low, high;     /* days; high INFINITY: never */
    double f_low, f_high; /* share minus target there: below zero, at least zero */
};

/* Walks out from `start` in steps of a half until the target lies between. */
static struct bracket bracket_days(const struct mold_course *course, double target, double start)
{
    struct bracket b = {0, INFINITY, -target, 0};
    double days = start;
    double f = mold_spores_visible(course, days) - target;
    while (f >= 0) {
        b.high = days;
        b.f_high = f;
        days /= 1.5;
        f = mold_spores_visible(course, days) - target;
    }
    b.low = days;
    b.f_low = f;
    while (isinf(b.high) && days < never_days) {
        days *= 1.5;
        f = mold_spores_visible(course, days) - target;
        if (f >= 0) {
            b.high = days;
            b.f_high = f;
        } else {
            b.low = days;
            b.f_low = f;
        }
    }
    return b;
}

/* Regula falsi with the Illinois change. */
static double bracket_solve(const struct mold_course *course, double target, struct bracket b)
{
    int side = 0;
    for (int i = 0; i < 60 && b.high - b.low > 1e-5 * b.high; i++) {
        double days = (b.low * b.f_high - b.high * b.f_low) / (b.f_high - b.f_low);
        double f = mold_spores_visible(course, days) - target;
        if (fabs(f) < 1e-6 * target) {
            return days;
        }
        if (f < 0) {
            b.low = days;
            b.f_low = f;
            b.f_high *= side == -1 ? 0.5 : 1;
            side = -1;
        } else {
            b.high = days;
            b.f_high = f;
            b.f_low *= side == 1 ? 0.5 : 1;
            side = 1;
        }
    }
    return (b.low + b.high) / 2;
}

double mold_free_days(const struct mold_course *course, double start_days)
{
    double target = half_share(course->spores);
    double start = start_days > 0 && isfinite(start_days) ? start_days * 0.9 : 3;
    struct bracket b = bracket_days(course, target, start);
    return isinf(b.high) ? INFINITY : bracket_solve(course, target, b);
}

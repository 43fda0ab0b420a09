#include "models/odor.h"

#include "models/normal.h"

#include <math.h>

double odor_warm_factor(const struct odor_values *values, double temp_c)
{
    const double gas_kj_mol_k = 8.314462618e-3;
    return exp(values->vapour_kj_mol / gas_kj_mol_k *
               (1 / (values->cold_c + 273.15) - 1 / (temp_c + 273.15)));
}

struct odor_strength odor_of_acids(const struct odor_values *values,
                                   const struct acid_mix *undissociated, double moisture_pct,
                                   double temp_c)
{
    const struct {
        enum acid_kind kind;
        double threshold_mg_kg;
    } smelling[] = {
        {ACID_PROPIONIC, values->propionic_mg_kg},
        {ACID_ACETIC, values->acetic_mg_kg},
    };
    struct odor_strength out = {0, 0, ACID_PROPIONIC};
    double most = 0;
    for (size_t i = 0; i < sizeof(smelling) / sizeof(smelling[0]); i++) {
        enum acid_kind kind = smelling[i].kind;
        double mg_kg = acid_mg_per_kg_from_mmol_l(undissociated->mmol_l[kind], moisture_pct,
                                                  acid_constants(kind)->molar_g_mol);
        double ratio = mg_kg / smelling[i].threshold_mg_kg;
        if (ratio > most) {
            most = ratio;
            out.main = kind;
        }
        out.ratio += ratio;
    }
    out.ratio *= odor_warm_factor(values, temp_c);
    out.share = out.ratio > 0 ? normal_cdf(log10(out.ratio) / values->notice_sd_log10) : 0;
    return out;
}

/* Product of the growth factors apart from temperature. */
static double rope_crumb_factor(const struct rope_values *values, const struct rope_conditions *c)
{
    return mold_gamma_cpm(c->ph, values->ph_min, values->ph_opt, values->ph_max, 1) *
           mold_gamma_aw_linear(c->aw, values->aw_min) *
           mold_gamma_inhibitor(c->undissociated.mmol_l[ACID_PROPIONIC],
                                values->mic_propionic_mmol_l, 1) *
           mold_gamma_inhibitor(c->undissociated.mmol_l[ACID_ACETIC], values->mic_acetic_mmol_l, 1);
}

static double rope_temperature_factor(const struct rope_values *values, double temp_c)
{
    return mold_gamma_cpm(temp_c, values->t_min_c, values->t_opt_c, values->t_max_c, 2);
}

/* Hours at the optimum that the history is worth by an age. */
static double work_hours(const struct rope_values *values, const struct rope_conditions *c,
                         double age_hours)
{
    double work = 0;
    double left = age_hours;
    for (size_t s = 0; s < c->segment_count && left > 0; s++) {
        double hours = s + 1 < c->segment_count ? fmin(left, c->segments[s].hours) : left;
        work += hours * rope_temperature_factor(values, c->segments[s].temp_c);
        left -= hours;
    }
    return work * rope_crumb_factor(values, c);
}

static double work_needed(const struct rope_values *values, const struct rope_conditions *c)
{
    double start = log10(fmax(c->spores_cfu_g * values->spore_survival_share, 1e-3));
    double rise = fmax(values->notice_log10_cfu_g - start, 0);
    return values->lag_opt_h + rise / values->rate_opt_log10_h;
}

double odor_rope_hours_to_notice(const struct rope_values *values, const struct rope_conditions *c)
{
    double left = work_needed(values, c);
    double crumb = rope_crumb_factor(values, c);
    double hours = 0;
    for (size_t s = 0; s < c->segment_count; s++) {
        double rate = crumb * rope_temperature_factor(values, c->segments[s].temp_c);
        bool last = s + 1 == c->segment_count;
        if (rate > 0 && (last || rate * c->segments[s].hours >= left)) {
            return hours + left / rate;
        }
        left -= rate * c->segments[s].hours;
        hours += c->segments[s].hours;
    }
    return INFINITY;
}

double odor_rope_share(const struct rope_values *values, const struct rope_conditions *c,
                       double age_hours)
{
    double work = work_hours(values, c, age_hours);
    if (!(work > 0)) {
        return 0;
    }
    return normal_cdf(log(work / work_needed(values, c)) /
                      sqrt(log1p(values->time_cv * values->time_cv)));
}

bool odor_rope_over_limit(const struct rope_values *values, double spores_cfu_g)
{
    return spores_cfu_g > values->limit_cfu_g;
}

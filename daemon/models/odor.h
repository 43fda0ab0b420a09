/* Off-odor from acids, and rope.
 *
 * Acids: only undissociated acid smells; its amount in bread over the amount noticed is
 * the odor activity ratio. A warm loaf gives off more by the enthalpy of vaporization
 * (van 't Hoff). Rope: bacillus spores that survive the bake grow in the crumb by a
 * cardinal-type model (Rosso, Lobry, Bajard, Flandrois 1995) until the level at which
 * ropiness was seen (Vaiciulyte-Funk et al. 2015 Zemdirbyste 102:351). The rate is set
 * between Rosenkvist, Hansen 1995 and the 40 h at 37 °C of bread rope spoilage development.
 * Units: mg/kg bread, mmol/L crumb water, CFU/g, hours, °C. */
#ifndef ODDLOAF_MODELS_ODOR_H
#define ODDLOAF_MODELS_ODOR_H

#include "models/acid.h"
#include "models/mold.h"

#include <stdbool.h>
#include <stddef.h>

struct odor_values {
    double propionic_mg_kg; /* undissociated, noticed by half in a cold loaf */
    double acetic_mg_kg;
    double vapour_kj_mol;
    double cold_c, warm_c;
    double notice_sd_log10;
};

struct rope_values {
    double t_min_c, t_opt_c, t_max_c;
    double ph_min, ph_opt, ph_max;
    double aw_min;
    double rate_opt_log10_h;
    double lag_opt_h;
    double notice_log10_cfu_g;
    double mic_propionic_mmol_l, mic_acetic_mmol_l;
    double spore_survival_share;
    double spores_cfu_g; /* usual, in dough */
    double limit_cfu_g;  /* proposed dough limit */
    double time_cv;      /* spread of the time to rope between batches */
};

struct odor_strength {
    double ratio;        /* sum of the acids' odor activity ratios */
    double share;        /* of noses that notice */
    enum acid_kind main; /* the acid that smells most */
};

struct rope_conditions {
    double spores_cfu_g; /* heat-resistant spores a g dough or crumb, before the bake */
    double ph;
    double aw;
    struct acid_mix undissociated;
    const struct mold_segment *segments;
    size_t segment_count;
};

/* Factor on vapour above the loaf at `temp_c` over `odor_values.cold_c`. */
double odor_warm_factor(const struct odor_values *values, double temp_c);
/* Acids over their thresholds in a loaf of this temperature. Only propionic and acetic
 * acid count. */
struct odor_strength odor_of_acids(const struct odor_values *values,
                                   const struct acid_mix *undissociated, double moisture_pct,
                                   double temp_c);

/* Hours to noticeable rope in a typical batch; INFINITY when never. */
double odor_rope_hours_to_notice(const struct rope_values *values, const struct rope_conditions *c);
/* Share of batches with noticeable rope by an age. */
double odor_rope_share(const struct rope_values *values, const struct rope_conditions *c,
                       double age_hours);
/* Whether a dough count is over the proposed limit. */
bool odor_rope_over_limit(const struct rope_values *values, double spores_cfu_g);

#endif

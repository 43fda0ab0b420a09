/* Mold on bread: from a spore to a visible colony under a temperature history.
 *
 * Growth factors of the cardinal type: CPM(n) with n = 2 for temperature and water
 * activity, n = 1 for pH (Rosso, Lobry, Bajard, Flandrois 1995 Appl Environ Microbiol
 * 61:610); inhibitor 1-(c/MIC)^alpha on the lag (same source; MIC on lag: Dagnas,
 * Gauvry, Onno, Membré 2015 J Food Prot 78:1689). Factors multiply; several acids
 * multiply too. Spores are few in a packed loaf, so single spores are modeled (Dagnas,
 * Membré 2013 J Food Prot 76:538): a spore's lag spreads lognormally, strains of one
 * group spread lognormally in their MIC.
 *
 * Time runs in days from packing, temperature in °C, acids in mmol/L undissociated.
 * A pack with on average m spores shows mold by day t with chance 1-exp(-m F(t)). */
#ifndef ODDLOAF_MODELS_MOLD_H
#define ODDLOAF_MODELS_MOLD_H

#include "models/acid.h"

#include <stdbool.h>
#include <stddef.h>

enum mold_group {
    MOLD_PENICILLIUM,
    MOLD_ASPERGILLUS,
    MOLD_EUROTIUM,
    MOLD_ROQUEFORTI, /* P. roqueforti and P. paneum: acid-resistant */
    MOLD_CHALK_YEAST,
    MOLD_GROUPS
};

enum { MOLD_SEGMENTS_MAX = 16, MOLD_STRAINS = 7 };

struct mold_group_values {
    double t_min_c, t_opt_c, t_max_c;
    double aw_min, aw_opt, aw_max;
    double ph_min, ph_opt, ph_max;
    double lag_opt_h; /* median lag of a spore when every factor is 1 */
    double radial_opt_mm_d;
    double mic_mmol_l[ACID_KINDS];
    double weight; /* share of the spores that reach a pack */
};

struct mold_values {
    struct mold_group_values group[MOLD_GROUPS];
    double alpha;
    double mic_spread_cv;
    double spore_spread_cv;
    double growth_share; /* how much of the inhibitor's factor also slows radial growth */
    double visible_diameter_mm;
    double spores_per_pack;
    double time_scale;   /* plant scale on all times */
    double spores_scale; /* plant scale on spores per pack */
    double horizon_days;
    double valid_ph_min, valid_ph_max;
    double valid_aw_min, valid_aw_max;
    double valid_temp_c_min, valid_temp_c_max;
};

/* Temperature history: constant pieces; the last one goes on for ever. */
struct mold_segment {
    double hours;
    double temp_c;
};

struct mold_conditions {
    struct acid_mix undissociated;
    double ph;
    double aw;
    struct mold_segment segments[MOLD_SEGMENTS_MAX];
    size_t segment_count; /* at least 1 */
    double weights[MOLD_GROUPS];
    double spores_per_pack; /* m before the plant's scale */
};

/* What the conditions come to, ready for many ages. Plain data, about a kilobyte. */
struct mold_course {
    size_t segment_count;
    double end_day[MOLD_SEGMENTS_MAX];
    struct mold_group_course {
        double weight;
        double rate[MOLD_SEGMENTS_MAX];       /* temperature factor of each piece */
        double work_start[MOLD_SEGMENTS_MAX]; /* integral of it up to the piece, days */
        double lag_work[MOLD_STRAINS];        /* median lag, days at temperature factor 1 */
        double log_lag_work[MOLD_STRAINS];
        double growth_work[MOLD_STRAINS]; /* radial growth to a visible colony, same unit */
    } group[MOLD_GROUPS];
    double inverse_sigma; /* of ln(lag) between spores */
    double spores;        /* m after the plant's scale */
    double horizon_days;
    bool valid;
    const char *reason; /* why it is not valid, static text; "" when valid */
};

const char *mold_group_name(enum mold_group group);

/* Cardinal parameter model of order n (1 or 2); 0 outside (x_min, x_max). */
double mold_gamma_cpm(double x, double x_min, double x_opt, double x_max, int n);
double mold_gamma_aw_linear(double aw, double aw_min);
/* 1-(c/MIC)^alpha, 0 from the MIC on. */
double mold_gamma_inhibitor(double c_mmol_l, double mic_mmol_l, double alpha);
/* Product over the acids for a group whose MICs are all multiplied by `mic_factor`. */
double mold_gamma_acids(const struct mold_group_values *group, const struct acid_mix *undissociated,
                        double alpha, double mic_factor);

/* Fills a course. Sets `valid` and `reason`; fills it even when not valid. */
void mold_course_init(struct mold_course *course, const struct mold_conditions *conditions,
                      const struct mold_values *values);
/* F(t): share of the spores that have become visible colonies. */
double mold_spores_visible(const struct mold_course *course, double age_days);
/* The same with all mold times multiplied by a factor (a plant's or a batch's scale). */
double mold_spores_visible_scaled(const struct mold_course *course, double age_days,
                                  double time_factor);
/* Chance that the first visible mold falls in (age-look, age]: the density at the day
 * found when packs are looked at every `look_days`. */
double mold_found_chance_scaled(const struct mold_course *course, double age_days, double look_days,
                                double time_factor, double spores_factor);
/* Age at which half of the packs that carry at least one viable spore show mold.
 * Never more than the horizon; `*ret_beyond` (may be NULL) tells that it lies past it.
 * `start_days` speeds up the search when near; NAN if unknown. */
double mold_free_days(const struct mold_course *course, double start_days, bool *ret_beyond);

#endif

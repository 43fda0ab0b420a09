/* Mold on bread and cake: from a spore to a visible colony under a temperature history.
 *
 * Temperature: CPM(2), cardinal values a group (Rosso, Lobry, Bajard, Flandrois 1995 Appl
 * Environ Microbiol 61:610).
 * Water activity: the days grow tenfold by a fixed step of water activity, as the published
 * lines of cakes have it, log10 days = 7.91 - 0.081 ERH at 21 °C and 6.42 - 0.0647 ERH at
 * 27 °C (Cauvain, Seiler 1992; see rules/SOURCES.md), from a group's `aw_line` down; above
 * it they fall by a smaller step to `aw_opt`. A group's strains come up one by one from its
 * published minimum on, so that only xerophilic molds are left in a dry product.
 * pH: none of its own. From pH 3.5 to 6.5 it had no significant effect on germination
 * (Sautour, Rouget, Dantigny, Divies, Bensoussan 2001 J Appl Microbiol 91:900); it speaks
 * through the acids' dissociation.
 * Inhibitor: an MIC on the lag (Dagnas, Gauvry, Onno, Membré 2015 J Food Prot 78:1689) says
 * that nothing grew while the experiment ran; it is read as a lag `mic_lag_factor` times as
 * long as without acid, and the lag's factor as 1 + (mic_lag_factor-1)(c/MIC)^mic_order: no
 * dose brings mold earlier, and none makes an endless lag. Several acids multiply.
 * Spores are few in a packed loaf, so single spores are modeled (Dagnas, Membré 2013 J Food
 * Prot 76:538): a spore's lag spreads lognormally, strains of one group spread lognormally
 * in their MIC.
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
    MOLD_XEROPHILE,  /* Eurotium, Wallemia: grow where others find it too dry */
    MOLD_ROQUEFORTI, /* P. roqueforti and P. paneum: stand much sorbate and acetic acid */
    MOLD_CHALK_YEAST,
    MOLD_PAECILOMYCES, /* P. variotii: the most tolerant of propionate and sorbate */
    MOLD_GROUPS
};

enum { MOLD_SEGMENTS_MAX = 16, MOLD_STRAINS = 7 };

struct mold_group_values {
    double t_min_c, t_opt_c, t_max_c;
    double aw_min, aw_line, aw_opt; /* none below; the line's upper end; fastest from here on */
    double lag_opt_h;               /* median lag of a spore when every factor is 1 */
    double radial_opt_mm_d;
    double mic_mmol_l[ACID_KINDS];
    double weight; /* share of the spores that reach a pack */
};

struct mold_values {
    struct mold_group_values group[MOLD_GROUPS];
    double aw_line_slope; /* log10 of days per 0.01 water activity, below aw_line */
    double aw_wet_slope;  /* the same between aw_line and aw_opt */
    double aw_ramp;       /* water activity from a group's minimum to all of its strains */
    double mic_lag_factor;
    double mic_order;
    double mic_spread_cv;
    double spore_spread_cv;
    double growth_share; /* how much of the inhibitor's factor also slows radial growth */
    double visible_diameter_mm;
    double spores_per_pack;
    double time_scale;   /* plant scale on all times */
    double spores_scale; /* plant scale on spores per pack */
    double horizon_days; /* nothing is told beyond; predictions themselves don't end there */
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
        double log_lag_work[MOLD_STRAINS];    /* ln of the median lag, days at that factor 1 */
        double growth_work[MOLD_STRAINS];     /* radial growth to a visible colony, same unit */
    } group[MOLD_GROUPS];
    double inverse_sigma; /* of ln(lag) between spores */
    double spores;        /* m of the groups that can grow, after the plant's scale */
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
/* Speed of a group that can grow at `aw`, over its best. */
double mold_gamma_aw(const struct mold_group_values *group, const struct mold_values *values,
                     double aw);
/* Share of a group's strains that grow at `aw` at all. */
double mold_able_share(const struct mold_group_values *group, const struct mold_values *values,
                       double aw);
/* One over the factor on the lag, over all acids, for a group whose MICs are all multiplied
 * by `mic_factor`. */
double mold_gamma_acids(const struct mold_group_values *group, const struct mold_values *values,
                        const struct acid_mix *undissociated, double mic_factor);

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
/* Age at which half of the packs that carry at least one spore able to grow there show mold;
 * INFINITY when they never do. Who tells it tells no more than the course's horizon.
 * `start_days` speeds up the search when near; NAN if unknown. */
double mold_free_days(const struct mold_course *course, double start_days);

#endif

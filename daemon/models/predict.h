/* Predictions for one lot: what the ranker and `lot` ask for.
 *
 * Lots are given as known (lot_conditions.h); every function fills what is not known
 * itself, `made` from `specified` (may be NULL) and that from the usual values. Of acids
 * there are none: where neither lot tells a dose, what depends on it is not known. Ages run
 * in days from packing. A prediction outside the valid range of the parameters says so
 * (`valid` false, `reason` static text) and must not vote. All functions are pure. */
#ifndef ODDLOAF_MODELS_PREDICT_H
#define ODDLOAF_MODELS_PREDICT_H

#include "models/lot_conditions.h"
#include "models/spread.h"

enum predict_term {
    PREDICT_INHIBITOR, /* dose, active share, age of the inhibitor */
    PREDICT_PH,
    PREDICT_WATER,         /* crumb water activity and moisture */
    PREDICT_PACKED_WET,    /* core at packing: condensate */
    PREDICT_TEMPERATURE,   /* storage and transit */
    PREDICT_CONTAMINATION, /* spores per pack, groups */
    PREDICT_TERMS
};

struct mold_prediction {
    /* half of the packs that carry a spore show mold; may lie past the horizon, INFINITY never */
    struct spread_range mold_free_days;
    double horizon_days;             /* what lies past it is told as "more than" that */
    double contaminated_share;       /* of packs that carry a viable spore */
    double term_days[PREDICT_TERMS]; /* days lost by this term against the specification */
    enum predict_term costliest;     /* PREDICT_TERMS when no term loses 0.1 day */
    struct lot_facts facts;
    bool valid;
    const char *reason;
};

struct firmness_prediction {
    struct spread_range ratio; /* firmness over fresh as specified */
    double stale_share;        /* of buyers who call it stale at this age */
    double gummy_share;
    struct lot_facts facts;
    bool valid;
    const char *reason;
};

struct rope_prediction {
    struct spread_range hours; /* to noticeable rope; INFINITY where never */
    double share;              /* of batches with noticeable rope at this age */
    bool over_limit;           /* count over the proposed dough limit */
    bool valid;
    const char *reason;
};

struct odor_prediction {
    struct odor_strength cold, warm;
    struct spread_range cold_ratio;
    bool valid;
    const char *reason;
};

const char *predict_term_name(enum predict_term term);

/* Full prediction with range and terms: for people. */
void predict_mold(const struct lot_conditions *made, const struct lot_conditions *specified,
                  const struct models_parameters *parameters, struct mold_prediction *ret);
/* The lot's course with typical values, for many ages (mold_packs_visible() and so on). */
void predict_mold_course(const struct lot_conditions *made, const struct lot_conditions *specified,
                         const struct models_parameters *parameters, struct mold_course *ret);
/* Chance that the first visible mold falls in (age-look, age], the plant's time scale
 * spread lognormally with its low and high as 5 and 95 %. For likelihoods. NAN when the
 * course is not valid. */
double predict_course_density(const struct mold_course *course,
                              const struct models_parameters *parameters, double age_days,
                              double look_days);
/* Share of packs with visible mold by an age, spread likewise. */
double predict_course_share(const struct mold_course *course,
                            const struct models_parameters *parameters, double age_days);

/* Days after packing before which mold is hardly ever seen on any bread: by then one pack in twenty
 * shows some of bread without any preserving acid, kept at 30 °C, with 25 times the usual spores.
 * By the built-in parameters: no plant's bread molds sooner for being that plant's. */
double predict_mold_soonest_days(void);
/* Whether an age lies before that; false of NAN. */
bool predict_mold_too_soon(double age_days);

void predict_firmness(const struct lot_conditions *made, const struct lot_conditions *specified,
                      const struct models_parameters *parameters, double age_days,
                      struct firmness_prediction *ret);
/* Chance that a buyer first calls the loaf stale in (age-look, age], time scale spread as
 * above; NAN when not valid. */
double predict_stale_density(const struct lot_conditions *made,
                             const struct lot_conditions *specified,
                             const struct models_parameters *parameters, double age_days,
                             double look_days);
void predict_rope(const struct lot_conditions *made, const struct lot_conditions *specified,
                  const struct models_parameters *parameters, double age_days,
                  struct rope_prediction *ret);
void predict_odor(const struct lot_conditions *made, const struct lot_conditions *specified,
                  const struct models_parameters *parameters, struct odor_prediction *ret);

#endif

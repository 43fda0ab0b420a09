/* What every series of a week's report should have brought: how complaints lag behind packing, what
 * was on sale, season and trend, each level's own past. Inside patterns/.
 *
 * Expected(week) = rate x on sale(week) x season(week), where on sale(week) is the sum over delays
 * d of units packed d weeks before times the share of complaints that come after d weeks. The rate
 * is the level's own over the baseline, drawn a little towards its factor's, past outbreaks
 * down-weighted. Counts spread around it like a negative binomial with variance phi x mean, plus
 * the uncertainty of the rate; sums of several weeks spread more (week_expect_stretch()). */
#ifndef ODDLOAF_PATTERNS_WEEK_EXPECT_H
#define ODDLOAF_PATTERNS_WEEK_EXPECT_H

#include "patterns/week_data.h"
#include "stats/delay.h"

struct week_lag {
    bool known; /* false: nothing was reported yet, `share` is a usual curve */
    struct delay_curve curve;
    double unlike;               /* how far a single week's delays may be from it (stats/delay.h) */
    double share[WEEK_DELAYS];   /* of complaints that come after d weeks */
    double overlap[WEEK_DELAYS]; /* sum over d of share[d] x share[d + j], over that of j = 0 */
};

/* How much more than one week a sum of `weeks` weeks of receipt varies beyond chance: (its variance
 * over mean - 1) over that of a single week. Weeks differ because what was packed differs, and a
 * bad week of packing is complained about for several weeks: neighbours rise together. */
double week_expect_stretch(const struct week_lag *lag, int weeks);

struct week_model {
    const struct week_data *data;
    struct week_lag lag[WEEK_SYMPTOMS];    /* as known before the week shown: what is usual does not
                                              move with what is being judged */
    struct week_lag coming[WEEK_SYMPTOMS]; /* as known now: what is still to come */
    double season[WEEK_SYMPTOMS][WEEK_SPAN]; /* 1 without */
    double season_cv[WEEK_SYMPTOMS];         /* how unsure the newest weeks' is, relative */
    bool seasonal[WEEK_SYMPTOMS], trending[WEEK_SYMPTOMS];
    int first;    /* index (of WEEK_SPAN) of the first week with anything on sale */
    int recent;   /* the newest weeks, which are judged; those before are the baseline. 0: none */
    bool unheard; /* no complaint is on record before the week shown: nothing is judged */
    int baseline; /* index after its last week; never the week shown */
};

/* The lags alone, from the reports that were in before week number `before` (those of now:
 * data->now_week). */
void week_expect_lags_make(const struct week_data *data, int before,
                           struct week_lag lag[WEEK_SYMPTOMS]);
void week_expect_model_make(const struct week_data *data, struct week_model *ret);

/* Units of a level whose complaints are due in the week shown, so far as it has passed. */
double week_expect_on_sale(const struct week_model *model, const struct week_level *level,
                           int symptom);

struct week_base { /* a level's baseline, weeks that stand out counting less */
    double counts, exposure, chi_square, df;
};

struct week_series {
    struct week_base base;
    double on_sale[WEEK_SPAN]; /* units whose complaints are due in that week */
    double expected[WEEK_SPAN];
    double rate;       /* complaints a unit */
    double rate_shape; /* certainty of the rate: 1 / cv^2 */
    double phi;        /* variance over mean, at least 1 */
    double phi_high;   /* that and a standard error: what a signal must stand out against */
};
/* Whether so many in week `index` (of WEEK_SPAN) are no ordinary week: such weeks of the past say
 * nothing of what is usual. */
bool week_expect_stands_out(const struct week_series *series, int index, double count);

/* Expectations of one symptom's series of every level of a cut (NULL: all together); `ret` has one
 * a level of the data, and those of the cut are set. */
void week_expect_model_factor(const struct week_model *model, const struct cut *cut, int symptom,
                              struct week_series *ret);

/* What a level should bring in the weeks judged, raised as far as all of the plant but it rose in
 * them, and as much less sure: a whole plant that wanders is no rise of each of its lines. Of cuts
 * whose units are parts of those of all; `all` is the series of all together. */
void week_expect_beside(const struct week_model *model, int symptom, const struct week_series *all,
                        const struct week_level *level, struct week_series *series);

#endif

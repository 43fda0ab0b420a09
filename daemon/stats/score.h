/* How good stated probabilities were, now that the truth is known.
 *
 * Two views: yes/no statements ("this cause, 0.8"), with y = 1 if it came true; and whole rankings,
 * one case at a time, with the index of the cause that was confirmed. */
#ifndef ODDLOAF_STATS_SCORE_H
#define ODDLOAF_STATS_SCORE_H

#include <stddef.h>

/* One row of a calibration table. */
struct score_bin {
    double said; /* mean stated probability; NAN if empty */
    double was;  /* share that came true; NAN if empty */
    size_t n, hits;
};

/* Table of equal-width bins over [0, 1]; p = 1 falls in the last. ERROR_INVALID if a probability
 * lies outside [0, 1], y is neither 0 nor 1, or bins = 0. */
int score_calibration(const double *p, const int *y, size_t n, size_t bins,
                      struct score_bin *ret_bins);

/* Expected calibration error: mean of |said - was| over the statements. NAN if the table is empty.
 */
double score_calibration_error(const struct score_bin *bins, size_t count);

struct score_brier {
    double score;       /* mean (p - y)^2; 0 is perfect */
    double reliability; /* distance of said from was: less is better */
    double resolution;  /* spread of was: more is better */
    double uncertainty; /* of the question itself */
    double within;      /* score - (reliability - resolution + uncertainty): 0 when every bin holds
                           one stated value only, else what binning hides */
    double skill;       /* 1 - score / uncertainty; NAN if uncertainty is 0 */
};

/* Brier score with its parts (A. H. Murphy, "A new vector partition of the probability score",
 * Journal of Applied Meteorology 12 (1973) 595-600). `bins` = 0 groups by distinct stated values,
 * which makes the partition exact. ERROR_INVALID as above or for n = 0. */
int score_brier(const double *p, const int *y, size_t n, size_t bins, struct score_brier *ret);

/* Of one ranking with `n` causes and the confirmed one: squared distance summed over the causes
 * (G. W. Brier, "Verification of forecasts expressed in terms of probability", Monthly Weather
 * Review 78 (1950) 1-3), 0 to 2. */
double score_case_brier(const double *p, size_t n, size_t confirmed);
/* -log p of the confirmed cause in nats, floored; *floored is raised by one if that was needed. */
double score_case_log(const double *p, size_t n, size_t confirmed, double floor, size_t *floored);
/* 1 if the confirmed cause is on top; causes of equal probability count as ranked before it, so
 * that a ranking which cannot decide gets no credit. Top-k is score_case_rank(…) <= k. */
size_t score_case_rank(const double *p, size_t n, size_t confirmed);

#endif

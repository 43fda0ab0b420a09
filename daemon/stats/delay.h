/* Reports still to come: how long complaints take to arrive, learnt from counts by period of make
 * and delay although recent periods are cut short, and how many a period will have in the end.
 *
 * The share F(d) reported within delay d comes from the reverse-time hazard
 * g(d) = N(delay d) / N(delay <= d) over the periods old enough to show d:
 * F(d) = product over u > d of (1 - g(u)), F(last) = 1 by definition: what comes later than the
 * last delay is not counted. The same numbers as the chain ladder on counts. J. F. Lawless,
 * "Adjustments for reporting delays and the prediction of occurred but not reported events",
 * Canadian Journal of Statistics 22 (1994) 15-31; J. D. Kalbfleisch & J. F. Lawless, Journal of the
 * American Statistical Association 84 (1989). Weak where delays change: nowcasts overshoot when
 * complaints start to come sooner. */
#ifndef ODDLOAF_STATS_DELAY_H
#define ODDLOAF_STATS_DELAY_H

#include <stdbool.h>
#include <stddef.h>

#include "stats/interval.h"

enum { DELAY_MOST = 128 };

/* counts[i * delays + d] reports about period i came after delay d (in periods). Only the first
 * seen[i] delays of a period have passed; the rest of its row is not read. */
struct delay_triangle {
    size_t periods, delays;
    const double *counts;
    const size_t *seen;
};

struct delay_curve {
    size_t delays;
    double share[DELAY_MOST];        /* F(d) */
    double log_variance[DELAY_MOST]; /* of log F(d), sampling only */
    double reports;                  /* that the curve rests on, prior included */
};

/* `prior`, unless NULL, holds `delays` pseudo-counts (a wider group's distribution times how many
 * reports it should weigh): a symptom with few reports leans on it.
 * ERROR_INVALID for negative counts, no delays, more than DELAY_MOST, a `seen` beyond `delays`, or
 * if nothing at all was reported. A delay that no period is old enough to show has hazard 0. */
int delay_fit(const struct delay_triangle *triangle, const double *prior, struct delay_curve *ret);

/* F and the variance of its log after `age` periods (0 at the moment of make), linear in between.
 */
double delay_share(const struct delay_curve *curve, double age);
double delay_log_variance(const struct delay_curve *curve, double age);

/* How unlike each other the periods' delays are: troubles of one kind are reported sooner than
 * those of another. The correlation within a period of whether its reports came by a delay, 0 to 1:
 * that of a beta-binomial count, by moments over periods nearly all in and every delay (R. L.
 * Prentice, "Binary regression using an extended beta-binomial distribution", Journal of the
 * American Statistical Association 81 (1986) 321-327, for the correlation; from memory). Several
 * triangles add up; next to nothing seen gives DELAY_UNLIKE_USUAL (fitted on invented plants),
 * which is given up slowly: where delays never differ, intervals of large counts hold too much. */
struct delay_unlike {
    double excess, weight;
};
#define DELAY_UNLIKE_USUAL 0.08
void delay_unlike_add(const struct delay_triangle *triangle, const struct delay_curve *curve,
                      struct delay_unlike *sum);
double delay_unlike(const struct delay_unlike *sum);

/* What is known of a period so far. */
struct delay_so_far {
    double reported;
    double share, log_variance; /* of the curve at the period's age */
    double unlike;              /* delay_unlike() */
};

/* What is believed about a period's final count before any report: Gamma(shape, rate), mean
 * shape/rate. {0, 0}: nothing. Without it a period with no report yet has an expectation of 0. */
struct delay_prior {
    double shape, rate;
};

struct delay_forecast {
    double share; /* of the reports that should be in */
    double reported;
    double expected_final;
    double size; /* of the negative binomial of those missing; their mean is expected - reported */
    struct interval final; /* prediction interval of the final count, reported ones included */
    bool too_early;        /* share below DELAY_TOO_EARLY: show the interval, claim nothing */
};

#define DELAY_TOO_EARLY 0.2

/* The interval has equal tails, given up from the unlikelier end while the rest still holds the
 * confidence: whole numbers hold more than was asked, and of small ones much more.
 *
 * Missing reports are negative binomial: a Poisson count whose mean is uncertain by what was
 * reported (size shape + reported), by the curve (`log_variance`) and by how far the period's own
 * delays may be from it (`unlike`). ERROR_INVALID for a share outside [0, 1], negative input, a
 * share of 0 without a prior, or a confidence outside (0, 1). */
int delay_forecast(const struct delay_so_far *so_far, struct delay_prior prior, double confidence,
                   struct delay_forecast *ret);

#endif

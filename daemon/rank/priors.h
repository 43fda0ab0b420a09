/* Prior probabilities of the causes, and what verdicts teach about them.
 *
 * The evidence of a confirmed case has already said most of what its verdict says. Counting
 * verdicts as if they came without evidence would count it twice: a cause that its evidence always
 * gives away would also get a large prior. What is learned is therefore what the rankings missed:
 * how often a cause was confirmed (n) beside how often the rankings of the same cases expected it
 * (E, the sum of their probabilities, made with the shipped priors s):
 *
 *     prior ~ s (n + W s) / (E + W s)                        W = prior_weight
 *
 * Where the cases tell nothing (E = N s) that is the Dirichlet's posterior mean, (n + W s)/(N + W).
 * Three cares:
 * - Faults come in troubles: twenty complaints about one blocked feeder tell once that feeders
 *   block. Verdicts of a cause whose cases are at most 14 days apart are one trouble and count
 *   together as one.
 * - Among faults n and E are conditional on the case being a fault at all.
 * - Who gives verdicts on lone complaints of no known cause is nobody's sample: the share of
 *   background causes moves by the same rule as a whole, but slowly (background_weight). */
#ifndef ODDLOAF_RANK_PRIORS_H
#define ODDLOAF_RANK_PRIORS_H

#include "rank/nearby.h"
#include "rules/rules.h"

/* The shipped ones, by index in the rules; 0 for what is no cause of the symptom. */
void priors_shipped(const struct rules *rules, int symptom, double *ret);

/* Sums over verdicts, by cause. `seen` and `expected`: troubles, background causes left at 0. */
struct priors_sums {
    double *seen, *expected;
    double verdicts, background_seen, background_expected;
};
/* The rule above. */
void priors_learned(const struct rules *rules, int symptom, const struct priors_sums *sums,
                    double *ret);

/* ---- the plant's verdicts in time ---- */
struct priors;
struct priors *priors_new(const struct rules *rules); /* borrowed */
void priors_free(struct priors *priors);              /* NULL is fine */

struct priors_verdict {
    int64_t at_ms, as_of_ms; /* given; newest complaint of its case */
    int symptom, cause;
    double weight;                /* as how much of a verdict it counts, 0..1 */
    const double *said;           /* probabilities of its ranking, by cause; NULL: it had none */
    const struct nearby_lot *lot; /* of its case; NULL: not known */
    bool nearby;                  /* its ranking counted troubles confirmed nearby */
};
/* In the order of at_ms. */
void priors_add(struct priors *priors, const struct priors_verdict *verdict);
/* By the verdicts given before an instant; with what they confirmed near `lot` (nearby.h), NULL:
 * without. */
void priors_at(const struct priors *priors, int symptom, int64_t before_ms,
               const struct nearby_lot *lot, double *ret);
/* What the ranking of a verdict's case would have said, made with or without what was confirmed
 * near its lot: the same evidence, other priors. `said` and `lot` must be known. */
void priors_again(const struct priors *priors, const struct priors_verdict *verdict, bool nearby,
                  double *ret);

#endif

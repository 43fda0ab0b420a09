/* The ranking: a pure function of facts, rules and priors.
 *
 * Posterior odds = prior odds times likelihood ratios of what is known; a fact that is not known
 * says nothing. Of the items of one group the strongest counts. Probabilities by log-sum-exp; they
 * sum to 1 over all causes of the symptom. */
#ifndef ODDLOAF_RANK_RANK_H
#define ODDLOAF_RANK_RANK_H

#include "rank/evidence_bits.h"

struct rank_item {
    const struct rule_evidence *evidence;
    double bits; /* pooled over the complaints; NAN: its fact is not known */
    int known, complaint;
    bool counted; /* false: a stronger item of its group is */
};

struct rank_cause {
    int cause; /* index in the rules */
    double prior, probability;
    double bits; /* of all counted items, tempered */
    struct rank_item *items;
    int item_count;
};

struct rank {
    int symptom, count;
    struct rank_cause *causes; /* likeliest first; ties by id */
    struct rank_item *items;   /* all, owned */
};

/* `priors` by index in the rules (priors.h); 0: no cause of the symptom. */
void rank_make(const struct fact_set *facts, int symptom, const double *priors, struct rank *ret);
void rank_free(struct rank *rank);

/* Mixture: replaces the probabilities of `rank` (the likeliest lot's) by the weighted mean over
 * several rankings of the same case, and sorts again. Weights must sum to 1. */
void rank_mix(struct rank *rank, const struct rules *rules, const struct rank *const *ranks,
              const double *weights, int count);

/* Whether QA would act on it that the first cause is said so sure now: it crossed one of 50, 70 and
 * 90 % by a step of five points or more, for one that dithers at an edge is no news. */
bool rank_surer(double was, double is);

/* Position (0 first) of a cause, -1. */
int rank_find(const struct rank *rank, int cause);

#endif

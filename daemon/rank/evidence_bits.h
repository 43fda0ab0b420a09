/* What one evidence item says, in bits: log2 P(fact | cause) / P(fact | other causes). */
#ifndef ODDLOAF_RANK_EVIDENCE_BITS_H
#define ODDLOAF_RANK_EVIDENCE_BITS_H

#include "facts/fact_set.h"

/* Of one fact, guards not looked at; NAN if the fact does not know what the item asks. */
double evidence_bits_of(const struct rule_evidence *evidence, const struct fact *fact);
/* How often a place was cleaned between a sample of it and the lot, where that takes away from what
 * the sample says: dirty before, or clean after, it tells of the place's habit. Else 0. */
int evidence_bits_cleanings(const struct rules *rules, const struct rule_evidence *evidence,
                            const struct fact *fact, double bits);
/* Whether a guard holds: 1 yes, 0 no, -1 its fact is not known. No guard: 1. */
int evidence_bits_guard(const struct rule_guard *guard, const struct fact_set *facts,
                        int complaint);

/* Of all complaints of the case. n complaints that know the fact speak n^pool_exponent times as
 * loud as their mean: callers who see the same loaf fault are not independent witnesses. What is
 * the same for all of them (the lot's facts, the season, routes and stores) speaks once. NAN if
 * nothing is known. */
struct evidence_bits_said {
    double bits;
    int known;     /* complaints, or 1 for a lot's fact */
    int complaint; /* one that knows the fact, nearest to the mean: to be shown */
};
struct evidence_bits_said evidence_bits_said(const struct rule_evidence *evidence,
                                             const struct fact_set *facts, double pool_exponent);

#endif

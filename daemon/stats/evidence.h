/* Weighing causes against each other: posteriors from log weights, and what a question not yet
 * asked is expected to tell. */
#ifndef ODDLOAF_STATS_EVIDENCE_H
#define ODDLOAF_STATS_EVIDENCE_H

#include <stddef.h>

/* log(sum exp(x_i)) without overflow or underflow; -INFINITY for n = 0 or all -INFINITY. */
double evidence_log_sum(const double *log_weights, size_t n);

/* Probabilities proportional to exp(log weight), summing to 1. Takes the output in place.
 * `ret_log_evidence` (may be NULL) gets the log of the sum. ERROR_INVALID if every weight is
 * -INFINITY or one is NAN or +INFINITY: then nothing is written. */
int evidence_normalise(const double *log_weights, size_t n, double *ret_probabilities,
                       double *ret_log_evidence);

/* Expected gain in bits of a question: mutual information of cause and answer (D. V. Lindley, "On a
 * measure of the information provided by an experiment", Annals of Mathematical Statistics 27
 * (1956) 986-1005). `likelihood[a * causes + c]` is P(answer a | cause c); a column that does not
 * sum to 1 is scaled so that it does; one that sums to 0 makes ERROR_INVALID, as do negative
 * entries. The gain is never below 0. */
int evidence_gain_bits(const double *prior, size_t causes, const double *likelihood, size_t answers,
                       double *ret);

/* Expected gain in the probability that the likeliest cause is the right one: what naming it after
 * the answer is expected to hit, less what naming it now does. 0 where every answer leaves the same
 * one in front. As above, but `prior` need not sum to 1: one entry may stand for the likeliest of
 * causes that all answer alike. */
int evidence_gain_first(const double *prior, size_t causes, const double *likelihood,
                        size_t answers, double *ret);

#endif

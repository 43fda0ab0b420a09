/* Troubles confirmed nearby. What spoils a lot seldom spoils that one alone: where verdicts have
 * named faults of lots, those packed on the same line within a few days are likelier to have them
 * than their shares of all cases say. The prior of such a case is a mixture,
 *
 *     prior' = (1 - m) prior + m share         m = near_share x weight of the surest such verdict
 *
 * `share`: of the faults confirmed nearby, by the weights of their verdicts. m bounds what a wrong
 * verdict can do, and how much of the background a trouble takes. */
#ifndef ODDLOAF_RANK_NEARBY_H
#define ODDLOAF_RANK_NEARBY_H

#include <stdbool.h>
#include <stdint.h>

/* Where and when a lot was packed; texts borrowed. */
struct nearby_lot {
    int64_t packed_ms;
    const char *plant, *line;
};

struct nearby;
/* `share`: near_share above; `days`: how far apart two lots may have been packed. */
struct nearby *nearby_new(double share, double days);
void nearby_free(struct nearby *nearby); /* NULL is fine */

/* A fault of the plant that a verdict named, given at `at_ms`; in the order of at_ms. */
struct nearby_verdict {
    int64_t at_ms;
    int symptom, cause;
    double weight; /* above 0, at most 1 */
    struct nearby_lot lot;
};
void nearby_add(struct nearby *nearby, const struct nearby_verdict *verdict);

/* Mixes into the priors of `causes` causes what was confirmed before an instant near a lot. False:
 * nothing was, and they stay. A cause of prior 0 stays at 0. */
bool nearby_mix(const struct nearby *nearby, int symptom, const struct nearby_lot *lot,
                int64_t before_ms, double *priors, int causes);

#endif

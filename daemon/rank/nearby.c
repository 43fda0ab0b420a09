#include "rank/nearby.h"
#include "base/text.h"
#include "base/when.h"
#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

struct nearby {
    double share;
    int64_t near_ms;
    struct nearby_verdict *list;
    int count;
};

struct nearby *nearby_new(double share, double days)
{
    assert(share >= 0 && share < 1 && days >= 0);
    struct nearby *nearby = xcalloc(1, sizeof *nearby);
    nearby->share = share;
    nearby->near_ms = (int64_t)(days * (double)WHEN_DAY_MS);
    return nearby;
}

void nearby_free(struct nearby *nearby)
{
    if (!nearby)
        return;
    for (int i = 0; i < nearby->count; i++) {
        free((char *)nearby->list[i].lot.plant);
        free((char *)nearby->list[i].lot.line);
    }
    free(nearby->list);
    free(nearby);
}

void nearby_add(struct nearby *nearby, const struct nearby_verdict *verdict)
{
    assert(verdict->weight > 0 && verdict->weight <= 1);
    nearby->list = xrealloc(nearby->list, (size_t)(nearby->count + 1) * sizeof *nearby->list);
    struct nearby_verdict *kept = &nearby->list[nearby->count++];
    *kept = *verdict;
    kept->lot.plant = xstrdup(verdict->lot.plant);
    kept->lot.line = xstrdup(verdict->lot.line);
}

static bool is_near(const struct nearby *nearby, const struct nearby_lot *a,
                    const struct nearby_lot *b)
{
    return llabs(a->packed_ms - b->packed_ms) <= nearby->near_ms && strcmp(a->line, b->line) == 0 &&
           strcmp(a->plant, b->plant) == 0;
}

/* Weights of what was confirmed nearby, by cause; returns the surest one's. */
static double weights_near(const struct nearby *nearby, int symptom, const struct nearby_lot *lot,
                           int64_t before_ms, const double *priors, double *ret)
{
    double surest = 0;
    for (int i = nearby->count; i-- > 0;) {
        const struct nearby_verdict *verdict = &nearby->list[i];
        /* a lot has its verdict after it was packed: earlier ones are of lots too old */
        if (verdict->at_ms < lot->packed_ms - nearby->near_ms)
            break;
        if (verdict->at_ms >= before_ms || verdict->symptom != symptom ||
            !(priors[verdict->cause] > 0) || !is_near(nearby, &verdict->lot, lot))
            continue;
        ret[verdict->cause] += verdict->weight;
        surest = fmax(surest, verdict->weight);
    }
    return surest;
}

bool nearby_mix(const struct nearby *nearby, int symptom, const struct nearby_lot *lot,
                int64_t before_ms, double *priors, int causes)
{
    assert(lot->plant && lot->line);
    double *weights = xcalloc((size_t)causes + 1, sizeof *weights), sum = 0;
    double mixed = nearby->share * weights_near(nearby, symptom, lot, before_ms, priors, weights);
    for (int i = 0; i < causes; i++)
        sum += weights[i];
    for (int i = 0; i < causes && sum > 0; i++)
        priors[i] = (1 - mixed) * priors[i] + mixed * weights[i] / sum;
    free(weights);
    return sum > 0;
}

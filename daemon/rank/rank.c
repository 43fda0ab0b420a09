#include "rank/rank.h"
#include "base/text.h"
#include "stats/evidence.h"
#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static void weigh(const struct fact_set *facts, struct rank_cause *ranked,
                  const struct rule_cause *cause, int symptom)
{
    assert(symptom >= 0 && symptom < SYMPTOMS);
    assert(cause->group_count <= RULE_GROUPS);
    const struct rule_ranking *settings = &facts->rules->ranking;
    int strongest[RULE_GROUPS];
    int groups = cause->group_count;
    for (int g = 0; g < groups; g++)
        strongest[g] = -1;
    ranked->bits = 0;
    for (int i = 0; i < cause->evidence_count; i++) {
        const struct rule_evidence *evidence = &cause->evidence[i];
        if (!(evidence->symptoms & 1u << symptom))
            continue;
        struct evidence_bits_said said =
            evidence_bits_said(evidence, facts, settings->pool_exponent);
        struct rank_item *item = &ranked->items[ranked->item_count++];
        *item = (struct rank_item){evidence, said.bits, said.known, said.complaint, false};
        if (isnan(said.bits))
            continue;
        int *best = evidence->group >= 0 ? &strongest[evidence->group] : NULL;
        if (best && *best >= 0 && fabs(ranked->items[*best].bits) >= fabs(said.bits))
            continue;
        if (best && *best >= 0) {
            ranked->items[*best].counted = false;
            ranked->bits -= ranked->items[*best].bits;
        }
        if (best)
            *best = ranked->item_count - 1;
        item->counted = true;
        ranked->bits += said.bits;
    }
    ranked->bits *= settings->temper;
    assert(isfinite(ranked->bits));
}

struct order {
    double probability;
    const char *id;
    struct rank_cause cause;
};

static int by_probability(const void *a, const void *b)
{
    const struct order *x = a, *y = b;
    if (x->probability != y->probability)
        return x->probability > y->probability ? -1 : 1;
    return strcmp(x->id, y->id);
}

static void sort(struct rank *rank, const struct rules *rules)
{
    struct order *orders = xcalloc((size_t)rank->count + 1, sizeof *orders);
    for (int i = 0; i < rank->count; i++)
        orders[i] = (struct order){rank->causes[i].probability,
                                   rules->causes[rank->causes[i].cause].id, rank->causes[i]};
    qsort(orders, (size_t)rank->count, sizeof *orders, by_probability);
    for (int i = 0; i < rank->count; i++)
        rank->causes[i] = orders[i].cause;
    free(orders);
}

void rank_make(const struct fact_set *facts, int symptom, const double *priors, struct rank *ret)
{
    assert(symptom >= 0 && symptom < SYMPTOMS);
    const struct rules *rules = facts->rules;
    size_t n = (size_t)rules->cause_count, items = 0;
    for (size_t i = 0; i < n; i++)
        items += (size_t)rules->causes[i].evidence_count;
    *ret = (struct rank){.symptom = symptom};
    ret->causes = xcalloc(n, sizeof *ret->causes);
    ret->items = xmalloc((items + 1) * sizeof *ret->items); /* weigh() fills those it counts */
    double *weights = xcalloc(n + 1, sizeof *weights);
    struct rank_item *next = ret->items;
    for (size_t i = 0; i < n; i++) {
        if (!(priors[i] > 0))
            continue;
        struct rank_cause *ranked = &ret->causes[ret->count];
        ranked->cause = (int)i;
        ranked->prior = priors[i];
        ranked->items = next;
        weigh(facts, ranked, &rules->causes[i], symptom);
        next += ranked->item_count;
        weights[ret->count++] = log(priors[i]) + ranked->bits * M_LN2;
    }
    evidence_normalise(weights, (size_t)ret->count, weights, NULL);
    for (int i = 0; i < ret->count; i++)
        ret->causes[i].probability = weights[i];
    assert(ret->count <= rules->cause_count && next - ret->items <= (ptrdiff_t)items);
    free(weights);
    sort(ret, rules);
}

void rank_free(struct rank *rank)
{
    free(rank->causes);
    free(rank->items);
    *rank = (struct rank){0};
}

static int band_of(double probability)
{
    static const double BANDS[] = {0.5, 0.7, 0.9};
    int band = 0;
    while (band < 3 && probability >= BANDS[band])
        band++;
    return band;
}

bool rank_surer(double was, double is)
{
    return band_of(was) != band_of(is) && fabs(was - is) >= 0.05;
}

int rank_find(const struct rank *rank, int cause)
{
    for (int i = 0; i < rank->count; i++)
        if (rank->causes[i].cause == cause)
            return i;
    return -1;
}

void rank_mix(struct rank *rank, const struct rules *rules, const struct rank *const *ranks,
              const double *weights, int count)
{
    assert(count > 0 && ranks && weights);
    double *mixed = xcalloc((size_t)rank->count + 1, sizeof *mixed), sum = 0;
    for (int i = 0; i < rank->count; i++)
        for (int k = 0; k < count; k++) {
            int at = rank_find(ranks[k], rank->causes[i].cause);
            mixed[i] += at < 0 ? 0 : weights[k] * ranks[k]->causes[at].probability;
        }
    for (int i = 0; i < rank->count; i++)
        sum += mixed[i];
    for (int i = 0; i < rank->count && sum > 0; i++)
        rank->causes[i].probability = mixed[i] / sum;
    free(mixed);
    sort(rank, rules);
}

#include "rank/priors.h"
#include "base/text.h"
#include "base/when.h"
#include "stats/dirichlet.h"
#include <assert.h>
#include <stdlib.h>
#include <string.h>

#define TROUBLE_DAYS 14

void priors_shipped(const struct rules *rules, int symptom, double *ret)
{
    double sum = 0;
    for (int i = 0; i < rules->cause_count; i++)
        sum += rules->causes[i].prior[symptom];
    for (int i = 0; i < rules->cause_count; i++)
        ret[i] = rules->causes[i].prior[symptom] / sum;
}

static bool is_background(const struct rules *rules, int symptom, int cause)
{
    return rules->causes[cause].background && rules->causes[cause].prior[symptom] > 0;
}

static double background_of(const struct rules *rules, int symptom, const double *probabilities)
{
    double sum = 0;
    for (int i = 0; i < rules->cause_count; i++)
        sum += is_background(rules, symptom, i) ? probabilities[i] : 0;
    return sum;
}

/* s (n + W s) / (E + W s) of every share: a Dirichlet updated with what was seen, against one
 * updated with what was expected. Not normalised. */
static void learn(double weight, const double *shares, const double *seen, const double *expected,
                  size_t n, double *ret)
{
    double *prior = xcalloc(n, sizeof *prior), *found = xcalloc(n, sizeof *found);
    double *foreseen = xcalloc(n, sizeof *foreseen);
    for (size_t i = 0; i < n; i++)
        prior[i] = found[i] = foreseen[i] = weight * shares[i];
    dirichlet_update(prior, seen, n, found);
    dirichlet_update(prior, expected, n, foreseen);
    for (size_t i = 0; i < n; i++)
        ret[i] = shares[i] * found[i] / foreseen[i];
    free(prior);
    free(found);
    free(foreseen);
}

/* The background's share of all. */
static double background_learned(const struct rules *rules, double shipped,
                                 const struct priors_sums *sums)
{
    double seen[] = {sums->background_seen, sums->verdicts - sums->background_seen};
    double expected[] = {sums->background_expected, sums->verdicts - sums->background_expected};
    double shares[] = {shipped, 1 - shipped};
    if (!(shipped > 0 && shipped < 1))
        return shipped;
    learn(rules->ranking.background_weight, shares, seen, expected, 2, shares);
    return shares[0] / (shares[0] + shares[1]);
}

void priors_learned(const struct rules *rules, int symptom, const struct priors_sums *sums,
                    double *ret)
{
    size_t n = 0, all = (size_t)rules->cause_count;
    double *shares = xcalloc(all * 3 + 1, sizeof *shares), total = 0;
    double *seen = shares + all, *expected = seen + all;
    priors_shipped(rules, symptom, ret);
    double background = background_of(rules, symptom, ret);
    double share = background_learned(rules, background, sums);
    for (int i = 0; i < rules->cause_count; i++) {
        if (is_background(rules, symptom, i) || !(ret[i] > 0))
            continue;
        shares[n] = ret[i] / (1 - background);
        seen[n] = sums->seen[i];
        expected[n++] = sums->expected[i];
    }
    learn(rules->ranking.prior_weight, shares, seen, expected, n, shares);
    for (size_t i = 0; i < n; i++)
        total += shares[i];
    n = 0;
    for (int i = 0; i < rules->cause_count; i++)
        if (is_background(rules, symptom, i))
            ret[i] *= share / background;
        else if (ret[i] > 0)
            ret[i] = shares[n++] * (1 - share) / total;
    free(shares);
}

/* ---- in time ---- */

struct trouble {
    int64_t from_ms, to_ms; /* of its cases */
    double weight, verdicts;
    double *expected; /* summed over its verdicts, by cause */
};
struct troubles {
    struct trouble *list;
    int count;
};
struct event {
    int64_t at_ms;
    double *priors; /* from here on */
};
struct learned {
    struct priors_sums sums;
    struct troubles *troubles; /* by cause */
    struct event *events;
    int event_count;
    double *shipped;
};
struct priors {
    const struct rules *rules;
    struct learned symptoms[SYMPTOMS];
    struct nearby *nearby;
};

struct priors *priors_new(const struct rules *rules)
{
    struct priors *priors = xcalloc(1, sizeof *priors);
    size_t n = (size_t)rules->cause_count + 1;
    priors->rules = rules;
    priors->nearby = nearby_new(rules->ranking.near_share, rules->ranking.near_days);
    for (int s = 0; s < SYMPTOMS; s++) {
        struct learned *learned = &priors->symptoms[s];
        learned->sums.seen = xcalloc(n, sizeof *learned->sums.seen);
        learned->sums.expected = xcalloc(n, sizeof *learned->sums.expected);
        learned->shipped = xcalloc(n, sizeof *learned->shipped);
        learned->troubles = xcalloc(n, sizeof *learned->troubles);
        priors_shipped(rules, s, learned->shipped);
    }
    return priors;
}

static void learned_clear(struct learned *learned, int causes)
{
    for (int c = 0; c < causes; c++) {
        for (int t = 0; t < learned->troubles[c].count; t++)
            free(learned->troubles[c].list[t].expected);
        free(learned->troubles[c].list);
    }
    for (int e = 0; e < learned->event_count; e++)
        free(learned->events[e].priors);
    free(learned->events);
    free(learned->troubles);
    free(learned->shipped);
    free(learned->sums.seen);
    free(learned->sums.expected);
}

void priors_free(struct priors *priors)
{
    if (!priors)
        return;
    for (int s = 0; s < SYMPTOMS; s++)
        learned_clear(&priors->symptoms[s], priors->rules->cause_count);
    nearby_free(priors->nearby);
    free(priors);
}

/* The newest event before an instant; NULL: none. */
static const struct event *event_before(const struct learned *learned, int64_t before_ms)
{
    int low = 0, high = learned->event_count;
    while (low < high) {
        int middle = (low + high) / 2;
        if (learned->events[middle].at_ms < before_ms)
            low = middle + 1;
        else
            high = middle;
    }
    return low ? &learned->events[low - 1] : NULL;
}

void priors_at(const struct priors *priors, int symptom, int64_t before_ms,
               const struct nearby_lot *lot, double *ret)
{
    assert(symptom >= 0 && symptom < SYMPTOMS && ret);
    const struct learned *learned = &priors->symptoms[symptom];
    const struct event *event = event_before(learned, before_ms);
    memcpy(ret, event ? event->priors : learned->shipped,
           (size_t)priors->rules->cause_count * sizeof *ret);
    if (lot)
        nearby_mix(priors->nearby, symptom, lot, before_ms, ret, priors->rules->cause_count);
}

/* The priors that the ranking of a verdict's case was made with. */
static void priors_used(const struct priors *priors, const struct priors_verdict *verdict,
                        double *ret)
{
    priors_at(priors, verdict->symptom, verdict->as_of_ms, verdict->nearby ? verdict->lot : NULL,
              ret);
}

/* The same evidence with other priors; ret holds those it was weighed with, and may be all 0. */
static void weigh_again(const double *said, const double *priors, int n, double *ret)
{
    double sum = 0;
    for (int i = 0; i < n; i++) {
        ret[i] = !(priors[i] > 0) ? 0 : said ? said[i] * priors[i] / ret[i] : priors[i];
        sum += ret[i];
    }
    for (int i = 0; i < n; i++)
        ret[i] = sum > 0 ? ret[i] / sum : priors[i];
}

void priors_again(const struct priors *priors, const struct priors_verdict *verdict, bool nearby,
                  double *ret)
{
    assert(verdict->said && verdict->lot);
    int n = priors->rules->cause_count;
    double *other = xcalloc((size_t)n + 1, sizeof *other);
    priors_used(priors, verdict, ret);
    priors_at(priors, verdict->symptom, verdict->as_of_ms, nearby ? verdict->lot : NULL, other);
    weigh_again(verdict->said, other, n, ret);
    free(other);
}

/* What the case's evidence would have said with the shipped priors: its ranking is prior times
 * evidence, and the prior is known, as of its newest complaint. With learned ones in E, what was
 * learned would be expected from then on and so unlearned by the next verdict. */
static void with_shipped(const struct priors *priors, const struct priors_verdict *verdict,
                         double *ret)
{
    assert(verdict->cause >= 0 && verdict->cause < priors->rules->cause_count);
    priors_used(priors, verdict, ret);
    weigh_again(verdict->said, priors->symptoms[verdict->symptom].shipped,
                priors->rules->cause_count, ret);
}

/* The trouble that a case belongs to, or a new one. */
static struct trouble *trouble_of(struct troubles *troubles, int64_t as_of_ms, int causes)
{
    assert(causes > 0);
    const int64_t near = TROUBLE_DAYS * (int64_t)WHEN_DAY_MS;
    for (int t = troubles->count; t-- > 0;) {
        struct trouble *trouble = &troubles->list[t];
        if (as_of_ms < trouble->from_ms - near || as_of_ms > trouble->to_ms + near)
            continue;
        trouble->from_ms = as_of_ms < trouble->from_ms ? as_of_ms : trouble->from_ms;
        trouble->to_ms = as_of_ms > trouble->to_ms ? as_of_ms : trouble->to_ms;
        return trouble;
    }
    troubles->list =
        xrealloc(troubles->list, (size_t)(troubles->count + 1) * sizeof *troubles->list);
    struct trouble *trouble = &troubles->list[troubles->count++];
    *trouble = (struct trouble){.from_ms = as_of_ms, .to_ms = as_of_ms};
    trouble->expected = xcalloc((size_t)causes + 1, sizeof *trouble->expected);
    return trouble;
}

/* Takes a trouble's share of the sums out (sign -1) or in (1). */
static void sum_trouble(struct learned *learned, const struct trouble *trouble, int cause,
                        int causes, double sign)
{
    assert(sign == 1 || sign == -1);
    assert(cause >= 0 && cause < causes);
    if (!(trouble->verdicts > 0))
        return;
    learned->sums.seen[cause] += sign * trouble->weight;
    for (int i = 0; i < causes; i++)
        learned->sums.expected[i] +=
            sign * trouble->weight * trouble->expected[i] / trouble->verdicts;
}

static void add_fault(struct priors *priors, const struct priors_verdict *verdict,
                      const double *expected, double background)
{
    assert(background >= 0 && background < 1);
    struct learned *learned = &priors->symptoms[verdict->symptom];
    int n = priors->rules->cause_count;
    struct trouble *trouble = trouble_of(&learned->troubles[verdict->cause], verdict->as_of_ms, n);
    sum_trouble(learned, trouble, verdict->cause, n, -1);
    for (int i = 0; i < n; i++)
        if (!is_background(priors->rules, verdict->symptom, i))
            trouble->expected[i] += expected[i] / (1 - background); /* given that it is a fault */
    trouble->verdicts++;
    /* a trouble that one case was measured for is as sure as that case */
    trouble->weight = trouble->weight > verdict->weight ? trouble->weight : verdict->weight;
    sum_trouble(learned, trouble, verdict->cause, n, 1);
}

static void add_nearby(struct priors *priors, const struct priors_verdict *verdict)
{
    const struct rule_cause *cause = &priors->rules->causes[verdict->cause];
    if (verdict->lot && !cause->background && !cause->after_dispatch)
        nearby_add(priors->nearby,
                   &(struct nearby_verdict){verdict->at_ms, verdict->symptom, verdict->cause,
                                            verdict->weight, *verdict->lot});
}

void priors_add(struct priors *priors, const struct priors_verdict *verdict)
{
    assert(verdict->weight > 0 && verdict->weight <= 1);
    struct learned *learned = &priors->symptoms[verdict->symptom];
    size_t n = (size_t)priors->rules->cause_count;
    if (!(learned->shipped[verdict->cause] > 0))
        return; /* no cause of this symptom by the rules of today */
    double *expected = xcalloc(n + 1, sizeof *expected);
    with_shipped(priors, verdict, expected);
    double background = background_of(priors->rules, verdict->symptom, expected);
    assert(background >= 0 && background <= 1 + 1e-9);
    bool is = is_background(priors->rules, verdict->symptom, verdict->cause);
    learned->sums.verdicts += verdict->weight;
    learned->sums.background_seen += is ? verdict->weight : 0;
    learned->sums.background_expected += verdict->weight * background;
    if (!is && background < 1)
        add_fault(priors, verdict, expected, background);
    free(expected);
    add_nearby(priors, verdict);
    learned->events =
        xrealloc(learned->events, (size_t)(learned->event_count + 1) * sizeof *learned->events);
    /* kept by time: a case ranked again as of an older day must not know of later verdicts */
    struct event *event = &learned->events[learned->event_count++];
    *event = (struct event){verdict->at_ms, xcalloc(n + 1, sizeof *event->priors)};
    priors_learned(priors->rules, verdict->symptom, &learned->sums, event->priors);
}

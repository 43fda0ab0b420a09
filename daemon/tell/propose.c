/* Proposed changes of ratios: what the confirmed cases of this plant say of an evidence item,
 * beside what its rule file says. Shrunk towards the file; shown for QA to accept, nothing is
 * changed.
 *
 * For one word of a table (or one stretch of a curve): a of n confirmed cases of the cause had it,
 * b of m cases confirmed as another cause. log2 ratio = log2((a + k s)/(n + k)) - log2((b + k s)/(m
 * + k)), s the share over all cases, k = 2: both rates drawn towards the common one. Its variance
 * is that of two log proportions (delta method); the file's bits stand as a normal prior with a
 * standard deviation of 1 bit. */
#include "base/jsonx.h"
#include "base/text.h"
#include "rank/case_rank.h"
#include "stats/inverse.h"
#include "store/stage.h"
#include "store/verdict.h"
#include "tell/tell.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { LEAST_CASES = 5, MOST_CASES = 2000 };
#define PULL 2.0       /* k above */
#define FILE_SD 1.0    /* bits */
#define CONFIDENCE 0.9 /* of the interval; a file outside it makes a proposal */

struct confirmed {
    int64_t case_id;
    int symptom, cause;
};
struct confirmed_list {
    struct triage *triage; /* whose cases are asked */
    const char *plant;     /* verdict_is_of() */
    struct confirmed *cases;
    int count;
};

static int take_verdict(void *arg, const struct verdict_row *row)
{
    struct confirmed_list *list = arg;
    int cause = rules_cause(list->triage->rules, row->cause), symptom = symptom_of(row->symptom);
    if (!verdict_is_of(row, list->plant) || triage_of(list->triage, row->plant) != list->triage ||
        cause < 0 || symptom < 0 || list->count == MOST_CASES)
        return 0;
    list->cases = xrealloc(list->cases, (size_t)(list->count + 1) * sizeof *list->cases);
    list->cases[list->count++] = (struct confirmed){row->case_id, symptom, cause};
    return 0;
}

/* Which part of an item a fact falls in: the word's index, or the nearest point of the curve; -1:
 * the item does not speak. */
static int part_of(const struct rule_evidence *evidence, const struct fact_set *facts)
{
    for (int i = 0; i < facts->complaint_count; i++) {
        const struct fact *fact = fact_set_at(facts, evidence->fact, i);
        if (!fact->known || isnan(evidence_bits_of(evidence, fact)))
            continue;
        if (evidence->how == EVIDENCE_TABLE) {
            for (int w = 0; w < evidence->word_count; w++)
                for (int k = 0; k < fact->word_count; k++)
                    if (strcmp(evidence->words[w].word, fact->words[k]) == 0)
                        return w;
            return evidence->word_count;
        }
        if (evidence->point_count == 0)
            return -1;
        double against = isnan(fact->target) ? fact->usual : fact->target;
        double x = evidence->how == EVIDENCE_Z       ? fact->z
                   : evidence->how == EVIDENCE_RATIO ? fact->value / against
                                                     : fact->value;
        int best = 0;
        for (int p = 1; p < evidence->point_count; p++)
            if (fabs(evidence->curve[p].x - x) < fabs(evidence->curve[best].x - x))
                best = p;
        return best;
    }
    return -1;
}

struct tally {
    double own, other; /* cases in which the item speaks */
    double own_part[66], other_part[66];
};

static json_t *proposal_json(const struct rules *rules, const struct rule_cause *cause,
                             const struct rule_evidence *evidence, int part,
                             const struct tally *tally)
{
    bool word = evidence->how == EVIDENCE_TABLE;
    double now = word ? (part < evidence->word_count ? evidence->words[part].bits : evidence->other)
                      : evidence->curve[part].bits;
    double a = tally->own_part[part], b = tally->other_part[part];
    double share = (a + b) / (tally->own + tally->other);
    double p = (a + PULL * share) / (tally->own + PULL);
    double q = (b + PULL * share) / (tally->other + PULL);
    double variance =
        ((1 - p) / (p * (tally->own + PULL)) + (1 - q) / (q * (tally->other + PULL))) /
        (M_LN2 * M_LN2);
    double seen = log2(p / q), weight = 1 / variance, prior = 1 / (FILE_SD * FILE_SD);
    double mean = (seen * weight + now * prior) / (weight + prior);
    double half = inverse_normal_q((1 - CONFIDENCE) / 2) / sqrt(weight + prior);
    if (!isfinite(mean) || (now >= mean - half && now <= mean + half))
        return NULL;
    char at[64];
    snprintf(at, sizeof at, "%.6g", word ? 0.0 : evidence->curve[part].x);
    return json_pack("{s:s, s:s, s:s, s:o, s:o, s:o, s:o, s:I, s:I, s:I, s:I, s:s}", "cause",
                     cause->id, "fact", rules->facts[evidence->fact].name.text, "at",
                     !word                         ? at
                     : part < evidence->word_count ? evidence->words[part].word
                                                   : "*",
                     "bits", jsonx_rounded(now, 2), "proposed", jsonx_rounded(mean, 2), "low",
                     jsonx_rounded(mean - half, 2), "high", jsonx_rounded(mean + half, 2), "seen",
                     (json_int_t)a, "of", (json_int_t)tally->own, "others_seen", (json_int_t)b,
                     "others_of", (json_int_t)tally->other, "file", cause->file);
}

struct proposing {
    struct triage *triage;
    const char *plant; /* whose rules they are; NULL: the company's */
    const struct confirmed_list *confirmed;
    const struct fact_set *const *facts;
};

static void propose_item(const struct proposing *proposing, int cause, int item, json_t *list)
{
    const struct rules *rules = proposing->triage->rules;
    const struct rule_evidence *evidence = &rules->causes[cause].evidence[item];
    struct tally tally = {0};
    int parts = evidence->how == EVIDENCE_TABLE ? evidence->word_count + 1 : evidence->point_count;
    if (parts > 66 || evidence->how == EVIDENCE_BITS || evidence->how == EVIDENCE_MODEL)
        return;
    for (int i = 0; i < proposing->confirmed->count; i++) {
        const struct confirmed *one = &proposing->confirmed->cases[i];
        if (!(evidence->symptoms & 1u << one->symptom) ||
            !(rules->causes[cause].prior[one->symptom] > 0) || !proposing->facts[i])
            continue;
        int part = part_of(evidence, proposing->facts[i]);
        if (part < 0)
            continue;
        bool own = one->cause == cause;
        *(own ? &tally.own : &tally.other) += 1;
        (own ? tally.own_part : tally.other_part)[part] += 1;
    }
    if (tally.own < LEAST_CASES || tally.other < LEAST_CASES)
        return;
    for (int part = 0; part < parts; part++) {
        json_t *proposal = proposal_json(rules, &rules->causes[cause], evidence, part, &tally);
        if (proposal && proposing->plant)
            json_object_set_new(proposal, "plant", json_string(proposing->plant));
        if (proposal)
            json_array_append_new(list, proposal);
    }
}

static int gather(struct triage *triage, struct store *store, int64_t case_id, struct fact_set *ret,
                  struct error *err)
{
    struct case_input input;
    int rc = case_input_read(store, case_id, &input, err);
    if (rc)
        return rc;
    rc = facts_gather(&triage->source, store, &input, input.lot_count ? input.lots[0].lot_id : 0,
                      ret, err);
    case_input_clear(&input);
    return rc;
}

/* Of one set of rules: of the cases that it ranks. */
static int propose(struct triage *triage, const char *plant, struct store *store,
                   const struct stage_of *of, json_t *list, struct error *err)
{
    const struct rules *rules = triage->rules;
    struct confirmed_list confirmed = {.triage = triage, .plant = of->plant};
    const struct when_span until = {0, of->span.to_ms};
    int rc = verdict_between(store, until, take_verdict, &confirmed, err);
    size_t n = (size_t)confirmed.count;
    struct fact_set *sets = xcalloc(n + 1, sizeof *sets);
    const struct fact_set **facts = xcalloc(n + 1, sizeof(const struct fact_set *));
    for (size_t i = 0; !rc && i < n; i++) {
        rc = gather(triage, store, confirmed.cases[i].case_id, &sets[i], err);
        if (!rc)
            facts[i] = &sets[i];
    }
    if (!rc) {
        struct proposing proposing = {triage, plant, &confirmed, facts};
        for (int c = 0; c < rules->cause_count; c++)
            for (int e = 0; e < rules->causes[c].evidence_count; e++)
                propose_item(&proposing, c, e, list);
    }
    for (size_t i = 0; i < n; i++)
        if (facts[i])
            fact_set_clear(&sets[i]);
    free(facts);
    free(sets);
    free(confirmed.cases);
    return rc;
}

int tell_proposals(struct triage *triage, struct store *store, const struct stage_of *of,
                   json_t **ret, struct error *err)
{
    json_t *list = json_array();
    int rc = propose(triage, NULL, store, of, list, err);
    for (int i = 0; i < triage->plant_count && !rc; i++)
        rc = propose(triage->plants[i].triage, triage->plants[i].plant, store, of, list, err);
    if (rc)
        json_decref(list);
    else
        *ret = list;
    return rc;
}

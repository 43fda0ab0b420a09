#include "triage/case_rank.h"
#include "base/text.h"
#include <stdlib.h>
#include <string.h>

/* How far a verdict is to be trusted as a count, by how it was confirmed. */
static double verdict_weight(const char *confirmed_by)
{
    return strcmp(confirmed_by, "judgement") == 0 ? 0.5 : 1;
}

struct noting {
    const struct rules *rules;
    struct verdict_note *notes;
    int count;
};

static int take_verdict(void *arg, const struct evidence_verdict *row)
{
    struct noting *noting = arg;
    int cause = rules_cause(noting->rules, row->cause), symptom = symptom_of(row->symptom);
    if (cause < 0 || symptom < 0)
        return 0; /* of a rule file that is gone */
    noting->notes = xrealloc(noting->notes, (size_t)(noting->count + 1) * sizeof *noting->notes);
    noting->notes[noting->count++] =
        (struct verdict_note){row->at_ms, symptom, cause, verdict_weight(row->confirmed_by)};
    return 0;
}

static int know_verdicts(struct triage *triage, struct store *store, struct error *err)
{
    struct noting noting = {triage->rules, NULL, 0};
    if (triage->verdicts_known)
        return 0;
    int rc = evidence_verdicts(store, INT64_MAX, take_verdict, &noting, err);
    if (rc) {
        free(noting.notes);
        return rc;
    }
    free(triage->verdicts);
    triage->verdicts = noting.notes;
    triage->verdict_count = noting.count;
    triage->verdicts_known = true;
    return 0;
}

int case_rank_priors(struct triage *triage, struct store *store, int symptom, int64_t as_of_ms,
                     double **ret, struct error *err)
{
    size_t n = (size_t)triage->rules->cause_count;
    double *counts = xcalloc(n + 1, sizeof *counts);
    pthread_mutex_lock(&triage->lock);
    int rc = know_verdicts(triage, store, err);
    for (int i = 0; !rc && i < triage->verdict_count; i++)
        if (triage->verdicts[i].symptom == symptom && triage->verdicts[i].at_ms < as_of_ms)
            counts[triage->verdicts[i].cause] += triage->verdicts[i].weight;
    pthread_mutex_unlock(&triage->lock);
    if (!rc) {
        *ret = xcalloc(n + 1, sizeof **ret);
        rank_priors(triage->rules, symptom, counts, *ret);
    }
    free(counts);
    return rc;
}

/* The likeliest lots, then what is left: none of them. */
static void choose_lots(struct case_rank *ranked)
{
    double left = 1;
    for (int i = 0; i < ranked->input.lot_count && ranked->lot_count < CASE_LOTS; i++) {
        const struct complaint_lot *lot = &ranked->input.lots[i];
        if (lot->weight < CASE_LOT_LEAST)
            continue;
        ranked->lots[ranked->lot_count++] =
            (struct case_lot){.lot_id = lot->lot_id, .weight = lot->weight};
        left -= lot->weight;
    }
    if (ranked->lot_count == 0 || left > CASE_LOT_LEAST) {
        ranked->lots[ranked->lot_count++] = (struct case_lot){.lot_id = 0, .weight = left};
        return;
    }
    for (int i = 0; i < ranked->lot_count; i++)
        ranked->lots[i].weight /= 1 - left;
}

static void mix(struct triage *triage, struct case_rank *ranked)
{
    const struct rank *ranks[CASE_LOTS + 1];
    struct rank copies[CASE_LOTS + 1] = {0};
    double weights[CASE_LOTS + 1];
    if (ranked->lot_count == 1)
        return;
    for (int i = 0; i < ranked->lot_count; i++) {
        /* the probabilities are read while lots[0]'s are replaced */
        copies[i] = ranked->lots[i].rank;
        if (i == 0) {
            size_t bytes = (size_t)copies[0].count * sizeof *copies[0].causes;
            copies[0].causes = xmalloc(bytes + 1);
            memcpy(copies[0].causes, ranked->lots[0].rank.causes, bytes);
        }
        ranks[i] = &copies[i];
        weights[i] = ranked->lots[i].weight;
    }
    rank_mix(ranked->rank, triage->rules, ranks, weights, ranked->lot_count);
    free(copies[0].causes);
}

int case_rank_make(struct triage *triage, struct store *store, struct case_input *input,
                   struct case_rank *ret, struct error *err)
{
    *ret = (struct case_rank){.input = *input};
    *input = (struct case_input){0};
    choose_lots(ret);
    int rc =
        case_rank_priors(triage, store, ret->input.symptom, ret->input.as_of_ms, &ret->priors, err);
    for (int i = 0; !rc && i < ret->lot_count; i++) {
        struct case_lot *lot = &ret->lots[i];
        rc = facts_gather(&triage->source, store, &ret->input, lot->lot_id, &lot->facts, err);
        if (!rc)
            rank_make(&lot->facts, ret->input.symptom, ret->priors, &lot->rank);
    }
    ret->rank = &ret->lots[0].rank;
    if (rc) {
        case_rank_clear(ret);
        return rc;
    }
    mix(triage, ret);
    return 0;
}

int case_rank_read(struct triage *triage, struct store *store, int64_t case_id,
                   struct case_rank *ret, struct error *err)
{
    struct case_input input;
    int rc = case_input_read(store, case_id, &input, err);
    return rc ? rc : case_rank_make(triage, store, &input, ret, err);
}

void case_rank_clear(struct case_rank *ranked)
{
    for (int i = 0; i < ranked->lot_count; i++) {
        rank_free(&ranked->lots[i].rank);
        fact_set_clear(&ranked->lots[i].facts);
    }
    free(ranked->priors);
    case_input_clear(&ranked->input);
    *ranked = (struct case_rank){0};
}

const struct fact_set *case_rank_facts(const struct case_rank *ranked)
{
    return &ranked->lots[0].facts;
}

#include "rank/case_rank.h"
#include "base/short_id.h"
#include "base/text.h"
#include "models/predict.h"
#include "store/lot_find.h"
#include "store/seen.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

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

/* The facts and items that are told are those of lots[0]: of one that is seen, or of none. */
static int show_seen(struct store *store, struct case_rank *ranked, struct error *err)
{
    struct lot_find_row row;
    int shown = -1, rc = 0;
    for (int i = 0; i < ranked->lot_count && !rc && !seen_all(store); i++) {
        struct case_lot *lot = &ranked->lots[i];
        rc = lot->lot_id ? lot_find_by_id(store, lot->lot_id, &row, err) : 0;
        lot->hidden = !rc && lot->lot_id && !seen_plant(store, row.plant);
        shown = shown < 0 && !lot->hidden ? i : shown;
    }
    if (rc || shown == 0 || seen_all(store))
        return rc;
    struct case_lot first = {.lot_id = 0}; /* weighs nothing */
    if (shown > 0)
        first = ranked->lots[shown];
    else
        shown = ranked->lot_count++;
    memmove(&ranked->lots[1], &ranked->lots[0], (size_t)shown * sizeof first);
    ranked->lots[0] = first;
    return 0;
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

static int rank_lot(struct triage *triage, struct store *store, const struct case_input *input,
                    struct case_lot *lot, struct error *err)
{
    int rc = facts_gather(&triage->source, store, input, lot->lot_id, &lot->facts, err);
    if (!rc)
        rc = case_rank_priors(triage, store, input, lot->facts.record, &lot->priors, err);
    if (!rc)
        rank_make(&lot->facts, input->symptom, lot->priors, &lot->rank);
    return rc;
}

/* Of the complaints whose loaf's age is known, those that found mold sooner than any grows. */
static double soon_share(const struct triage *triage, const struct case_rank *ranked,
                         struct case_lot *lot)
{
    const struct case_input *input = &ranked->input;
    struct facts_job job = {.source = &triage->source, .input = input, .set = &lot->facts};
    int soon = 0, known = 0;
    job.packed_day = tz_day(facts_tz(&job), lot->facts.record->lot.packed_from_ms);
    for (int i = 0; i < input->count; i++) {
        double age = facts_age_days(&job, i);
        known += !isnan(age);
        soon += predict_mold_too_soon(age);
    }
    return known ? (double)soon / known : 0;
}

/* Mold that no bread shows so soon is of another lot, of bread that was packed a second time, or
 * its date is wrong: the case may be of none of its lots. */
static int doubt_lots(struct triage *triage, struct store *store, struct case_rank *ranked,
                      struct error *err)
{
    struct case_lot *none = NULL;
    double doubted = 0;
    for (int i = 0; i < ranked->lot_count; i++) {
        struct case_lot *lot = &ranked->lots[i];
        if (!lot->lot_id) {
            none = lot;
            continue;
        }
        double share = triage->rules->ranking.soon_share * soon_share(triage, ranked, lot);
        doubted += share * lot->weight;
        lot->weight -= share * lot->weight;
    }
    if (doubted <= 0)
        return 0;
    if (none) {
        none->weight += doubted;
        return 0;
    }
    none = &ranked->lots[ranked->lot_count++];
    *none = (struct case_lot){.lot_id = 0, .weight = doubted};
    return rank_lot(triage, store, &ranked->input, none, err);
}

static int make(struct triage *triage, struct store *store, struct case_rank *ranked,
                struct error *err)
{
    choose_lots(ranked);
    int rc = show_seen(store, ranked, err);
    for (int i = 0; !rc && i < ranked->lot_count; i++)
        rc = rank_lot(triage, store, &ranked->input, &ranked->lots[i], err);
    ranked->rank = &ranked->lots[0].rank;
    if (!rc && ranked->input.symptom == SYMPTOM_MOLD)
        rc = doubt_lots(triage, store, ranked, err);
    if (!rc)
        mix(triage, ranked);
    return rc;
}

int case_rank_make(struct triage *triage, struct store *store, struct case_input *input,
                   struct case_rank *ret, struct error *err)
{
    *ret = (struct case_rank){.triage = triage_of(triage, input->plant), .input = *input};
    *input = (struct case_input){0};
    bool began = store_look(store);
    int rc = make(ret->triage, store, ret, err);
    store_unlook(store, began);
    if (rc)
        case_rank_clear(ret);
    return rc;
}

int case_rank_read(struct triage *triage, struct store *store, int64_t case_id,
                   struct case_rank *ret, struct error *err)
{
    struct case_input input;
    bool began = store_look(store);
    int rc = case_input_read(store, case_id, &input, err);
    if (!rc && input.symptom < 0) {
        case_input_clear(&input);
        rc = error_set(err, ERROR_INVALID, "case %s is of none of the kinds that have causes",
                       CASE_ID(case_id));
        error_hint(err,
                   "oddloaf rank tells what was said, oddloaf ask what to ask, oddloaf reach what "
                   "was packed beside its lot, oddloaf hold --reach holds that");
    }
    if (!rc)
        rc = case_rank_make(triage, store, &input, ret, err);
    store_unlook(store, began);
    return rc;
}

void case_rank_clear(struct case_rank *ranked)
{
    for (int i = 0; i < ranked->lot_count; i++) {
        rank_free(&ranked->lots[i].rank);
        fact_set_clear(&ranked->lots[i].facts);
        free(ranked->lots[i].priors);
    }
    case_input_clear(&ranked->input);
    *ranked = (struct case_rank){0};
}

const struct fact_set *case_rank_facts(const struct case_rank *ranked)
{
    return &ranked->lots[0].facts;
}

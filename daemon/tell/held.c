#include "tell/held.h"
#include "base/text.h"
#include "facts/model_lot.h"
#include "tell/case_json.h"
#include "tell/warm.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

/* Below that share of the mixture the case may be another lot's. Engineering inference. */
static const double LOT_SURE = 0.8;

struct held {
    struct fact_name lever; /* a quantity as the case's own records name it */
    double is, was;         /* as specified, as made */
    double days, instead;   /* until half of the packs with a spore mold; at most the horizon */
    double range[2][2];     /* low and high of either */
    bool beyond;
    int shelf_life_days; /* 0: it holds as long, or that is not known */
    char warm[200];      /* what the days leave out of a lot that was packed so; "" */
};

/* What speaks loudest for the first cause of what the models can take otherwise; false: nothing. */
static bool lever_of(const struct triage *triage, const struct case_rank *ranked, struct held *ret)
{
    const struct rank_item *items[CASE_ITEMS];
    int count = case_json_items(&ranked->rank->causes[0], true, items);
    for (int i = 0; i < count; i++) {
        int fact = items[i]->evidence->fact;
        const struct fact_set *facts = case_rank_facts(ranked);
        const struct fact *known = fact_set_at(facts, fact, items[i]->complaint);
        ret->lever = fact_set_name(facts, fact, known);
        ret->was = known->value;
        if (ret->lever.kind == FACT_QUANTITY && ret->lever.part == PART_MEDIAN &&
            model_lot_takes(triage->rules->catalogue, ret->lever.quantity))
            return true;
    }
    return false;
}

static bool days_of(const struct triage *triage, const struct model_lot *lot, double *ret,
                    double ret_range[static 2], bool *ret_beyond)
{
    struct mold_prediction mold;
    predict_mold(&lot->made, &lot->specified, &triage->models, &mold);
    *ret = round(fmin(mold.mold_free_days.typical, mold.horizon_days));
    ret_range[0] = round(fmin(mold.mold_free_days.low, mold.horizon_days));
    ret_range[1] = round(fmin(mold.mold_free_days.high, mold.horizon_days));
    *ret_beyond = mold.mold_free_days.typical > mold.horizon_days;
    return mold.valid;
}

/* Said of a lot packed warmer than it should be: of others it is what the recipe has anyway. */
static void take_warm(const struct triage *triage, const struct model_lot *lot, struct held *h)
{
    static const double HOT_BY_C = 2;
    struct warm warm = {lot->made.core_at_pack_c, lot->made.pack_room_c};
    if (warm_packed(triage, &warm) && !(warm.core_c < lot->specified.core_at_pack_c + HOT_BY_C))
        snprintf(
            h->warm, sizeof h->warm,
            "It was packed warm, at %.1f °C in a room of %.0f °C: drops that carry spores, and "
            "hours that a crate stays warm, can cost more days than these. ",
            warm.core_c, warm.room_c);
}

/* False: nothing that is worth a sentence. */
static bool worked_out(const struct triage *triage, const struct case_rank *ranked,
                       const struct fact_baseline *baseline, struct held *h)
{
    const struct lot_record *record = ranked->lots[0].facts.record;
    const char *quantity = h->lever.quantity;
    h->is = model_lot_value(record, baseline, quantity, true);
    if (isnan(h->is) || isnan(h->was))
        return false;
    const struct model_change change = {quantity, h->is};
    const struct model_changes changes = {
        .row = &change, .count = 1, .as_of_ms = ranked->input.as_of_ms};
    struct model_lot made, changed;
    bool beyond;
    model_lot_of(triage->rules, record, baseline, ranked->input.as_of_ms, &made);
    take_warm(triage, &made, h);
    model_lot_changed(triage->rules, record, baseline, &changes, &changed);
    if (!days_of(triage, &made, &h->instead, h->range[0], &beyond) ||
        !days_of(triage, &changed, &h->days, h->range[1], &h->beyond))
        return false;
    if (!h->beyond && h->days < record->lot.shelf_life_days)
        h->shelf_life_days = record->lot.shelf_life_days;
    return h->days > h->instead;
}

static json_t *told(const struct triage *triage, const struct held *h)
{
    const struct vocabulary *words = triage->rules->vocabulary;
    const char *unit = vocabulary_unit(words, h->lever.quantity);
    char still[80] = "";
    unit = strcmp(unit, "degC") == 0 ? "°C" : strcmp(unit, "1") == 0 ? "" : unit;
    if (h->shelf_life_days)
        snprintf(still, sizeof still, "That is still short of its shelf life of %d days. ",
                 h->shelf_life_days);
    return json_sprintf(
        "%s at %.3g%s%s or %s, not %.3g, the middle one of this lot's packs that carry a spore "
        "would have held %s%.0f days (%.0f to %.0f) without mold instead of %.0f (%.0f to %.0f): "
        "half of them mold sooner. %s%sA model's answer: try it at the bench, and let a licensed "
        "person approve it.",
        vocabulary_quantity_title(words, h->lever.quantity), h->is, *unit ? " " : "", unit,
        h->was > h->is ? "below" : "above", h->was, h->beyond ? "more than " : "", h->days,
        h->range[1][0], h->range[1][1], h->instead, h->range[0][0], h->range[0][1], still, h->warm);
}

static bool has_answer(const struct case_rank *ranked)
{
    return ranked->input.symptom == SYMPTOM_MOLD && !ranked->input.harm && ranked->rank->count &&
           ranked->lots[0].lot_id && ranked->lots[0].weight >= LOT_SURE &&
           ranked->lots[0].facts.record;
}

void held_add(struct triage *triage, struct store *store, const struct case_rank *ranked,
              json_t *into)
{
    struct held h = {0};
    struct lot_records records;
    const struct fact_baseline *baseline = NULL;
    const struct lot_record *record = ranked->lots[0].facts.record;
    if (!has_answer(ranked) || !lever_of(triage, ranked, &h) ||
        lot_record_all(store, triage->rules, triage->tz, &records, NULL) ||
        facts_baseline(&triage->source, &records, record, ranked->input.as_of_ms, &baseline, NULL))
        return;
    if (worked_out(triage, ranked, baseline, &h)) {
        json_t *sentence = told(triage, &h);
        json_array_append(json_object_get(into, "actions"), sentence);
        json_object_set_new(into, "held", sentence);
    }
    cache_object_unref((void *)baseline);
}

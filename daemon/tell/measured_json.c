#include "tell/measured_json.h"
#include "base/jsonx.h"
#include "base/short_id.h"
#include "base/tz_of.h"
#include "rank/case_rank.h"
#include "store/lot_find.h"
#include <math.h>
#include <string.h>

static json_t *text_or_null(const char *text)
{
    return *text ? json_string(text) : json_null();
}

/* What was kept before the rules knew it, in another unit, is no evidence until it is sent again.
 */
static bool is_evidence(const struct triage *triage, const struct catalogue_quantity *known,
                        const struct measured_row *row)
{
    bool fits = known && (known->words ? *row->word != '\0'
                                       : !isnan(row->value) && strcmp(row->unit, known->unit) == 0);
    return fits && triage_reads(triage, row->quantity);
}

json_t *measured_json(const struct triage *triage, const struct tz *tz,
                      const struct measured_row *row)
{
    char at[40];
    const struct catalogue_quantity *known =
        catalogue_quantity(triage_catalogue(triage), row->quantity);
    json_t *one = json_pack("{s:s, s:s, s:s, s:o, s:s, s:o}", "quantity", row->quantity, "title",
                            known ? known->title : row->quantity, "said", row->said, "value",
                            isnan(row->value) ? json_null() : jsonx_rounded(row->value, 6), "unit",
                            row->unit, "word", text_or_null(row->word));
    json_object_update_new(one,
                           json_pack("{s:s, s:s, s:s, s:s, s:s, s:s, s:o, s:b, s:b}", "lab",
                                     row->lab, "sample", row->sample, "method", row->method, "note",
                                     row->note, "at", when_format(tz, row->at_ms, at), "by",
                                     row->by_name, "case", CASE_ID_JSON(row->case_id), "known",
                                     known != NULL, "evidence", is_evidence(triage, known, row)));
    return one;
}

/* Whether rules read the quantity, and only beside a target or what is usual. */
static bool is_only_compared(const struct rules *rules, const char *quantity)
{
    bool any = false;
    for (int f = 0; f < rules->fact_count; f++) {
        const struct rule_fact *fact = &rules->facts[f];
        if (fact->name.kind != FACT_QUANTITY || strcmp(fact->name.quantity, quantity) != 0)
            continue;
        for (int u = 0; u < fact->use_count; u++) {
            const struct rule_use *use = &rules->uses[fact->first_use + u];
            enum evidence_how how = rules->causes[use->cause].evidence[use->item].how;
            if (how != EVIDENCE_RATIO && how != EVIDENCE_Z)
                return false;
            any = true;
        }
    }
    return any;
}

/* Errors pass for something to compare with: they are told where they matter. */
static bool is_compared(struct triage *triage, struct store *store, int64_t lot_id,
                        const char *quantity)
{
    const struct lot_record *record;
    const struct fact_baseline *baseline;
    struct lot_records records;
    bool compared = true;
    if (lot_record_all(store, triage->rules, triage->tz, &records, NULL) ||
        lot_record_get(triage->source.lots, &records, lot_id, &record, NULL))
        return true;
    if (!facts_baseline(&triage->source, &records, record, record->lot.packed_to_ms + WHEN_DAY_MS,
                        &baseline, NULL)) {
        const struct lot_series *series = lot_record_series(record, quantity);
        const struct fact_usual *usual = facts_usual(baseline, quantity);
        compared =
            (series && series->target > 0) || (usual && usual->count >= FACTS_BASELINE_LEAST);
        cache_object_unref((void *)baseline);
    }
    lot_record_unref(record);
    return compared;
}

bool measured_json_mute(struct triage *triage, struct store *store, int64_t lot_id,
                        const char *quantity)
{
    if (triage_of_lot(triage, store, lot_id, &triage, NULL))
        return false; /* as is_compared() takes what cannot be read */
    const char *name = rules_quantity(triage->rules, quantity);
    return is_only_compared(triage->rules, name) && !is_compared(triage, store, lot_id, name);
}

struct listing {
    const struct triage *triage;
    const struct tz *tz;
    json_t *list;
};

static int add_one(void *arg, const struct measured_row *row)
{
    const struct listing *l = arg;
    return json_array_append_new(l->list, measured_json(l->triage, l->tz, row));
}

void measured_json_add(const struct triage *triage, struct store *store, int64_t lot_id,
                       json_t *into)
{
    struct lot_find_row lot;
    struct listing l = {triage, triage->tz, json_array()};
    if (lot_id > 0 && lot_find_by_id(store, lot_id, &lot, NULL) == 0)
        l.tz = tz_of(triage->tz, lot.plant);
    if (lot_id > 0)
        measured_of_lot(store, lot_id, add_one, &l, NULL);
    json_object_set_new(into, "measured", l.list);
}

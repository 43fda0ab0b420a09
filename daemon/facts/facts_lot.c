/* Quantities of the lot beside their targets and the recent lots of the product. */
#include "base/text.h"
#include "facts/facts.h"
#include "facts/ingredient.h"
#include <math.h>
#include <string.h>

/* What the plant's own inspection of returned packs measured tells of the lot as well. */
static int measured(const struct facts_job *job, const char *quantity, double *values, int max)
{
    int count = 0;
    for (int i = 0; i < job->input->count && count < max; i++) {
        const json_t *all = json_object_get(job->input->complaints[i].body, "measured");
        const json_t *value = json_object_get(all, quantity);
        if (json_is_number(value))
            values[count++] = json_number_value(value);
    }
    return count;
}

static bool has_word(const struct fact *fact, const char *word)
{
    for (int i = 0; i < fact->word_count; i++)
        if (strcmp(fact->words[i], word) == 0)
            return true;
    return false;
}

/* Words come from laboratories alone: all that they named, once each. */
static void take_words(const struct facts_job *job, const struct fact_name *name, struct fact *fact)
{
    const struct lot_record *record = job->set->record;
    for (int i = 0; i < record->result_count; i++) {
        const char *word = strcmp(record->results[i].quantity, name->quantity) == 0
                               ? vocabulary_word(name, record->results[i].word)
                               : NULL;
        if (word && !has_word(fact, word))
            fact_set_word(fact, word);
    }
}

static void take_usual(struct fact *fact, const struct fact_usual *usual, enum fact_part part)
{
    if (!fact->known || usual->count < FACTS_BASELINE_LEAST)
        return;
    fact->usual = usual->median[part];
    fact->z = (fact->value - fact->usual) / usual->spread[part];
}

/* A file of readings may say that bread was frozen for longer than it has been there: of that
 * nothing is taken. A day more: days are counted, not hours. */
static bool cannot_be(const struct facts_job *job, const char *quantity, double value)
{
    int64_t packed_ms = job->set->record->lot.packed_from_ms;
    double days = (double)(job->input->as_of_ms - packed_ms) / (double)WHEN_DAY_MS;
    return strcmp(quantity, "frozen_days") == 0 && value > days + 1;
}

static void take_quantity(const struct facts_job *job, const struct fact_name *name,
                          const struct fact_baseline *baseline, struct fact *fact)
{
    const struct ingredient_asked asked = {job->source->rules, job->set->record, baseline,
                                           job->input->symptom, job->input->as_of_ms};
    const char *quantity = ingredient_spoken_of(&asked, name);
    const struct lot_series *series = lot_record_series(job->set->record, quantity);
    const struct fact_usual *usual = facts_usual(baseline, quantity);
    double found[32];
    int count = measured(job, quantity, found, sizeof found / sizeof *found);
    struct lot_summary summary =
        lot_record_with(job->set->record, quantity, found, count, job->input->as_of_ms);
    if (series) /* also of what is not known: it tells what an answer would be compared with */
        fact->target = series->target;
    if (usual && usual->count >= FACTS_BASELINE_LEAST)
        fact->usual = usual->median[name->part];
    if (summary.count == 0 || cannot_be(job, quantity, summary.max))
        return;
    fact_set_number(fact, name->part == PART_MIN   ? summary.min
                          : name->part == PART_MAX ? summary.max
                                                   : summary.median);
    fact->at_ms = summary.last_ms;
    fact->quantity = quantity == name->quantity ? NULL : quantity;
    if (usual)
        take_usual(fact, usual, name->part);
}

static void take_lot(const struct facts_job *job, const struct fact_name *name,
                     const struct fact_baseline *baseline, struct fact *fact)
{
    const struct evidence_lot *lot = &job->set->record->lot;
    double days[MATERIALS];
    int sorbate;
    switch (name->code) {
    case LOT_FAMILY:
        fact_set_word(fact, lot->family);
        break;
    case LOT_LINE:
        fact_set_word(fact, lot->line);
        break;
    case LOT_SHIFT:
        fact_set_word(fact, lot->shift);
        break;
    case LOT_PRODUCT:
        fact_set_word(fact, lot->product);
        break;
    case LOT_UNITS:
        fact_set_number(fact, (double)lot->units);
        break;
    case LOT_PACK_HOURS:
        fact_set_number(fact,
                        (double)(lot->packed_to_ms - lot->packed_from_ms) / (double)WHEN_HOUR_MS);
        break;
    case LOT_SORBATE_USED:
        if ((sorbate = ingredient_sorbate(job->source->rules, job->set->record,
                                          job->input->as_of_ms)) >= 0)
            fact_set_number(fact, sorbate);
        break;
    default:
        lot_record_ages(job->set->record, days);
        fact_set_number(fact, days[name->material]);
        take_usual(fact, &baseline->ages[name->material], PART_MEDIAN);
    }
}

int facts_lot(const struct facts_job *job, struct error *err)
{
    const struct rules *rules = job->source->rules;
    const struct fact_baseline *baseline;
    int rc = facts_baseline(job->source, &job->records, job->set->record, job->input->as_of_ms,
                            &baseline, err);
    if (rc)
        return rc;
    for (int f = 0; f < rules->fact_count; f++) {
        const struct fact_name *name = &rules->facts[f].name;
        if (facts_wanted(job, f, FACT_QUANTITY) && name->words)
            take_words(job, name, fact_set_at(job->set, f, 0));
        else if (facts_wanted(job, f, FACT_QUANTITY))
            take_quantity(job, name, baseline, fact_set_at(job->set, f, 0));
        else if (facts_wanted(job, f, FACT_LOT))
            take_lot(job, name, baseline, fact_set_at(job->set, f, 0));
    }
    cache_object_unref((void *)baseline);
    return 0;
}

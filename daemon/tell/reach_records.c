#include "tell/reach_records.h"
#include "base/text.h"
#include "facts/ingredient.h"
#include "rules/fact_title.h"
#include <ctype.h>
#include <math.h>
#include <string.h>

struct reading {
    const struct reach_asked *asked;
    const struct lot_record *record;
    const struct fact_baseline *baseline;
};

/* Not known if it is no quantity, or none that was read. */
static struct fact fact_of(const struct reading *reading, int number)
{
    struct fact fact = {.target = NAN, .usual = NAN, .z = NAN, .bits = NAN};
    if (number < 0)
        return fact;
    const struct fact_name *name = &reading->asked->triage->rules->facts[number].name;
    if (name->kind != FACT_QUANTITY || name->words)
        return fact;
    const struct ingredient_asked asked = {reading->asked->triage->rules, reading->record,
                                           reading->baseline, reading->asked->symptom,
                                           reading->asked->as_of_ms};
    const char *quantity = ingredient_spoken_of(&asked, name);
    const struct lot_series *series = lot_record_series(reading->record, quantity);
    struct lot_summary summary =
        lot_record_with(reading->record, quantity, NULL, 0, reading->asked->as_of_ms);
    const struct fact_usual *usual = facts_usual(reading->baseline, quantity);
    fact.quantity = quantity == name->quantity ? NULL : quantity;
    fact.known = summary.count > 0;
    fact.value = name->part == PART_MIN   ? summary.min
                 : name->part == PART_MAX ? summary.max
                                          : summary.median;
    if (series)
        fact.target = series->target;
    if (usual && usual->count >= FACTS_BASELINE_LEAST) {
        fact.usual = usual->median[name->part];
        fact.z = (fact.value - fact.usual) / usual->spread[name->part];
    }
    return fact;
}

static void append_number(struct text_buffer *text, const char *before, double value)
{
    text_appendf(text, fabs(value) < 1000 ? "%s%.3g" : "%s%.0f", before, value);
}

static void say(const struct reading *reading, const struct rule_evidence *evidence, char *out)
{
    const struct rules *rules = reading->asked->triage->rules;
    struct fact fact = fact_of(reading, evidence->fact);
    const struct fact_set set = {.rules = rules};
    const struct fact_name name = fact_set_name(&set, evidence->fact, &fact);
    const char *unit = vocabulary_unit(rules->vocabulary, name.quantity);
    struct text_buffer text = {0};
    char title[FACT_TITLE];
    fact_title(rules->vocabulary, &name, title);
    if (isupper((unsigned char)title[0]) && !isupper((unsigned char)title[1]))
        title[0] = (char)tolower((unsigned char)title[0]);
    text_appendf(&text, "%s: ", title);
    append_number(&text, "", fact.value);
    if (*unit && strcmp(unit, "1") != 0)
        text_appendf(&text, " %s", unit);
    if (!isnan(fact.target))
        append_number(&text, ", target ", fact.target);
    else if (!isnan(fact.usual))
        append_number(&text, ", usual ", fact.usual);
    text_clip(text.data, out, REACH_BECAUSE);
    text_buffer_free(&text);
}

/* Of each group the strongest, as in rank.c. What hangs on other facts is left out: those of this
 * lot are not gathered. */
static void weigh(const struct reading *reading, struct reach_told *ret)
{
    const struct reach_asked *asked = reading->asked;
    const struct rule_evidence *loudest = NULL;
    double strongest[RULE_GROUPS] = {0}, most = 0;
    for (int i = 0; i < asked->cause->evidence_count; i++) {
        const struct rule_evidence *evidence = &asked->cause->evidence[i];
        if (!(evidence->symptoms & 1u << asked->symptom) || evidence->when.fact >= 0 ||
            evidence->unless.fact >= 0)
            continue;
        struct fact fact = fact_of(reading, evidence->fact);
        double bits = evidence_bits_of(evidence, &fact), instead = 0;
        if (isnan(bits))
            continue;
        if (evidence->group >= 0) {
            instead = strongest[evidence->group];
            if (fabs(bits) <= fabs(instead))
                continue;
            strongest[evidence->group] = bits;
        }
        ret->bits += bits - instead;
        if (bits > most) {
            most = bits;
            loudest = evidence;
        }
    }
    ret->bits *= asked->triage->rules->ranking.temper;
    if (loudest)
        say(reading, loudest, ret->because);
}

int reach_records_ask(const struct reach_asked *asked, const struct lot_records *records,
                      const struct lot_record *record, struct reach_told *ret, struct error *err)
{
    struct reading reading = {asked, record, NULL};
    *ret = (struct reach_told){.share = NAN};
    int rc = facts_baseline(&asked->triage->source, records, record, asked->as_of_ms,
                            &reading.baseline, err);
    if (rc)
        return rc;
    const struct rule_evidence *how = &asked->cause->reach_fact;
    struct fact fact = fact_of(&reading, how->fact);
    double share = evidence_bits_of(how, &fact);
    if (!isnan(share))
        ret->share = fmin(fmax(share, 0.001), 0.999);
    weigh(&reading, ret);
    cache_object_unref((void *)reading.baseline);
    return 0;
}

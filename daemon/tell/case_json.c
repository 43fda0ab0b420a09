/* A ranked case as JSON. */
#include "tell/case_json.h"
#include "base/short_id.h"
#include "base/tz_of.h"
#include "intake/fields.h"
#include "rules/fact_title.h"
#include "tell/tell.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { EXPLAINED = 6, ITEMS_MOST = 128, SHOWN_CHECKS = 6 };
#define LIKELY 0.10     /* causes whose checks and cautions are shown */
#define SHOWN_BITS 0.05 /* what speaks less is left out of `for` and `against` */

static const char HARM_CAUTION[] =
    "Someone may have been hurt. Ask whether they need medical help and tell them to seek it; keep "
    "the product, its bag and the code; pass this on at once to the person responsible for food "
    "safety. Causes that are ranked are about the bread only and are no explanation of the harm. "
    "Local law on reporting and recall comes first.";

static const char POSSIBLE_CAUTION[] =
    "A complaint here may speak of harm: a person must read what was said before anything is done "
    "with this ranking, and ask the caller.";

json_t *case_json_when(const struct triage *triage, const char *plant, int64_t ms)
{
    char text[40];
    return ms == WHEN_UNKNOWN_MS ? json_null()
                                 : json_string(when_format(tz_of(triage->tz, plant), ms, text));
}

const char *case_json_plant(const struct case_rank *ranked)
{
    const struct fact_set *facts = case_rank_facts(ranked);
    return facts->record ? facts->record->lot.plant : "";
}

json_t *case_json_value(const struct fact *fact)
{
    if (!fact->known)
        return json_null();
    if (fact->word_count == 1)
        return json_string(fact->words[0]);
    if (fact->word_count == 0)
        return jsonx_rounded(fact->value, 4);
    json_t *words = json_array();
    for (int i = 0; i < fact->word_count; i++)
        json_array_append_new(words, json_string(fact->words[i]));
    return words;
}

/* Of a name and a text that are valid UTF-8 as they are: ours, or of the rules, read by a strict
 * parser. */
static void set(json_t *object, const char *name, json_t *value)
{
    json_object_set_new_nocheck(object, name, value);
}

static void add_company(json_t *object, const struct fact *fact)
{
    if (isnan(fact->observed))
        return;
    set(object, "observed", jsonx_rounded(fact->observed, 2));
    set(object, "expected", jsonx_rounded(fact->expected, 2));
    set(object, "lots", json_integer(fact->lots));
}

static void add_full(json_t *object, const struct case_rank *ranked, const struct rule_cause *cause,
                     const struct rank_item *item, const struct fact *fact)
{
    const struct rule_evidence *evidence = item->evidence;
    set(object, "for", json_boolean(item->bits > 0));
    set(object, "counted", json_boolean(item->counted));
    set(object, "group", evidence->group_name ? json_string(evidence->group_name) : json_null());
    set(object, "source", json_string(evidence->source));
    set(object, "file", json_string(cause->file));
    set(object, "usual", jsonx_rounded(fact->usual, 4));
    set(object, "z", jsonx_rounded(fact->z, 2));
    if (ranked->input.count > 1)
        set(object, "complaints", json_integer(item->known));
}

void case_json_harms(const struct triage *triage, const struct case_rank *ranked, json_t *into)
{
    json_t *harms = json_array();
    const char *plant = ranked->lot_count ? case_json_plant(ranked) : "";
    for (int i = 0; i < ranked->input.count; i++) {
        const struct case_complaint *c = &ranked->input.complaints[i];
        json_t *kinds = json_object_get(c->body, "harm");
        if (*c->uuid && json_array_size(kinds))
            json_array_append_new(harms, json_pack("{s:s, s:o, s:O}", "complaint", c->uuid, "at",
                                                   case_json_when(triage, plant, c->received_ms),
                                                   "harm", kinds));
    }
    if (ranked->input.harm)
        json_object_set(into, "harms", harms);
    json_decref(harms);
}

void case_json_harm(const struct case_rank *ranked, json_t *into)
{
    json_object_set_new(into, "harm", json_boolean(ranked->input.harm));
    json_object_set_new(into, "harm_possible",
                        json_boolean(ranked->input.harm_possible && !ranked->input.harm));
}

/* A rule says what its cause would show; where the count is above chance and yet speaks for it, the
 * plain count would contradict the words. */
static json_t *because_of(const struct triage *triage, const struct rank_item *item,
                          const struct fact *fact)
{
    bool excess = !isnan(fact->observed) && fact->observed > fact->expected;
    if (item->bits > 0 && excess && fact->value <= 0)
        return json_string("More than by chance, but too few to be an excess, or one that "
                           "something else these lots share explains better");
    int cleanings = evidence_bits_cleanings(triage->rules, item->evidence, fact, item->bits);
    if (cleanings)
        return json_sprintf("%s, but the place was cleaned %d time%s between that and the lot: it "
                            "tells of habit more than of what the lot met",
                            item->evidence->because, cleanings, cleanings == 1 ? "" : "s");
    return json_incref(item->evidence->because_told);
}

/* What a count above chance is worth: that something else explains the same complaints better, on
 * whichever side it speaks; else why it speaks against a cause that would show one. */
static json_t *although(const struct triage *triage, const struct rank_item *item,
                        const struct fact *fact)
{
    bool excess = !isnan(fact->observed) && fact->observed > fact->expected;
    if (!excess)
        return NULL;
    if (!fact->rival)
        return item->bits < 0 && fact->bits <= 0
                   ? json_string("more than by chance, but too few to be an excess")
                   : NULL;
    return json_sprintf("more than by chance, but explained better by: %s",
                        json_string_value(triage->rules->facts[fact->rival - 1].title));
}

/* A quantity that stands for the rule's has a name of its own. */
static void set_name(json_t *object, const struct triage *triage, const struct case_rank *ranked,
                     int number, const struct fact *fact)
{
    const struct rule_fact *rule = &triage->rules->facts[number];
    const struct vocabulary *words = triage->rules->vocabulary;
    if (!fact->quantity) {
        set(object, "fact", json_incref(rule->text));
        set(object, "name", json_incref(rule->title));
        return;
    }
    const struct fact_name name = fact_set_name(case_rank_facts(ranked), number, fact);
    char title[FACT_TITLE];
    set(object, "fact", json_string(name.text));
    set(object, "name", json_string(fact_title(words, &name, title)));
}

static json_t *unit_of(const struct triage *triage, int number, const struct fact *fact)
{
    if (!fact->quantity)
        return json_incref(triage->rules->facts[number].unit);
    const char *unit = vocabulary_unit(triage->rules->vocabulary, fact->quantity);
    return *unit ? json_string(unit) : json_null();
}

json_t *case_json_item(const struct triage *triage, const struct case_rank *ranked,
                       const struct rule_cause *cause, const struct rank_item *item, bool full)
{
    const struct rule_evidence *evidence = item->evidence;
    const struct fact *fact = fact_set_at(case_rank_facts(ranked), evidence->fact, item->complaint);
    json_t *object = json_object();
    set_name(object, triage, ranked, evidence->fact, fact);
    set(object, "value", case_json_value(fact));
    set(object, "target", jsonx_rounded(fact->target, 4));
    set(object, "unit", unit_of(triage, evidence->fact, fact));
    set(object, "bits", jsonx_rounded(item->bits, 2));
    if (full)
        add_full(object, ranked, cause, item, fact);
    add_company(object, fact);
    set(object, "because", because_of(triage, item, fact));
    json_t *words = although(triage, item, fact);
    if (words)
        set(object, "although", words);
    return object;
}

static int by_strength(const void *a, const void *b)
{
    const struct rank_item *x = *(const struct rank_item *const *)a;
    const struct rank_item *y = *(const struct rank_item *const *)b;
    if (fabs(x->bits) != fabs(y->bits))
        return fabs(x->bits) > fabs(y->bits) ? -1 : 1;
    return (x > y) - (x < y);
}

int case_json_items(const struct rank_cause *cause, bool speaks_for,
                    const struct rank_item *ret[CASE_ITEMS])
{
    const struct rank_item *items[ITEMS_MOST];
    int count = 0;
    for (int i = 0; i < cause->item_count && count < ITEMS_MOST; i++) {
        const struct rank_item *item = &cause->items[i];
        if (item->counted && fabs(item->bits) >= SHOWN_BITS && (item->bits > 0) == speaks_for)
            items[count++] = item;
    }
    qsort(items, (size_t)count, sizeof(const struct rank_item *), by_strength);
    count = count < CASE_ITEMS ? count : CASE_ITEMS;
    memcpy(ret, items, (size_t)count * sizeof(const struct rank_item *));
    return count;
}

/* Whether items are told of the cause in this place. */
static bool is_explained(const struct rank *rank, int place)
{
    return place < EXPLAINED || rank->causes[place].probability >= 0.01;
}

static json_t *items_json(const struct triage *triage, const struct case_rank *ranked,
                          const struct rank_cause *one, bool speaks_for)
{
    const struct rank_item *items[CASE_ITEMS];
    int count = case_json_items(one, speaks_for, items);
    json_t *list = json_array();
    for (int i = 0; i < count; i++)
        json_array_append_new(
            list,
            case_json_item(triage, ranked, &triage->rules->causes[one->cause], items[i], false));
    return list;
}

static json_t *named_json(const struct triage *triage, const struct rank_cause *one)
{
    const struct rule_cause *cause = &triage->rules->causes[one->cause];
    json_t *object = json_object();
    set(object, "cause", json_incref(cause->id_told));
    set(object, "title", json_incref(cause->title_told));
    set(object, "probability", json_real(one->probability));
    return object;
}

/* Every cause is listed; what speaks for and against is told of those that matter (`why` tells it
 * of all). */
static json_t *ranked_json(const struct triage *triage, const struct case_rank *ranked)
{
    json_t *list = json_array();
    for (int i = 0; i < ranked->rank->count; i++) {
        const struct rank_cause *one = &ranked->rank->causes[i];
        bool explained = is_explained(ranked->rank, i);
        json_t *object = named_json(triage, one);
        set(object, "for", explained ? items_json(triage, ranked, one, true) : json_array());
        set(object, "against", explained ? items_json(triage, ranked, one, false) : json_array());
        json_array_append_new(list, object);
    }
    return list;
}

static json_t *lots_json(const struct case_rank *ranked)
{
    json_t *list = json_array();
    for (int i = 0; i < ranked->lot_count; i++) {
        const struct case_lot *lot = &ranked->lots[i];
        if (!lot->facts.record || lot->hidden)
            continue;
        json_array_append_new(list, json_pack("{s:s, s:o}", "lot", lot->facts.record->lot.lot,
                                              "weight", jsonx_rounded(lot->weight, 4)));
    }
    return list;
}

/* ---- checks, actions, and what those who do them must mind ---- */

static bool has_text(const json_t *list, const char *text)
{
    for (size_t i = 0; i < json_array_size(list); i++)
        if (strcmp(json_string_value(json_array_get(list, i)), text) == 0)
            return true;
    return false;
}

static void add_text(json_t *list, const char *text)
{
    if (!has_text(list, text))
        json_array_append_new(list, json_string_nocheck(text));
}

#define EVERYBODY (~0u)
#define DESK (1u << READER_DESK)

/* Those of the ids that one of the readers must mind; a text that is no id is for all but the
 * desk. */
static void add_minded(json_t *list, const struct triage *triage, const json_t *ids,
                       unsigned readers)
{
    for (size_t i = 0; i < json_array_size(ids); i++) {
        const char *id = json_string_value(json_array_get(ids, i));
        const struct rule_caution *caution = rules_caution(triage->rules, id);
        bool minds = caution ? (caution->readers & readers) != 0 : readers != DESK;
        if (minds)
            add_text(list, caution ? caution->text : id);
    }
}

static json_t *check_json(const struct triage *triage, const struct rule_cause *cause,
                          const json_t *written)
{
    json_t *check = json_deep_copy(written), *cautions = json_array();
    add_minded(cautions, triage, json_object_get(written, "mind"), EVERYBODY);
    json_object_del(check, "mind");
    json_object_set_new(check, "cautions", cautions);
    json_object_set_new(check, "cause", json_string(cause->id));
    return check;
}

static json_t *checks_json(const struct triage *triage, const struct case_rank *ranked)
{
    json_t *list = json_array();
    for (int i = 0; i < ranked->rank->count && i < 3; i++) {
        const struct rank_cause *one = &ranked->rank->causes[i];
        const struct rule_cause *cause = &triage->rules->causes[one->cause];
        if (i > 0 && one->probability < LIKELY)
            break;
        for (size_t c = 0; c < json_array_size(cause->checks); c++) {
            if (json_array_size(list) >= SHOWN_CHECKS)
                return list;
            json_array_append_new(list,
                                  check_json(triage, cause, json_array_get(cause->checks, c)));
        }
    }
    return list;
}

static const json_t *first_actions(const struct triage *triage, const struct case_rank *ranked)
{
    return triage->rules->causes[ranked->rank->causes[0].cause].actions;
}

static json_t *actions_json(const struct triage *triage, const struct case_rank *ranked)
{
    const json_t *actions = first_actions(triage, ranked);
    json_t *list = json_array();
    for (size_t i = 0; i < json_array_size(actions); i++) {
        const json_t *action = json_array_get(actions, i);
        if (!json_is_string(action))
            action = json_object_get(action, "do");
        json_array_append_new(list, json_string_nocheck(json_string_value(action)));
    }
    return list;
}

static void add_of_symptom(json_t *list, const struct triage *triage, int symptom, unsigned readers)
{
    for (int i = 0; i < triage->rules->caution_count && symptom >= 0; i++) {
        const struct rule_caution *caution = &triage->rules->cautions[i];
        if (caution->symptoms & 1u << symptom && caution->readers & readers)
            add_text(list, caution->text);
    }
}

/* Bit 1 << place of each word that a complaint says of its bag. */
static unsigned bags_of(const struct case_input *input)
{
    const struct field *field = fields_find("observed/bag");
    unsigned bags = 0;
    for (int i = 0; i < input->count; i++) {
        const char *said = json_string_value(fields_get(input->complaints[i].body, field));
        const struct field_word *word = said ? fields_word(field->words, said) : NULL;
        bags |= word ? 1u << (word - field->words) : 0;
    }
    return bags;
}

static void add_of_bags(json_t *list, const struct triage *triage, const struct case_input *input,
                        unsigned readers)
{
    unsigned bags = bags_of(input);
    for (int i = 0; i < triage->rules->caution_count && bags; i++) {
        const struct rule_caution *caution = &triage->rules->cautions[i];
        if (caution->bags & bags && caution->readers & readers)
            add_text(list, caution->text);
    }
}

void case_json_bag_cautions(const struct triage *triage, const struct case_input *input, bool desk,
                            json_t *list)
{
    add_of_bags(list, triage, input, desk ? DESK : EVERYBODY);
}

static void add_of_causes(json_t *list, const struct triage *triage, const struct case_rank *ranked,
                          unsigned readers)
{
    for (int i = 0; i < ranked->rank->count; i++) {
        const struct rank_cause *one = &ranked->rank->causes[i];
        const struct rule_cause *cause = &triage->rules->causes[one->cause];
        if (one->probability < LIKELY && i > 0)
            break;
        for (size_t c = 0; c < json_array_size(cause->caller_cautions); c++)
            add_text(list, json_string_value(json_array_get(cause->caller_cautions, c)));
        add_minded(list, triage, cause->cautions, readers);
    }
}

/* Of what is proposed to be done. */
static void add_of_work(json_t *list, const struct triage *triage, const struct case_rank *ranked,
                        const json_t *checks)
{
    const json_t *actions = first_actions(triage, ranked);
    for (size_t i = 0; i < json_array_size(checks); i++) {
        const json_t *cautions = json_object_get(json_array_get(checks, i), "cautions");
        for (size_t c = 0; c < json_array_size(cautions); c++)
            add_text(list, json_string_value(json_array_get(cautions, c)));
    }
    for (size_t i = 0; i < json_array_size(actions); i++)
        add_minded(list, triage, json_object_get(json_array_get(actions, i), "mind"), EVERYBODY);
}

static json_t *caller_cautions_json(const struct triage *triage, const struct case_rank *ranked)
{
    json_t *list = json_array();
    add_of_bags(list, triage, &ranked->input, DESK);
    add_of_symptom(list, triage, ranked->input.symptom, DESK);
    add_of_causes(list, triage, ranked, DESK);
    return list;
}

void case_json_harm_caution(const struct case_rank *ranked, json_t *list)
{
    if (ranked->input.harm)
        add_text(list, HARM_CAUTION);
    else if (ranked->input.harm_possible)
        add_text(list, POSSIBLE_CAUTION);
}

static json_t *cautions_json(const struct triage *triage, const struct case_rank *ranked,
                             const json_t *checks)
{
    json_t *list = json_array();
    case_json_harm_caution(ranked, list);
    add_of_bags(list, triage, &ranked->input, EVERYBODY);
    add_of_symptom(list, triage, ranked->input.symptom, EVERYBODY);
    add_of_causes(list, triage, ranked, EVERYBODY);
    add_of_work(list, triage, ranked, checks);
    return list;
}

json_t *case_json_brief(const struct triage *triage, const struct case_rank *ranked, json_t *asks)
{
    json_t *first = json_array(), *object = json_object();
    for (int i = 0; i < ranked->rank->count && i < TELL_FIRST; i++)
        json_array_append_new(first, named_json(triage, &ranked->rank->causes[i]));
    json_object_set_new(object, "symptom", json_string(symptom_name(ranked->input.symptom)));
    case_json_harm(ranked, object);
    json_object_set_new(object, "ranked", first);
    json_object_set_new(object, "ask", asks);
    json_object_set_new(object, "caller_cautions", caller_cautions_json(triage, ranked));
    return object;
}

/* Speaks loud enough to rest on. */
static const double SPEAKS_BITS = 0.3;

/* What the plant, its trade and other complaints tell; a model says what follows from them and from
 * what was said. */
static bool is_record(enum fact_kind kind)
{
    return kind == FACT_QUANTITY || kind == FACT_PLACE || kind == FACT_DISPATCH ||
           kind == FACT_COMPANY;
}

bool case_json_words_alone(const struct triage *triage, const struct case_rank *ranked,
                           const struct rank_cause *cause)
{
    const struct rank_item *items[CASE_ITEMS];
    const struct rules *rules = triage->rules;
    int count = case_json_items(cause, true, items);
    for (int i = 0; i < count; i++)
        if (is_record(rules->facts[items[i]->evidence->fact].name.kind) &&
            items[i]->bits >= SPEAKS_BITS)
            return false;
    return ranked->input.count == 1 && count > 0;
}

/* Said where the first cause is likelier than all others together: a chance near one looks like a
 * finding. */
static void add_words_alone(const struct triage *triage, const struct case_rank *ranked,
                            json_t *into)
{
    const struct rank_cause *first = ranked->rank->count ? &ranked->rank->causes[0] : NULL;
    if (first && first->probability > 0.5 && case_json_words_alone(triage, ranked, first))
        json_object_set_new(into, "words_alone", json_true());
}

json_t *case_json_rank(const struct triage *triage, const struct case_rank *ranked, json_t *asks)
{
    json_t *complaints = json_array(), *lots = lots_json(ranked);
    for (int i = 0; i < ranked->input.count; i++)
        if (*ranked->input.complaints[i].uuid)
            json_array_append_new(complaints, json_string(ranked->input.complaints[i].uuid));
    json_t *object = json_object();
    json_object_set_new(object, "case", CASE_ID_JSON(ranked->input.case_id));
    json_object_set_new(object, "symptom", json_string(symptom_name(ranked->input.symptom)));
    json_object_set_new(object, "as_of",
                        case_json_when(triage, case_json_plant(ranked), ranked->input.as_of_ms));
    json_object_set_new(object, "rules", json_string(triage->rules->hash));
    case_json_harm(ranked, object);
    case_json_harms(triage, ranked, object);
    json_object_set_new(object, "complaints", complaints);
    json_object_set_new(object, "lots", lots);
    json_object_set_new(object, "ranked", ranked_json(triage, ranked));
    add_words_alone(triage, ranked, object);
    json_object_set_new(object, "ask", asks ? asks : json_array());
    json_t *checks = checks_json(triage, ranked);
    json_object_set_new(object, "cautions", cautions_json(triage, ranked, checks));
    json_object_set_new(object, "caller_cautions", caller_cautions_json(triage, ranked));
    json_object_set_new(object, "checks", checks);
    json_object_set_new(object, "actions", actions_json(triage, ranked));
    return object;
}

void tell_cautions(const struct triage *triage, const char *symptom, json_t *list)
{
    add_of_symptom(list, triage, symptom_of(symptom), EVERYBODY);
}

/* rules/asks.json and rules/ranking.json. */
#include "rules/catalogue.h"
#include "rules/rules_check.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* ---- questions ---- */

static void read_fact(const struct doc_place *place, void *part)
{
    *(int *)part = rules_check_fact(place, NULL);
}

static void read_answer(const struct doc_place *place, void *part)
{
    static const struct doc_row ROWS[] = {
        {"word", DOC_TEXT, DOC_AT(struct rule_answer, word)},
        {"label", DOC_TEXT, DOC_AT(struct rule_answer, label)},
        {"value", DOC_NUMBER, DOC_AT(struct rule_answer, value), -1e9, 1e9},
        {"ratio", DOC_NUMBER, DOC_AT(struct rule_answer, ratio), 0, 1e6},
        {"z", DOC_NUMBER, DOC_AT(struct rule_answer, z), -100, 100},
        {"share", DOC_NUMBER, DOC_AT(struct rule_answer, share), 1e-6, 1e6, .required = true},
        {.name = "note"},
        {0}};
    struct rule_ask *ask = part;
    struct rule_answer answer = {.value = NAN, .ratio = NAN, .z = NAN};
    const struct fact_name *name = rules_check_name(place, ask->fact);
    struct doc_place word = doc_member(place, "word");
    doc_read(place, ROWS, &answer);
    if (name && name->words && !(answer.word && rules_check_word(name, answer.word)))
        doc_fault(&word, "'%s' has no such word", name->text);
    else if (name && !name->words && isnan(answer.value) && isnan(answer.ratio) && isnan(answer.z))
        doc_fault(place, "needs 'value', 'ratio' or 'z'");
    ask->answers = xrealloc(ask->answers, (size_t)(ask->answer_count + 1) * sizeof *ask->answers);
    ask->answers[ask->answer_count++] = answer;
}

static void read_ask(const struct doc_place *place, void *part)
{
    static const char *const OF[] = {"caller", "plant", "lab", NULL};
    static const struct doc_row ROWS[] = {
        {"fact", DOC_OTHER, DOC_AT(struct rule_ask, fact), .each = read_fact, .required = true},
        {"ask", DOC_TEXT, DOC_AT(struct rule_ask, ask), .required = true},
        {"of", DOC_TEXT, DOC_AT(struct rule_ask, of), .words = OF, .required = true},
        {"effort", DOC_TEXT, DOC_AT(struct rule_ask, effort), .words = RULES_CHECK_EFFORT,
         .required = true},
        {"symptoms", DOC_LIST, DOC_AT(struct rule_ask, symptoms), 1, SYMPTOMS,
         .each = rules_check_symptom},
        {"when", DOC_OTHER, DOC_AT(struct rule_ask, when), .each = rules_check_guard},
        {"answers", DOC_LIST, .low = 2, .high = INFINITY, .each = read_answer, .required = true},
        {.name = "note"},
        {.name = "choices"},
        {0}};
    struct rules *rules = part;
    struct rule_ask ask = {.fact = -1, .when = rules_check_no_guard()};
    doc_read(place, ROWS, &ask);
    if (!ask.symptoms)
        ask.symptoms = (1u << SYMPTOMS) - 1;
    double sum = 0;
    for (int i = 0; i < ask.answer_count; i++)
        sum += ask.answers[i].share;
    for (int i = 0; i < ask.answer_count && sum > 0; i++)
        ask.answers[i].share /= sum;
    rules->asks = xrealloc(rules->asks, (size_t)(rules->ask_count + 1) * sizeof *rules->asks);
    rules->asks[rules->ask_count++] = ask;
}

void rules_check_asks(struct doc *doc, const char *file_stem)
{
    static const struct doc_row ROWS[] = {{.name = "$schema"},
                                          {.name = "note"},
                                          {"asks", DOC_LIST, .each = read_ask, .required = true},
                                          {0}};
    struct rules *rules = doc->context;
    struct doc_place top = doc_top(doc);
    (void)file_stem;
    rules->asks_document = json_incref(doc->root);
    doc_read(&top, ROWS, rules);
}

/* ---- the ranking's numbers ---- */

static void read_delay(const struct doc_place *place, void *part)
{
    struct rule_ranking *ranking = part;
    struct rules_check_curve curve = {.low = 0, .high = 1};
    int symptom = symptom_of(place->name);
    if (symptom < 0) {
        doc_fault(place, SYMPTOM_UNKNOWN);
        return;
    }
    rules_check_curve(place, &curve);
    if (!curve.points)
        return;
    bool rises = curve.count <= RULE_DELAY_POINTS && curve.points[curve.count - 1].bits == 1.0;
    for (int i = 1; i < curve.count; i++)
        rises = rises && curve.points[i].bits >= curve.points[i - 1].bits;
    if (rises) {
        memcpy(ranking->delay[symptom], curve.points, (size_t)curve.count * sizeof *curve.points);
        ranking->delay_count[symptom] = curve.count;
    } else {
        doc_fault(place, "must rise to 1 in at most %d points", RULE_DELAY_POINTS);
    }
    free(curve.points);
}

static void read_base(const struct doc_place *place, void *part)
{
    static const struct doc_row BASE = {
        .kind = DOC_NUMBER, .size = sizeof(double), .low = 1e-3, .high = 1e6};
    struct rule_ranking *ranking = part;
    int symptom = symptom_of(place->name);
    if (symptom < 0)
        doc_fault(place, SYMPTOM_UNKNOWN);
    else
        doc_value(place, &BASE, &ranking->base_per_million[symptom]);
}

static void read_share(const struct doc_place *place, void *part)
{
    static const struct doc_row SHARE = {
        .kind = DOC_NUMBER, .size = sizeof(double), .low = 0.001, .high = 0.999};
    struct rule_ranking *ranking = part;
    int i = 0;
    while (i < REACHES && strcmp(rules_reach_name((enum rule_reach)i), place->name) != 0)
        i++;
    if (i == REACHES)
        doc_fault(place, "no such condition to share");
    else
        doc_value(place, &SHARE, &ranking->reach_share[i]);
}

static void check_product(const struct doc_place *top, const struct catalogue *catalogue,
                          const char *name)
{
    struct doc_place place = doc_member(top, name);
    const char *product = json_string_value(place.value);
    if (product && !catalogue_preserver(catalogue, product))
        doc_fault(&place, "no such product (calcium-propionate, vinegar, ...)");
}

void rules_check_ranking(struct doc *doc, const char *file_stem)
{
    static const struct doc_row ROWS[] = {
        {.name = "$schema"},
        {.name = "note"},
        {"pool_exponent", DOC_NUMBER, DOC_AT(struct rule_ranking, pool_exponent), 0, 1},
        {"temper", DOC_NUMBER, DOC_AT(struct rule_ranking, temper), 0.05, 2},
        {"prior_weight", DOC_NUMBER, DOC_AT(struct rule_ranking, prior_weight), 1, 1e6},
        {"background_weight", DOC_NUMBER, DOC_AT(struct rule_ranking, background_weight), 1, 1e6},
        {"near_share", DOC_NUMBER, DOC_AT(struct rule_ranking, near_share), 0, 0.9},
        {"near_days", DOC_NUMBER, DOC_AT(struct rule_ranking, near_days), 0, 42},
        {"cleaned_share", DOC_NUMBER, DOC_AT(struct rule_ranking, cleaned_share), 0, 1},
        {"sample_usual_z", DOC_NUMBER, DOC_AT(struct rule_ranking, sample_usual_z), 0, 3},
        {"soon_share", DOC_NUMBER, DOC_AT(struct rule_ranking, soon_share), 0, 0.99},
        {"company_most", DOC_NUMBER, DOC_AT(struct rule_ranking, company_most), 0.5, 60},
        {"company_rival", DOC_NUMBER, DOC_AT(struct rule_ranking, company_rival), 0, 1},
        {"inhibitor", DOC_CHARS, DOC_AT(struct rule_ranking, inhibitor)},
        {"acid", DOC_CHARS, DOC_AT(struct rule_ranking, acid)},
        {"reach_share", DOC_MAP, .each = read_share},
        {"reach_days", DOC_NUMBER, DOC_AT(struct rule_ranking, reach_days), 1, 42},
        {"reach_bits", DOC_NUMBER, DOC_AT(struct rule_ranking, reach_bits), 0.5, 60},
        {"base_per_million", DOC_MAP, .each = read_base},
        {"delay_days", DOC_MAP, .each = read_delay},
        {0}};
    struct rules *rules = doc->context;
    struct doc_place top = doc_top(doc);
    (void)file_stem;
    doc_read(&top, ROWS, &rules->ranking);
    check_product(&top, rules->catalogue, "inhibitor");
    check_product(&top, rules->catalogue, "acid");
}

/* What to ask next, of every question whose answer is not known yet and can change what is done:
 * put another cause first, or make the first so much surer or less sure that QA would act on it
 * (rank_surer()). First what is expected to make the first cause the right one most often, then, of
 * those after which the same cause stands first whatever is answered, what is expected to tell most
 * bits. Where no answer changes anything, one sentence says what would tell most. P(answer | cause)
 * is how often the answer comes, bent by what the rules say of it: share x 2^bits, made to sum
 * to 1. */
#include "base/short_id.h"
#include "base/text.h"
#include "intake/whom.h"
#include "rules/fact_title.h"
#include "stats/evidence.h"
#include "tell/case_json.h"
#include "tell/tell.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { QUESTIONS = 20 }; /* shown at most */
#define LEAST_GAIN 0.005 /* bits: not worth anybody's time */
#define SAME 1e-9        /* of probabilities that differ by rounding */

static struct fact fact_of_answer(const struct rule_answer *answer)
{
    struct fact fact = {.known = true,
                        .value = answer->value,
                        .target = NAN,
                        .usual = NAN,
                        .z = answer->z,
                        .bits = NAN};
    if (answer->word) {
        fact.words[0] = answer->word;
        fact.word_count = 1;
    } else if (!isnan(answer->ratio)) {
        fact.target = 1;
        if (isnan(fact.value))
            fact.value = answer->ratio;
    }
    return fact;
}

/* What is measured of a lot is compared with its target or what is usual; where there is neither,
 * no item that compares will speak, whatever is found. */
static bool compares_with_nothing(const struct fact_set *facts,
                                  const struct rule_evidence *evidence)
{
    const struct fact *fact = fact_set_at(facts, evidence->fact, 0);
    return facts->rules->facts[evidence->fact].name.kind == FACT_QUANTITY &&
           ((evidence->how == EVIDENCE_RATIO && !(fact->target > 0) && !(fact->usual > 0)) ||
            (evidence->how == EVIDENCE_Z && isnan(fact->usual)));
}

/* Items on the value and on the ratio read different numbers of the same answer. */
static double bits_of(const struct rule_evidence *evidence, const struct rule_answer *answer,
                      const struct fact *likeness)
{
    struct fact fact = fact_of_answer(answer);
    if (evidence->how == EVIDENCE_RATIO) {
        if (isnan(answer->ratio)) {
            fact.target = likeness->target;
            fact.usual = likeness->usual;
        } else {
            fact.value = answer->ratio;
            fact.target = 1;
        }
    } else if (evidence->how == EVIDENCE_VALUE && isnan(answer->value)) {
        double against = isnan(likeness->target) ? likeness->usual : likeness->target;
        fact.value = isnan(answer->ratio) ? NAN : answer->ratio * against;
    }
    return evidence_bits_of(evidence, &fact);
}

/* The items of one cause on a fact that would speak if it were known, and what its groups have said
 * without it. */
struct listening {
    const struct rule_evidence **items; /* room for all uses of the fact */
    int count, group_count;
    bool grouped;
    double said[RULE_GROUPS];
};

static bool would_speak(const struct case_rank *ranked, const struct rule_evidence *evidence)
{
    const struct fact_set *facts = case_rank_facts(ranked);
    return evidence->symptoms & 1u << ranked->input.symptom &&
           evidence_bits_guard(&evidence->when, facts, 0) != 0 &&
           (evidence->unless.fact < 0 || evidence_bits_guard(&evidence->unless, facts, 0) != 1) &&
           !compares_with_nothing(facts, evidence);
}

static void listen(const struct case_rank *ranked, const struct rank_cause *one,
                   const struct rule_use *uses, int count, struct listening *ret)
{
    const struct rule_cause *cause = &case_rank_facts(ranked)->rules->causes[one->cause];
    ret->count = 0;
    ret->grouped = false;
    ret->group_count = cause->group_count;
    for (int i = 0; i < count; i++) {
        const struct rule_evidence *evidence = &cause->evidence[uses[i].item];
        if (!would_speak(ranked, evidence))
            continue;
        ret->items[ret->count++] = evidence;
        ret->grouped = ret->grouped || evidence->group >= 0;
    }
    for (int g = 0; ret->grouped && g < ret->group_count; g++)
        ret->said[g] = 0;
    for (int i = 0; ret->grouped && i < one->item_count; i++)
        if (one->items[i].counted && one->items[i].evidence->group >= 0)
            ret->said[one->items[i].evidence->group] = one->items[i].bits;
}

/* What one answer would say of the cause: the strongest of each group, as in the ranking; a group
 * that has spoken already adds only what goes beyond that. */
static double answer_bits(const struct case_rank *ranked, const struct listening *to,
                          const struct rule_answer *answer)
{
    const struct fact_set *facts = case_rank_facts(ranked);
    double sum = 0, in_group[RULE_GROUPS];
    for (int g = 0; to->grouped && g < to->group_count; g++)
        in_group[g] = 0;
    for (int i = 0; i < to->count; i++) {
        const struct rule_evidence *evidence = to->items[i];
        double bits = bits_of(evidence, answer, fact_set_at(facts, evidence->fact, 0));
        if (isnan(bits))
            continue;
        if (evidence->group < 0)
            sum += bits;
        else if (fabs(bits) > fabs(in_group[evidence->group]))
            in_group[evidence->group] = bits;
    }
    for (int g = 0; to->grouped && g < to->group_count; g++)
        sum += fabs(in_group[g]) > fabs(to->said[g]) ? in_group[g] - to->said[g] : 0;
    return sum;
}

struct gain {
    double bits, first; /* evidence_gain_bits(), evidence_gain_first() */
    bool decides;       /* an answer can change what is done */
};

/* The likeliest of the causes that do not read the fact: of those that stand before it in the
 * ranking, all do. */
static double likeliest_other(const struct case_rank *ranked, const struct rule_use *uses,
                              int count)
{
    for (int i = 0; i < ranked->rank->count; i++) {
        int u = 0;
        while (u < count && uses[u].cause != ranked->rank->causes[i].cause)
            u++;
        if (u == count)
            return ranked->rank->causes[i].probability;
    }
    return 0;
}

/* prior[0] is all others together, the likeliest of whom has `other`; the answers of a cause are
 * made to sum to 1, in place. */
static bool decides(const double *prior, size_t causes, double *likelihood, size_t answers,
                    double other)
{
    size_t first = 0;
    double now = other;
    for (size_t c = 0; c < causes; c++) {
        double sum = 0;
        for (size_t a = 0; a < answers; a++)
            sum += likelihood[a * causes + c];
        for (size_t a = 0; a < answers && sum > 0; a++)
            likelihood[a * causes + c] /= sum;
        first = c && prior[c] > now ? c : first;
        now = c ? fmax(now, prior[c]) : now;
    }
    for (size_t a = 0; a < answers; a++) {
        const double *given = &likelihood[a * causes];
        double total = 0, most = (first ? prior[first] : other) * given[first];
        bool overtaken = other * given[0] > most * (1 + SAME);
        for (size_t c = 0; c < causes; c++) {
            total += prior[c] * given[c];
            overtaken = overtaken || (c && prior[c] * given[c] > most * (1 + SAME));
        }
        if (total > 0 && (overtaken || rank_surer(now, most / total)))
            return true;
    }
    return false;
}

/* A cause of the ranking, and its items on the fact that is asked. */
struct reader {
    const struct rank_cause *one;
    const struct rule_use *uses;
    int use_count;
};

/* What asking about one case needs again and again. */
struct asking {
    const struct triage *triage;
    const struct case_rank *ranked;
    int *places; /* by cause: in the ranking; -1: it is not in it */
    struct reader *readers;
    int reader_count; /* of the question that is looked at */
    struct listening listening;
};

static struct asking asking_begin(const struct triage *triage, const struct case_rank *ranked)
{
    const struct rules *rules = triage->rules;
    struct asking asking = {.triage = triage, .ranked = ranked};
    int most = 1;
    for (int i = 0; i < rules->ask_count; i++) {
        int uses = rules->facts[rules->asks[i].fact].use_count;
        most = uses > most ? uses : most;
    }
    asking.places = xmalloc(((size_t)rules->cause_count + 1) * sizeof *asking.places);
    asking.readers = xmalloc(((size_t)rules->cause_count + 1) * sizeof *asking.readers);
    asking.listening.items =
        xmalloc((size_t)most * sizeof(const struct rule_evidence *)); /* of one fact */
    for (int i = 0; i < rules->cause_count; i++)
        asking.places[i] = -1;
    for (int i = 0; i < ranked->rank->count; i++)
        asking.places[ranked->rank->causes[i].cause] = i;
    return asking;
}

static void asking_end(struct asking *asking)
{
    free(asking->places);
    free(asking->readers);
    free((void *)asking->listening.items);
}

static void find_readers(struct asking *asking, const struct rule_fact *fact)
{
    const struct rule_use *uses = &asking->triage->rules->uses[fact->first_use];
    asking->reader_count = 0;
    for (int first = 0, count; first < fact->use_count; first += count) {
        for (count = 1;
             first + count < fact->use_count && uses[first + count].cause == uses[first].cause;
             count++)
            ;
        int place = asking->places[uses[first].cause];
        if (place >= 0)
            asking->readers[asking->reader_count++] =
                (struct reader){&asking->ranked->rank->causes[place], &uses[first], count};
    }
}

/* No answer tells more bits than there is doubt about which of the readers, or none, it is. */
static bool can_tell(const struct asking *asking)
{
    const double small = 0.01;
    double all = 0;
    for (int i = 0; i < asking->reader_count; i++)
        all += asking->readers[i].one->probability;
    if (!(all > 0) || all > small)
        return all > 0;
    double doubt = -all * log2(all / asking->reader_count) - (1 - all) * log2(1 - all);
    return doubt > LEAST_GAIN / 2;
}

/* Each cause that reads the fact stands by itself, behind all others taken as one: whatever is
 * answered, they say the same of it. */
static struct gain gain_of(struct asking *asking, const struct rule_ask *ask)
{
    const struct rules *rules = asking->triage->rules;
    const struct rule_fact *fact = &rules->facts[ask->fact];
    struct gain gain = {0};
    find_readers(asking, fact);
    if (!can_tell(asking))
        return gain;
    size_t causes = (size_t)asking->reader_count + 1, answers = (size_t)ask->answer_count;
    double *prior = xmalloc(causes * (1 + answers) * sizeof *prior), *likelihood = prior + causes;
    double others = 1;
    for (size_t a = 0; a < answers; a++)
        likelihood[a * causes] = ask->answers[a].share;
    for (size_t c = 1; c < causes; c++) {
        const struct reader *reader = &asking->readers[c - 1];
        listen(asking->ranked, reader->one, reader->uses, reader->use_count, &asking->listening);
        for (size_t a = 0; a < answers; a++)
            likelihood[a * causes + c] =
                ask->answers[a].share *
                exp2(rules->ranking.temper *
                     answer_bits(asking->ranked, &asking->listening, &ask->answers[a]));
        others -= prior[c] = reader->one->probability;
    }
    prior[0] = fmax(0, others); /* what rounding leaves of none is nothing */
    if (evidence_gain_bits(prior, causes, likelihood, answers, &gain.bits))
        gain.bits = 0;
    double other = likeliest_other(asking->ranked, &rules->uses[fact->first_use], fact->use_count);
    gain.decides = decides(prior, causes, likelihood, answers, other);
    prior[0] = other;
    if (evidence_gain_first(prior, causes, likelihood, answers, &gain.first))
        gain.first = 0;
    free(prior);
    return gain;
}

static bool is_known(const struct case_rank *ranked, int fact)
{
    const struct fact_set *facts = case_rank_facts(ranked);
    for (int i = 0; i < ranked->input.count; i++)
        if (fact_set_at(facts, fact, i)->known)
            return true;
    return false;
}

struct question {
    const struct rule_ask *ask;
    struct gain gain;
    int order; /* whose turn it is: the caller is on the line now */
};

static int by_gain(const void *a, const void *b)
{
    const struct question *x = a, *y = b;
    if (x->order != y->order)
        return x->order - y->order;
    if (x->gain.first != y->gain.first)
        return x->gain.first > y->gain.first ? -1 : 1;
    if (x->gain.bits != y->gain.bits)
        return x->gain.bits > y->gain.bits ? -1 : 1;
    return (x->ask > y->ask) - (x->ask < y->ask);
}

static void set_text(json_t *object, const char *name, const char *text)
{
    /* texts of the rules, read by a strict parser: valid as they are */
    json_object_set_new_nocheck(object, name, json_string_nocheck(text));
}

static json_t *choices_json(const struct rule_ask *ask)
{
    json_t *choices = json_array();
    for (int i = 0; i < ask->answer_count; i++) {
        const struct rule_answer *answer = &ask->answers[i];
        if (!answer->word)
            continue;
        json_t *choice = json_object();
        set_text(choice, "word", answer->word);
        set_text(choice, "label", answer->label ? answer->label : answer->word);
        json_array_append_new(choices, choice);
    }
    return choices;
}

static json_t *question_json(const struct triage *triage, const struct question *question)
{
    const struct rule_ask *ask = question->ask;
    json_t *object = json_object();
    json_object_set_new_nocheck(object, "fact", json_incref(triage->rules->facts[ask->fact].text));
    set_text(object, "ask", ask->ask);
    set_text(object, "of", ask->of);
    json_object_set_new_nocheck(object, "gain_bits", jsonx_rounded(question->gain.bits, 3));
    json_object_set_new_nocheck(object, "gain_first", jsonx_rounded(question->gain.first, 3));
    set_text(object, "effort", ask->effort);
    json_object_set_new_nocheck(object, "choices", choices_json(ask));
    return object;
}

/* All that may be asked and would tell anything, in order; what decides nothing last. Caller frees.
 */
static struct question *questions_of(const struct triage *triage, const struct case_rank *ranked,
                                     bool desk, int *ret_count)
{
    const struct rules *rules = triage->rules;
    struct question *questions = xcalloc((size_t)rules->ask_count + 1, sizeof *questions);
    struct asking asking = asking_begin(triage, ranked);
    int count = 0;
    for (int i = 0; i < rules->ask_count; i++) {
        const struct rule_ask *ask = &rules->asks[i];
        if (!(ask->symptoms & 1u << ranked->input.symptom) || is_known(ranked, ask->fact) ||
            evidence_bits_guard(&ask->when, case_rank_facts(ranked), 0) == 0)
            continue;
        struct gain gain = gain_of(&asking, ask);
        int order = !gain.decides ? 2 : desk && strcmp(ask->of, "caller") != 0;
        if (gain.bits >= LEAST_GAIN)
            questions[count++] = (struct question){ask, gain, order};
    }
    asking_end(&asking);
    qsort(questions, (size_t)count, sizeof *questions, by_gain);
    *ret_count = count;
    return questions;
}

/* ---- where nothing decides ---- */

/* How far apart what an item may say lies, in bits. */
static double swing_of(const struct rule_evidence *evidence)
{
    double low = INFINITY, high = -INFINITY;
    for (int i = 0; i < evidence->point_count; i++) {
        low = fmin(low, evidence->curve[i].bits);
        high = fmax(high, evidence->curve[i].bits);
    }
    for (int i = 0; i < evidence->word_count; i++) {
        low = fmin(low, evidence->words[i].bits);
        high = fmax(high, evidence->words[i].bits);
    }
    return high > low ? high - low : 0;
}

/* Of what stands first, a record of the lot that is not there: the one that could say most. -1: all
 * that the rules read of it is known. */
static int record_missing(const struct case_rank *ranked)
{
    const struct fact_set *facts = case_rank_facts(ranked);
    const struct rank_cause *first = &ranked->rank->causes[0];
    double most = 0;
    int best = -1;
    for (int i = 0; i < first->item_count; i++) {
        const struct rule_evidence *evidence = first->items[i].evidence;
        enum fact_kind kind = facts->rules->facts[evidence->fact].name.kind;
        bool recorded = kind == FACT_QUANTITY || kind == FACT_PLACE || kind == FACT_DISPATCH;
        double swing = swing_of(evidence);
        if (!recorded || is_known(ranked, evidence->fact) || swing <= most ||
            compares_with_nothing(facts, evidence))
            continue;
        most = swing;
        best = evidence->fact;
    }
    return best;
}

#define NOTHING_DECIDES "No answer would put another cause first or change what is done; "

/* NULL in JSON: a question decides. */
static json_t *says_json(const struct triage *triage, const struct case_rank *ranked)
{
    int count, fact = -1;
    struct question *questions = questions_of(triage, ranked, false, &count);
    const struct rule_ask *best = NULL;
    struct text_buffer says = {0};
    char title[FACT_TITLE];
    for (int i = 0; i < count && !best; i++)
        best = strcmp(questions[i].ask->of, "caller") != 0 ? questions[i].ask : NULL;
    bool decided = count > 0 && questions[0].gain.decides;
    free(questions);
    if (decided || ranked->rank->count == 0)
        return json_null();
    if (!case_rank_facts(ranked)->record)
        text_append(&says, NOTHING_DECIDES "the lot's code would tell most: without it no record "
                                           "speaks.");
    else if (best)
        text_appendf(&says, NOTHING_DECIDES "this %s would tell most: %s.",
                     strcmp(best->of, "lab") == 0 ? "test" : "record", best->ask);
    else if ((fact = record_missing(ranked)) >= 0)
        text_appendf(
            &says, NOTHING_DECIDES "this record, which is missing, would tell most: %s.",
            fact_title(triage->rules->vocabulary, &triage->rules->facts[fact].name, title));
    else
        text_append(&says, NOTHING_DECIDES "no record that the rules read is missing.");
    json_t *told = json_string(says.data);
    text_buffer_free(&says);
    return told;
}

json_t *ask_json(const struct triage *triage, const struct case_rank *ranked, bool desk, int limit)
{
    int count;
    struct question *questions = questions_of(triage, ranked, desk, &count);
    json_t *list = json_array();
    for (int i = 0; i < count && i < limit && questions[i].gain.decides; i++)
        json_array_append_new(list, question_json(triage, &questions[i]));
    free(questions);
    return list;
}

/* Of several who are not alike, the caller. */
static const char *whom(const struct case_input *input)
{
    const char *first = NULL;
    for (int i = 0; i < input->count; i++) {
        const char *one =
            whom_to_ask(json_string_value(json_object_get(input->complaints[i].body, "channel")));
        if (first && strcmp(first, one) != 0)
            return whom_to_ask(NULL);
        first = one;
    }
    return first ? first : whom_to_ask(NULL);
}

int tell_ask(struct triage *triage, struct store *store, int64_t case_id, json_t **ret,
             struct error *err)
{
    struct case_rank ranked;
    int rc = case_rank_read(triage, store, case_id, &ranked, err);
    if (rc)
        return rc;
    triage = ranked.triage;
    *ret =
        json_pack("{s:o, s:o, s:s, s:o, s:o}", "case", CASE_ID_JSON(case_id), "as_of",
                  case_json_when(triage, case_json_plant(&ranked), ranked.input.as_of_ms),
                  "ask_whom", whom(&ranked.input), "ask",
                  ask_json(triage, &ranked, false, QUESTIONS), "says", says_json(triage, &ranked));
    case_json_harm(&ranked, *ret);
    case_rank_clear(&ranked);
    return 0;
}

#include "rank/evidence_bits.h"
#include "base/text.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define RATIO_Z_APART 3.0 /* robust z at which a lot stands clearly apart */

static double table_bits(const struct rule_evidence *evidence, const struct fact *fact)
{
    double said = NAN;
    for (int w = 0; w < fact->word_count; w++) {
        double bits = evidence->other;
        for (int i = 0; i < evidence->word_count; i++)
            if (strcmp(evidence->words[i].word, fact->words[w]) == 0)
                bits = evidence->words[i].bits;
        if (isnan(said) || fabs(bits) > fabs(said))
            said = bits;
    }
    return said;
}

static double ratio_of(const struct fact *fact)
{
    double against = isnan(fact->target) ? fact->usual : fact->target;
    return against > 0 ? fact->value / against : NAN;
}

/* Without a target the plant's usual value stands in. Then what speaks for the cause beyond what a
 * usual lot does cannot say more than that the lot stands apart from the plant's other lots: where
 * they scatter widely, it says little. */
static double ratio_bits(const struct rule_evidence *evidence, const struct fact *fact)
{
    double bits = rules_curve(evidence->curve, evidence->point_count, ratio_of(fact));
    if (!isnan(fact->target) || isnan(fact->z))
        return bits;
    double usual = fmax(0, rules_curve(evidence->curve, evidence->point_count, 1));
    return bits > usual ? usual + (bits - usual) * fmin(1, fabs(fact->z) / RATIO_Z_APART) : bits;
}

static double ready_bits(const struct rule_evidence *evidence, double bits)
{
    return isnan(bits) ? NAN : fmin(fmax(bits * evidence->scale, evidence->low), evidence->high);
}

double evidence_bits_of(const struct rule_evidence *evidence, const struct fact *fact)
{
    if (!fact->known)
        return NAN;
    switch (evidence->how) {
    case EVIDENCE_TABLE:
        return table_bits(evidence, fact);
    case EVIDENCE_VALUE:
        return rules_curve(evidence->curve, evidence->point_count, fact->value);
    case EVIDENCE_Z:
        return rules_curve(evidence->curve, evidence->point_count, fact->z);
    case EVIDENCE_RATIO:
        return ratio_bits(evidence, fact);
    default:
        return ready_bits(evidence, fact->bits);
    }
}

int evidence_bits_guard(const struct rule_guard *guard, const struct fact_set *facts, int complaint)
{
    if (guard->fact < 0)
        return 1;
    const struct fact *fact = fact_set_at(facts, guard->fact, complaint);
    if (!fact->known)
        return -1;
    if (guard->word_count == 0)
        return fact->value >= guard->from && fact->value <= guard->to;
    for (int w = 0; w < fact->word_count; w++)
        for (int i = 0; i < guard->word_count; i++)
            if (strcmp(guard->words[i], fact->words[w]) == 0)
                return 1;
    return 0;
}

int evidence_bits_cleanings(const struct rules *rules, const struct rule_evidence *evidence,
                            const struct fact *fact, double bits)
{
    bool before = rules->facts[evidence->fact].name.code == PLACE_LAST;
    return (bits > 0) == before ? fact->cleanings : 0;
}

/* What was sampled of a place since it was last cleaned, and found as usual. */
static bool is_sampled_usual(const struct fact_set *facts, const char *place)
{
    const struct rules *rules = facts->rules;
    bool usual = false;
    for (int f = 0; f < rules->fact_count; f++) {
        const struct fact_name *name = &rules->facts[f].name;
        if (name->kind != FACT_PLACE || name->code != PLACE_LAST ||
            strcmp(name->place, place) != 0 || !fact_set_is_sample(name->quantity))
            continue;
        const struct fact *fact = fact_set_at(facts, f, 0);
        if (!fact->known || isnan(fact->z) || fact->cleanings)
            continue;
        if (fact->z > rules->ranking.sample_usual_z)
            return false;
        usual = true;
    }
    return usual;
}

/* Longer than usual without cleaning: what that left, a sample would have shown. */
static bool is_uncleaned(const struct fact_name *name, const struct fact *fact)
{
    return name->code == PLACE_CLEANING_MISSED ||
           (name->code == PLACE_HOURS_SINCE_CLEANED && ratio_of(fact) > 1);
}

/* Of what is known of a place: a sample and its cleanings are no independent witnesses. */
static double place_bits(const struct rule_evidence *evidence, const struct fact_set *facts,
                         const struct fact *fact)
{
    const struct rules *rules = facts->rules;
    const struct fact_name *name = &rules->facts[evidence->fact].name;
    double bits = evidence_bits_of(evidence, fact);
    if (name->kind != FACT_PLACE || isnan(bits))
        return bits;
    if (bits > 0 && is_uncleaned(name, fact) && is_sampled_usual(facts, name->place))
        return 0;
    int cleanings = evidence_bits_cleanings(rules, evidence, fact, bits);
    return bits * pow(rules->ranking.cleaned_share, cleanings);
}

static bool by_complaint(const struct rules *rules, int fact)
{
    return fact >= 0 && rules->kept[fact] < 0;
}

/* Each caller saw that much for himself. The season, the way the lot went and who else complained
 * of it are the same for all of them, however many they are. */
static bool seen_by_each(const struct fact_name *name)
{
    return (name->kind == FACT_OBSERVATION && name->code != SEEN_SEASON) ||
           name->kind == FACT_MODEL;
}

/* Two facts of which an item must say the same; false: it is not known without asking. */
static bool are_alike(const struct rule_evidence *evidence, const struct fact *a,
                      const struct fact *b)
{
    if (!a->known || !b->known)
        return false;
    if (evidence->how == EVIDENCE_VALUE)
        return a->value == b->value;
    return evidence->how == EVIDENCE_TABLE && a->word_count == b->word_count &&
           memcmp(a->words, b->words, (size_t)a->word_count * sizeof a->words[0]) == 0;
}

static bool is_guarded(const struct rule_evidence *evidence, const struct fact_set *facts, int i)
{
    return evidence_bits_guard(&evidence->when, facts, i) != 1 ||
           (evidence->unless.fact >= 0 && evidence_bits_guard(&evidence->unless, facts, i) == 1);
}

/* What each complaint says, NAN where it says nothing: callers mostly say what one said before. */
static void bits_by_complaint(const struct rule_evidence *evidence, const struct fact_set *facts,
                              int count, double *ret)
{
    const struct fact *last = NULL;
    double bits = NAN;
    for (int i = 0; i < count; i++) {
        const struct fact *fact = fact_set_at(facts, evidence->fact, i);
        if (fact != last && !(last && are_alike(evidence, last, fact)))
            bits = place_bits(evidence, facts, fact);
        last = fact;
        ret[i] = isnan(bits) || is_guarded(evidence, facts, i) ? NAN : bits;
    }
}

static int nearest_to(double mean, const double *bits, int count)
{
    double nearest = INFINITY;
    int found = 0;
    for (int i = 0; i < count; i++) {
        if (fabs(bits[i] - mean) < nearest) {
            nearest = fabs(bits[i] - mean);
            found = i;
        }
    }
    return found;
}

/* Of several complaints. */
static struct evidence_bits_said said_by_all(const struct rule_evidence *evidence,
                                             const struct fact_set *facts)
{
    enum { USUALLY = 32 };
    struct evidence_bits_said said = {NAN, 0, 0};
    double few[USUALLY], sum = 0;
    int count = facts->complaint_count;
    double *bits = count > USUALLY ? xmalloc((size_t)count * sizeof *bits) : few;
    bits_by_complaint(evidence, facts, count, bits);
    for (int i = 0; i < count; i++) {
        sum += isnan(bits[i]) ? 0 : bits[i];
        said.known += !isnan(bits[i]);
    }
    if (said.known) {
        said.bits = sum / said.known;
        said.complaint = nearest_to(said.bits, bits, count);
    }
    if (bits != few)
        free(bits);
    return said;
}

struct evidence_bits_said evidence_bits_said(const struct rule_evidence *evidence,
                                             const struct fact_set *facts, double pool_exponent)
{
    const struct rules *rules = facts->rules;
    bool own = by_complaint(rules, evidence->fact);
    bool each = own || by_complaint(rules, evidence->when.fact) ||
                by_complaint(rules, evidence->unless.fact);
    if (!each || facts->complaint_count == 1) {
        double bits = place_bits(evidence, facts, fact_set_at(facts, evidence->fact, 0));
        bool says = !isnan(bits) && !is_guarded(evidence, facts, 0);
        return (struct evidence_bits_said){says ? bits : NAN, says, 0};
    }
    struct evidence_bits_said said = said_by_all(evidence, facts);
    if (said.known > 1 && own && seen_by_each(&rules->facts[evidence->fact].name))
        said.bits *= pow(said.known, pool_exponent);
    return said;
}

/* The facts of one case, for one lot: one value a fact, or one a fact and complaint. */
#ifndef ODDLOAF_FACTS_FACT_SET_H
#define ODDLOAF_FACTS_FACT_SET_H

#include "facts/case_input.h"
#include "facts/lot_record.h"
#include "rules/rules.h"
#include <assert.h>

#define FACT_WORDS 4 /* of a list: more smells than that tell no more */

struct fact {
    bool known;
    int word_count; /* of a fact with words */
    const char *words[FACT_WORDS];
    double value;
    double target, usual, z; /* NAN if there is none */
    double bits;             /* company and models: log2 of a likelihood ratio */
    double observed, expected;
    int lots;      /* company: lots that share the factor */
    int rival;     /* company: 1 + the fact that explains the same excess better, 0: none does */
    int cleanings; /* of a sample of a place: how often that was cleaned between it and the lot */
    int64_t at_ms; /* of the newest record in it; WHEN_UNKNOWN_MS */
    const char *quantity; /* that stands for the rule's (facts/ingredient.h); NULL: the rule's */
};

struct fact_set {
    const struct rules *rules;       /* borrowed */
    const struct lot_record *record; /* a reference, NULL: lot not known */
    int complaint_count;
    struct fact *lot;        /* [rules->lot_slots] */
    struct fact *complaints; /* [complaint_count][rules->complaint_slots] */
};

void fact_set_init(struct fact_set *set, const struct rules *rules, int complaint_count);
void fact_set_clear(struct fact_set *set);
/* A fact by its number; `complaint` only matters to facts kept by complaint. Here, since a ranking
 * asks it thousands of times. */
static inline struct fact *fact_set_at(const struct fact_set *set, int fact, int complaint)
{
    assert(fact >= 0 && fact < set->rules->fact_count);
    const int kept = set->rules->kept[fact];
    if (kept >= 0)
        return &set->lot[kept];
    assert(complaint >= 0 && complaint < set->complaint_count);
    return &set->complaints[complaint * set->rules->complaint_slots - 1 - kept];
}
/* The name a fact is told by: the rule's, or of a quantity that stands for the rule's. */
struct fact_name fact_set_name(const struct fact_set *set, int fact, const struct fact *of);
/* Whether a quantity of a place is a sample of what it carries: colonies, or residues. */
bool fact_set_is_sample(const char *quantity);
void fact_set_number(struct fact *fact, double value); /* NAN: stays unknown */
void fact_set_word(struct fact *fact, const char *word);

#endif

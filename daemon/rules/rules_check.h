/* Inside the loader: what causes, questions and the ranking's numbers have in common. The rules
 * being built are the document's context. */
#ifndef ODDLOAF_RULES_RULES_CHECK_H
#define ODDLOAF_RULES_RULES_CHECK_H

#include "base/doc.h"
#include "rules/rules.h"

extern const char *const RULES_CHECK_EFFORT[];  /* what looking something up costs */
extern const char *const RULES_CHECK_READERS[]; /* by enum rule_reader; who does a check: not the
                                                   first */

/* Numbers the fact that the text at the place names; -1 after a fault. `change` NULL but for
 * models. */
int rules_check_fact(const struct doc_place *place, const struct change *change);
/* Whether a fact has words, and this among them; true of a fact that is not known. */
bool rules_check_word(const struct fact_name *name, const char *word);
/* The name of a fact of the rules being built, NULL for -1. */
const struct fact_name *rules_check_name(const struct doc_place *place, int fact);

/* For rows. `part`: a struct rule_guard that rules_check_no_guard() began. */
void rules_check_guard(const struct doc_place *place, void *part);
struct rule_guard rules_check_no_guard(void);
/* `part`: unsigned, bits of the symptoms listed. */
void rules_check_symptom(const struct doc_place *place, void *part);

struct rules_check_curve {
    double low, high;          /* that y may be */
    struct rule_point *points; /* the caller's; NULL after a fault */
    int count;
};
/* `part`: a struct rules_check_curve. Two points or more, x increasing. */
void rules_check_curve(const struct doc_place *place, void *part);

/* The id of a caution that is on file. */
void rules_check_mind(const struct doc_place *place, void *part);

/* The files. */
void rules_check_cautions(struct doc *doc, const char *file_stem);
void rules_check_cause(struct doc *doc, const char *file_stem);
void rules_check_asks(struct doc *doc, const char *file_stem);
void rules_check_ranking(struct doc *doc, const char *file_stem);

void rules_cause_evidence_free(struct rule_evidence *evidence);
void rules_check_guard_free(struct rule_guard *guard);

#endif

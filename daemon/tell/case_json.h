/* Inside tell/: a ranked case as JSON, and the pieces that every view of it is made of. */
#ifndef ODDLOAF_TELL_CASE_JSON_H
#define ODDLOAF_TELL_CASE_JSON_H

#include "base/jsonx.h"
#include "rank/case_rank.h"

/* The ranking as others see it; takes the reference of `asks`, which may be NULL. */
json_t *case_json_rank(const struct triage *triage, const struct case_rank *ranked, json_t *asks);
/* What whoever logs a complaint is told of its case (tell_brief()); takes `asks` as well. */
json_t *case_json_brief(const struct triage *triage, const struct case_rank *ranked, json_t *asks);
/* {"fact","value","target","unit","bits","because"} and, with `full`, what `why` adds. */
/* "harm" and "harm_possible", for whatever is told of a case. */
void case_json_harm(const struct case_rank *ranked, json_t *into);
/* "harms", if any is reported: [{"complaint","at","harm"}], which complaints tell of what. */
void case_json_harms(const struct triage *triage, const struct case_rank *ranked, json_t *into);
/* What is to be minded first, if harm is reported or may be. */
void case_json_harm_caution(const struct case_rank *ranked, json_t *list);
/* What packs need to be minded for that are so (blown up), whatever the symptom; for the desk, or
 * for all others. */
void case_json_bag_cautions(const struct triage *triage, const struct case_input *input, bool desk,
                            json_t *list);
json_t *case_json_item(const struct triage *triage, const struct case_rank *ranked,
                       const struct rule_cause *cause, const struct rank_item *item, bool full);
enum { CASE_ITEMS = 8 }; /* told for a cause, and as many against it */
/* What is told to speak for or against a cause, strongest first; returns how many. */
int case_json_items(const struct rank_cause *cause, bool speaks_for,
                    const struct rank_item *ret[CASE_ITEMS]);
/* Does nothing but what one caller said speak for the cause? */
bool case_json_words_alone(const struct triage *triage, const struct case_rank *ranked,
                           const struct rank_cause *cause);
/* A fact's value: a number, a word, a list of words; JSON null if unknown. */
json_t *case_json_value(const struct fact *fact);
/* Questions whose answers can change what is done, by expected gain; the caller's first if `desk`.
 * At most `limit`. */
json_t *ask_json(const struct triage *triage, const struct case_rank *ranked, bool desk, int limit);
/* RFC 3339 in the time of the plant of that name, "" the company's. */
json_t *case_json_when(const struct triage *triage, const char *plant, int64_t ms);
/* Whose the lot is of which facts are shown; "" none's. */
const char *case_json_plant(const struct case_rank *ranked);

#endif

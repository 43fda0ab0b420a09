/* Inside the loader: in what the rules of one plant must be those of its company, so that lists and
 * weeks of all plants may count them together, and no caution of the company's is switched off. */
#ifndef ODDLOAF_RULES_RULES_ALIKE_H
#define ODDLOAF_RULES_RULES_ALIKE_H

#include "base/doc.h"
#include "rules/catalogue.h"
#include "rules/rules.h"

/* The plant's file of a cause, open in `doc`: title, symptoms (which, not how likely), background
 * and after_dispatch are the company's; its cautions are among the plant's, and so are those of a
 * check or an action that both have in the same words. */
void rules_alike_cause(struct doc *doc, const struct rule_cause *company,
                       const struct rule_cause *own);
/* Preserving ingredients are the same, whatever their strengths. `path`: the plant's file. */
void rules_alike_catalogue(struct doc *doc, const char *path, const struct catalogue *company,
                           const struct catalogue *own);

#endif

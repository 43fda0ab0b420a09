/* Which lot, and how sure: the daemon's own words (its lots/standing.h), the candidates beneath. */
#ifndef ODDLOAF_CLIENT_SHOW_STANDING_H
#define ODDLOAF_CLIENT_SHOW_STANDING_H

#include "show/view.h"
#include <jansson.h>

/* In few words, where a code would stand: "likely L2 6321 B0412", "lot not known". Lives as long as
 * the document. */
const char *standing_named(const json_t *document);
/* May one lot be named alone, with what is on record of it? */
bool standing_names_one(const json_t *document);
bool standing_is_exact(const json_t *document);
/* The sentence; where one lot is named and `lot` (may be NULL) knows more of it, that too. Caller
 * frees. */
char *standing_text(const json_t *document, const json_t *lot);
/* Candidates, what would decide, and what is in doubt, each where there is any. */
void standing_show_rest(const struct view *v, const json_t *document);
/* All of it, with the label "lot". */
void standing_show(const struct view *v, const json_t *document, const json_t *lot);

#endif

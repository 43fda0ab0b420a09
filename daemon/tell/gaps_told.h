/* Inside gaps: what a record would tell, from ranking cases twice. */
#ifndef ODDLOAF_TELL_GAPS_TOLD_H
#define ODDLOAF_TELL_GAPS_TOLD_H

#include "tell/gaps.h"

/* Adds to `into` "cases", "months" and "tells":[{"kind","what","with","without","share","gain":
 * {"bits","low","high"}|null,"more_a_month":{"cases","low","high"}|null,"says"}].
 *
 * The newest cases whose lot is known are ranked as they stand and once more for each record that
 * some of their lots have and some lack, from a store without any of it: their own facts, the
 * usual of their product, predictions and company evidence are all worked out anew. What it told is
 * how far all cases moved by it, those of other lots included (relative entropy, in bits); what it
 * would tell if all lots had it grows as the lots that have it, or as their square where lots share
 * it (uses). The range of the bits: chance over weeks of receipt, since cases of a week share a
 * trouble, and what simulated plants showed beside it (DEVELOPERS.md says how often it held). That
 * of the cases a month: chance, and one case more; "says" tells no number where it holds 0. Null:
 * too few cases to tell, no lot lacks it, or the time was over. Of `query->only` no rule reads:
 * ERROR_INVALID. */
int gaps_told(struct triage *triage, struct store *store, const struct gaps_query *query,
              int64_t since_ms, json_t *into, struct error *err);

#endif

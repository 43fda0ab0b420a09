/* What the records lack. */
#ifndef ODDLOAF_TELL_GAPS_H
#define ODDLOAF_TELL_GAPS_H

#include "rank/triage.h"
#include "store/store.h"
#include <jansson.h>

struct gaps_query {
    int weeks;        /* of packing, up to that of the newest lot */
    int64_t cases_ms; /* how far back cases are looked at */
};

/* {"from","to","records":[{"kind","what","line","lots","with","share","weeks":[{"week","lots",
 * "with"}]}], "still":[{"line","quantity","value","times","since"}], "drifted":[{"line","quantity",
 * "usual","now","z"}], "cases","months","tells":[{"kind","what","with","without","share","bits",
 * "settles","more_a_month","says"}]}: per line and kind how many lots have such a record; values
 * that repeat themselves; values that left their usual; and what each record told in the cases
 * whose lots have it: bits of entropy it took away, cases whose first cause reached 80 % by it
 * alone, and how many more a month that would be if the lots that lack it had it. Lists are sorted,
 * the most telling first. Facts of models that a record goes into are not counted to it. */
int gaps_tell(struct triage *triage, struct store *store, const struct gaps_query *query,
              json_t **ret, struct error *err);

#endif

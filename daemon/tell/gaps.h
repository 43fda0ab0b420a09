/* What the records lack. */
#ifndef ODDLOAF_TELL_GAPS_H
#define ODDLOAF_TELL_GAPS_H

#include "rank/triage.h"
#include "store/store.h"
#include "store/without.h"
#include <jansson.h>

struct gaps_query {
    const char *plant;          /* its lots and cases alone; NULL or "": all */
    int weeks;                  /* of packing, up to that of the newest lot */
    int64_t cases_ms;           /* how far back cases are looked at */
    int64_t within_ms;          /* time for ranking them again */
    const struct without *only; /* the one record that is measured; NULL: all */
};

/* {"from","to","records":[{"kind","what","line","lots","with","share","weeks":[{"week","lots",
 * "with"}]}], "late":[…], "still":[{"line","quantity","value","times","since"}],
 * "drifted":[{"line","quantity", "usual","now","z"}], "cases","months","tells":[…]}: per line and
 * kind how many lots have such a record; which came late (gaps_late.h); values that repeat
 * themselves; values that left their usual; and what each record would tell (gaps_told.h). Lists
 * are sorted. Takes as long as `within_ms` and a little more. */
int gaps_tell(struct triage *triage, struct store *store, const struct gaps_query *query,
              json_t **ret, struct error *err);

#endif

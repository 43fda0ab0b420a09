/* A complaint whose id is on record already: the same sent twice, or other content under its id. */
#ifndef ODDLOAF_DESK_REPEATED_H
#define ODDLOAF_DESK_REPEATED_H

#include "intake/complaint_form.h"
#include "store/store.h"

/* 0: it is as it was sent before, or as it stands by now. ERROR_CONFLICT: it says otherwise; *ret
 * (new reference) lists the differences [{"field","value","kept","reason"}], `kept` as on record,
 * null where one of both says nothing. `sent`: as it came, JSON as store/entry.h has it. */
int repeated_check(struct store *store, const struct complaint_form *form, const char *sent,
                   json_t **ret, struct error *err);

#endif

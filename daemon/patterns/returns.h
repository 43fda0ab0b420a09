/* Returns: how much of what was sent out came back, from where and why, and where it stands. */
#ifndef ODDLOAF_PATTERNS_RETURNS_H
#define ODDLOAF_PATTERNS_RETURNS_H

#include "base/error.h"
#include "base/when.h"
#include "store/store.h"
#include <jansson.h>

struct catalogue;

struct returns_query {
    int32_t from_day, to_day;          /* [from, to] */
    const struct catalogue *catalogue; /* tells places apart; may be NULL */
    const char *plant;                 /* of that plant alone; NULL or "": all */
};
/* Returns received on those days of the plant's zone (`tz` NULL: UTC):
 * {"from","to","returns","units","dispatched","on_record","share","low","high","per_million","per_million_low",
 *  "per_million_high","by":{"route":[…],"store":[…],"product":[…],"reason":[…],"symptom":[…],
 *  "disposition":[…]},"stand":[{"complaint","case","at","put_at","units","caution"}]}
 * A route is its plant's ("plant" beside "level", where one is named).
 * Rows of route, store and product: {"level","returns","units","dispatched", and the rates}; of the
 * others {"level","returns","units","share" of the units that came back}. Rates are absent where
 * nothing was dispatched, and where no return is on record at all ("on_record" false): nobody
 * knows then that none came back.
 *
 * `share` is units back over units dispatched in the same days, low and high its exact 95 % limits
 * (Garwood 1936 Biometrika 28:437) as if units came back one by one; per_million counts returns,
 * which do come one by one, over a million units dispatched. A level's real uncertainty is nearer
 * to the latter. `stand`: goods that stand where they must not or nobody has said where; at most
 * 50, newest first. New reference. */
int returns_report(struct store *store, const struct tz *tz, const struct returns_query *query,
                   json_t **ret, struct error *err);

#endif

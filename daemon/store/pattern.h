/* What the weekly pattern counts. Text of a row lives until its callback returns; a callback's
 * non-zero answer stops and is returned. */
#ifndef ODDLOAF_STORE_PATTERN_H
#define ODDLOAF_STORE_PATTERN_H

#include "store/store.h"

struct pattern_row {
    const char *factor, *level, *symptom; /* factor "": all together; symptom "" of units */
    int64_t count;
};
typedef int (*pattern_each)(void *arg, const struct pattern_row *row);

/* Complaints received in [from, to), by all together, line, product, shift and route. */
int pattern_received(struct store *store, int64_t from_ms, int64_t to_ms, pattern_each each,
                     void *arg, struct error *err);
/* Units of the lots packed in [from, to); by route, the units sent there. */
int pattern_packed(struct store *store, int64_t from_ms, int64_t to_ms, pattern_each each,
                   void *arg, struct error *err);

struct pattern_case {
    int64_t case_id, complaints;             /* of the period */
    const char *symptom, *ranking, *verdict; /* newest ranking's body; "" where there is none */
};
typedef int (*pattern_case_each)(void *arg, const struct pattern_case *row);
/* Cases with complaints received in [from, to). */
int pattern_cases(struct store *store, int64_t from_ms, int64_t to_ms, pattern_case_each each,
                  void *arg, struct error *err);

struct pattern_lot {
    int64_t lot_id, packed_from_ms, units, complaints;
};
typedef int (*pattern_lot_each)(void *arg, const struct pattern_lot *row);
/* Lots packed in [from, to) on a line ("" any) with their complaints of a symptom ("" any) received
 * before `until_ms`. */
int pattern_lots(struct store *store, const char *line, const char *symptom, int64_t from_ms,
                 int64_t to_ms, int64_t until_ms, pattern_lot_each each, void *arg,
                 struct error *err);

#endif

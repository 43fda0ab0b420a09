/* What the records of a stretch of packing have and lack, by plant and line. Texts live until the
 * callback returns; its non-zero answer stops and is returned. */
#ifndef ODDLOAF_STORE_RECORD_GAPS_H
#define ODDLOAF_STORE_RECORD_GAPS_H

#include "base/record_kind.h"
#include "store/store.h"
#include "store/without.h"

/* When packing of the newest lot of that plant (NULL or "": of all) began; WHEN_UNKNOWN_MS if there
 * is none. */
int record_gaps_newest(struct store *store, const char *plant, int64_t *ret_ms, struct error *err);

struct record_gaps_of {
    struct when_span packed;
    const char *plant; /* its lots alone; NULL or "": all */
};

struct record_gap {
    enum record_kind kind; /* lots, mixes, uses, readings, dispatch */
    const char *what;      /* of uses the material, of readings the quantity; else "" */
    const char *plant, *line;
    int64_t lots; /* of those packed in the span, which have such a record; of lots all */
    int64_t of; /* … of how many that can have it: of uses those of products of which a lot of the
                   month before has the material; -1 all of the line */
};
typedef int (*record_gap_each)(void *arg, const struct record_gap *one);
int record_gaps_list(struct store *store, const struct record_gaps_of *of, record_gap_each each,
                     void *arg, struct error *err);

/* Is the material in none of the lots of the lot's product, though in others? */
int record_gaps_has_no_place(struct store *store, int64_t lot_id, const char *material, bool *ret,
                             struct error *err);
/* Whether a lot has such a record. */
int record_gaps_has(struct store *store, int64_t lot_id, const struct without *what, bool *ret,
                    struct error *err);

struct record_value {
    const char *plant, *line, *quantity;
    int64_t at_ms;
    double value;
};
typedef int (*record_value_each)(void *arg, const struct record_value *one);
/* Readings of the lots packed in the span, by plant, line, quantity and time. */
int record_gaps_values(struct store *store, const struct record_gaps_of *of, record_value_each each,
                       void *arg, struct error *err);

#endif

/* What stands around a lot: the lots packed before and after it on its line, the samples kept back
 * of it, and complaints that may be about it. */
#ifndef ODDLOAF_STORE_LOT_AROUND_H
#define ODDLOAF_STORE_LOT_AROUND_H

#include "base/length.h"
#include "store/store.h"

struct lot_around_row {
    int64_t lot_id, packed_from_ms, packed_to_ms;
    int complaints;            /* of its cases */
    const char *lot, *product; /* live until the callback returns */
    bool before;
};
typedef int (*lot_around_each)(void *arg, const struct lot_around_row *row);
/* Up to `most` lots before and as many after it on its plant's line, in order of packing. */
int lot_around_line(struct store *store, int64_t lot_id, int most, lot_around_each each, void *arg,
                    struct error *err);

struct lot_around_sample {
    const char *quantity, *note; /* live until the callback returns */
    double value;
    int64_t at_ms;
};
typedef int (*lot_around_sample_each)(void *arg, const struct lot_around_sample *row);
/* Readings of a quantity that retained samples are read for, each with its note; the first hundred.
 */
int lot_around_samples(struct store *store, int64_t lot_id, const char *quantity,
                       lot_around_sample_each each, void *arg, struct error *err);

/* Complaints of which it is a candidate, their lot open. */
int lot_around_may_be(struct store *store, int64_t lot_id, int64_t *ret_count, struct error *err);

#endif

/* One lot's records in memory: readings by quantity (and what follows from mixes and uses),
 * targets, material lots, dispatches. Immutable, shared, cached. */
#ifndef ODDLOAF_FACTS_LOT_RECORD_H
#define ODDLOAF_FACTS_LOT_RECORD_H

#include "base/length.h"
#include "facts/cache.h"
#include "rules/catalogue.h"
#include "rules/rules.h"
#include "store/evidence.h"

struct lot_value {
    double value;
    int64_t at_ms;
};
struct lot_series {
    char quantity[LENGTH_WORD + 1];
    bool computed; /* from mixes and uses rather than read */
    int first, count;
    double target, low, high; /* of the product when the lot was packed; NAN */
};
/* What a laboratory found, or a retained sample showed, of the lot. It tells of the bread as it was
 * packed, whenever the test was made. */
struct lot_result {
    char quantity[LENGTH_WORD + 1];
    double value;               /* NAN: a word */
    char word[LENGTH_WORD + 1]; /* one of the rules', or "" */
};
struct lot_use {
    char material[LENGTH_CODE + 1], material_lot[LENGTH_CODE + 1], supplier[LENGTH_NAME + 1];
    char kind[PRESERVER_KIND + 1]; /* of preserving ingredient, "" not told */
    bool on_surface;
    double kg, active_pct; /* NAN unknown */
    int64_t first_ms;      /* first use of this material lot in the plant */
};
struct lot_dispatch {
    char route[LENGTH_CODE + 1], store[LENGTH_CODE + 1];
    int64_t at_ms, units;
    double transit_c;
};

struct lot_record {
    struct cache_object cached;
    struct evidence_lot lot;
    struct lot_series *series; /* also those that only have a target (count 0) */
    int series_count;
    struct lot_value *values; /* of all series, by time within each */
    int value_count;
    struct lot_use *uses;
    int use_count;
    double flour_kg; /* of all mixes; 0 unknown */
    int64_t *mix_at_ms;
    char (*mixes)[LENGTH_CODE + 1];
    int mix_count;
    struct lot_dispatch *dispatches;
    int dispatch_count;
    struct lot_result *results;
    int result_count;
};

/* The plant's records as a store has them, with the stamp of what is kept of them. */
struct lot_records {
    struct store *store;
    const struct rules *rules; /* by which preserving ingredients are named; borrowed */
    const struct tz *tz;       /* by which a lot is packed on the day a recipe changes; borrowed */
    int64_t serial;            /* store/company_count.h */
};
/* As they stand now. Caches of records are of one set of rules. */
int lot_record_all(struct store *store, const struct rules *rules, const struct tz *tz,
                   struct lot_records *ret, struct error *err);
/* A new reference. ERROR_NOT_FOUND for an unknown lot. */
int lot_record_get(struct cache *cache, const struct lot_records *records, int64_t lot_id,
                   const struct lot_record **ret, struct error *err);
void lot_record_unref(const struct lot_record *record);

const struct lot_series *lot_record_series(const struct lot_record *record, const char *quantity);
/* Values read until `as_of_ms`: how many, and their median, least and largest (NAN if none). */
struct lot_summary {
    int count;
    double median, min, max;
    int64_t last_ms;
};
struct lot_summary lot_record_summary(const struct lot_record *record,
                                      const struct lot_series *series, int64_t as_of_ms);
/* The same of a quantity with all that is known of it besides the plant's readings. What a
 * laboratory found of the lot stands for them, since it is known by method and sample: the readings
 * are shown beside it and weigh nothing. `found` of `count`: of packs in hand, which tell more than
 * the lot's other loaves: the middle of theirs beside that of the former. */
struct lot_summary lot_record_with(const struct lot_record *record, const char *quantity,
                                   const double *found, int count, int64_t as_of_ms);

/* How long the oldest lot of each material in it had been in use when it was made; NAN unknown. */
void lot_record_ages(const struct lot_record *record, double ret_days[MATERIALS]);

#endif

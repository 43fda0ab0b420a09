/* Inside company evidence: the lots packed on one (UTC) day, and the complaints on them. */
#ifndef ODDLOAF_FACTS_COMPANY_DAY_H
#define ODDLOAF_FACTS_COMPANY_DAY_H

#include "facts/cache.h"
#include "store/store.h"

struct day_share {
    uint64_t key;  /* hash of the level */
    uint64_t also; /* of a store: its route */
    double units;  /* of dispatches */
    int factor;
};
struct day_lot {
    int64_t lot_id, product_id, packed_from_ms, packed_to_ms;
    double units;
    uint64_t line, shift;
    int first_share, share_count;
};
struct day_lots {
    struct cached cached;
    struct day_lot *lots; /* by id */
    int count;
    struct day_share *shares;
    int share_count;
};
struct day_report {
    int64_t lot_id, received_ms;
    uint64_t store, route; /* 0 not given */
};
struct day_reports {
    struct cached cached;
    struct day_report *reports; /* by lot */
    int count;
};

int day_lots_get(struct cache *cache, struct store *store, int32_t day, int64_t stamp,
                 const struct day_lots **ret, struct error *err);
int day_reports_get(struct cache *cache, struct store *store, int symptom, int32_t day,
                    int64_t stamp, const struct day_reports **ret, struct error *err);
const struct day_lot *day_lots_find(const struct day_lots *lots, int64_t lot_id);

/* Level keys. */
uint64_t day_key(const char *kind, const char *level);

#endif

/* Inside company evidence: what the lots of a day share. */
#ifndef ODDLOAF_FACTS_COMPANY_SHARES_H
#define ODDLOAF_FACTS_COMPANY_SHARES_H

#include "facts/company_day.h"

struct company_share {
    uint64_t key;  /* hash of the level, of what is a plant's own with it */
    uint64_t also; /* of a store: its route */
    double units;  /* of dispatches */
    int factor;
    int lot; /* index of whose it is in the day's lots */
};
/* Who shares a level: its shares, by lot. */
struct company_shares_level {
    uint64_t key;
    int factor;
    int first, count; /* in by_level */
};
struct company_shares {
    struct cache_object cached;
    struct company_share *shares; /* by lot, factor and key */
    int count;
    int *by_level;                       /* indices of shares, by level and lot */
    struct company_shares_level *levels; /* by factor and key */
    int level_count;
};
enum company_shared {
    COMPANY_MADE,  /* mixes, material lots, suppliers */
    COMPANY_TRADED /* routes and stores */
};
struct company_shares_of {
    enum company_shared what;
    const struct company_day_lots *lots; /* of that day, read of the same state */
};
int company_shares_get(struct cache *cache, struct store *store, struct company_day day,
                       const struct company_shares_of *of, const struct company_shares **ret,
                       struct error *err);
/* NULL: no lot of that day shares it. */
const struct company_shares_level *company_shares_find(const struct company_shares *shares,
                                                       int factor, uint64_t key);
/* Whether the lot with this index went to the store, and on which route; 0: it did not. */
uint64_t company_shares_route(const struct company_shares *shares, int lot, uint64_t store);

#endif

/* Inside company evidence: the lots packed on one (UTC) day, and the complaints on them. */
#ifndef ODDLOAF_FACTS_COMPANY_DAY_H
#define ODDLOAF_FACTS_COMPANY_DAY_H

#include "facts/cache.h"
#include "store/store.h"

struct company_day_lot {
    int64_t lot_id, product_id, packed_from_ms, packed_to_ms;
    double units;
    uint64_t plant, line, shift; /* plant 0: none is named */
};
struct company_day_lots {
    struct cache_object cached;
    struct company_day_lot *lots; /* by id */
    int count;
};
struct company_day_report {
    int64_t lot_id, received_ms;
    uint64_t store, route; /* 0 not given */
};
struct company_day_reports {
    struct cache_object cached;
    struct company_day_report *reports; /* by lot */
    int count;
};

struct company_day {
    int32_t packed_day; /* UTC */
    int64_t stamp;      /* of the data that are read of it */
};
int company_day_lots_get(struct cache *cache, struct store *store, struct company_day day,
                         const struct company_day_lots **ret, struct error *err);
int company_day_reports_get(struct cache *cache, struct store *store, int symptom,
                            struct company_day day, const struct company_day_reports **ret,
                            struct error *err);
const struct company_day_lot *company_day_lots_find(const struct company_day_lots *lots,
                                                    int64_t lot_id);
int32_t company_day_of(int64_t ms);
struct when_span company_day_span(struct company_day day);

/* Level keys. */
uint64_t company_day_key(const char *kind, const char *level);
uint64_t company_day_plant(const char *plant); /* 0 of "" */
/* A level that is a plant's own: its routes and mixes. Materials and stores are nobody's. */
uint64_t company_day_own(uint64_t key, uint64_t plant);
/* Plants number their mixes anew every day: the same mix has the same time, too. */
uint64_t company_day_mix(const char *mix, int64_t at_ms);

#endif

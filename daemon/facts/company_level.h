/* Inside company evidence: what one lot is made of, and who shares it. */
#ifndef ODDLOAF_FACTS_COMPANY_LEVEL_H
#define ODDLOAF_FACTS_COMPANY_LEVEL_H

#include "base/length.h"
#include "facts/company_day.h"
#include "facts/lot_record.h"

/* A level that a lot shares with others, as it is looked for. */
struct company_level {
    uint64_t key;
    int factor;
    char kind[LENGTH_NAME + 1], name[LENGTH_NAME + 1];
    int64_t at_ms;     /* of a mix */
    const char *plant; /* of a mix, borrowed */
};
/* What a lot is made of, by factor and key; a level once for each time that it is named. */
struct company_levels {
    struct company_level *level;
    int count;
    const char *plant; /* of the lot, borrowed */
};
int company_level_list(struct store *store, int64_t lot_id, const char *plant,
                       struct company_levels *ret, struct error *err);

/* All lots that share a level, by day of packing and id. */
struct company_sharer {
    int64_t lot_id;
    int32_t packed_day;
};
struct company_sharers {
    struct cache_object cached;
    int count; /* -1: too many to list, or by supplier: go by day */
    struct company_sharer *lots;
};
int company_level_sharers(struct cache *cache, const struct lot_records *records,
                          const struct company_level *level, const struct company_sharers **ret,
                          struct error *err);

#endif

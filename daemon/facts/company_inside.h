/* Inside company evidence: what a view holds. */
#ifndef ODDLOAF_FACTS_COMPANY_INSIDE_H
#define ODDLOAF_FACTS_COMPANY_INSIDE_H

#include "facts/company.h"
#include "facts/company_day.h"
#include "facts/company_history.h"
#include "facts/company_level.h"
#include "facts/company_shares.h"

enum {
    COMPANY_BEFORE_DAYS = 42,
    COMPANY_AFTER_DAYS = 14,
    COMPANY_DAYS = COMPANY_BEFORE_DAYS + COMPANY_AFTER_DAYS + 1,
    COMPANY_LINE_HOURS = 6
};

struct company_view_lot {
    const struct company_day_lot *lot;
    double reported; /* share of its complaints to be in by now */
    double expected;
    int observed;
    int product; /* while expectations are worked out */
};

struct level {
    int lots;
    double observed, expected;
};
/* A level that the view's lot shares, and who shares it. */
struct company_own {
    int factor;
    bool again; /* the one before is the same level: nobody is listed twice */
    int *lots;  /* indices in the view's lots, in their order */
    int count;
};

struct company_view {
    struct cache_object cached;
    int symptom;
    int32_t from_day;
    int64_t as_of_ms, packed_from_ms, own_id, product_id;
    uint64_t own_plant, own_line, own_shift;
    const struct company_history *history;
    const struct company_day_lots *days[COMPANY_DAYS];
    const struct company_day_reports *reports[COMPANY_DAYS];
    int first[COMPANY_DAYS]; /* index in `lots` of each day's first */
    int day_count;
    struct company_view_lot *lots;
    int lot_count, own;   /* own: index, -1 */
    struct cache *shares; /* of days; the company's */
    struct company_own *levels;
    int level_count;
    double base;       /* complaints a unit */
    double attributed; /* share of complaints that name a store or a route */
    struct company_factor factors[FACTORS];
    struct company_factor lot_and_line;
    char plant[LENGTH_CODE + 1];
};

/* Works out view->factors. */
void company_fill_factors(struct company_view *view);
struct company_factor company_factor_of(double observed, double expected, int lots);
void company_level_add(struct level *level, const struct company_view_lot *lot);
/* Whether a lot was packed within so many days of the view's own. */
bool company_near(const struct company_view *view, const struct company_day_lot *lot, int days);
/* Who shares the levels of the view's own lot; nobody, if it is not there. `levels`: a cache. */
int company_own_find(struct cache *days, struct cache *levels, const struct lot_records *records,
                     struct company_view *view, struct error *err);
void company_own_clear(struct company_view *view);

#endif

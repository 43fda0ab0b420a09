#include "facts/company.h"
#include "base/text.h"
#include "facts/company_inside.h"
#include "store/company_count.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { WINDOW_DAYS = COMPANY_DAYS };
/* a view holds all lots of its window: only the last few are kept */
enum { DAY_CACHE = 1024, LEVEL_CACHE = 1024, VIEW_CACHE = 8, HISTORY_CACHE = 256 };

/* No source: a handful, so that a plant's or a product's first complaint is no rate yet. */
#define BASE_WEIGHT 5.0    /* complaints that the shipped base rate counts for */
#define PRODUCT_WEIGHT 4.0 /* complaints that the plant's rate counts for in a product's */

struct company {
    struct cache *days, *levels, *views, *histories;
};

struct company *company_new(void)
{
    struct company *company = xcalloc(1, sizeof *company);
    company->days = cache_new(DAY_CACHE);
    company->levels = cache_new(LEVEL_CACHE);
    company->views = cache_new(VIEW_CACHE);
    company->histories = cache_new(HISTORY_CACHE);
    return company;
}

void company_free(struct company *company)
{
    if (!company)
        return;
    cache_free(company->views);
    cache_free(company->histories);
    cache_free(company->levels);
    cache_free(company->days);
    free(company);
}

/* ---- a view ---- */

static void destroy_view(struct cache_object *cached)
{
    struct company_view *view = (struct company_view *)(void *)cached;
    for (int i = 0; i < view->day_count; i++) {
        cache_object_unref((void *)view->days[i]);
        cache_object_unref((void *)view->reports[i]);
    }
    cache_object_unref((void *)view->history);
    company_own_clear(view);
    free(view->lots);
    free(view);
}

/* The days of packing that a view looks at, and what it is made from. */
struct window {
    int32_t from_day;
    int days;
    int64_t serial_of_day[WINDOW_DAYS], serials; /* of complaints; their sum */
    const struct company_history *history;
    int64_t stamp; /* of all that */
};

static int take_serial(void *arg, const struct company_day_row *row)
{
    struct window *window = arg;
    window->serial_of_day[row->packed_day - window->from_day] = row->serial;
    window->serials += row->serial;
    return 0;
}

static int load_days(struct company *company, const struct lot_records *records,
                     const struct window *window, struct company_view *view, struct error *err)
{
    for (int i = 0; i < window->days; i++) {
        const struct company_day_lots *lots = NULL;
        const struct company_day_reports *reports = NULL;
        struct company_day day = {window->from_day + i, records->serial};
        int rc = company_day_lots_get(company->days, records->store, day, &lots, err);
        /* a corrected lot may pack on another day now */
        day.stamp = cache_stamp(records->serial, window->serial_of_day[i]);
        if (!rc)
            rc = company_day_reports_get(company->days, records->store, view->symptom, day,
                                         &reports, err);
        if (rc) {
            cache_object_unref((void *)lots);
            return rc;
        }
        view->days[i] = lots;
        view->reports[i] = reports;
        view->day_count = i + 1;
        view->lot_count += lots->count;
    }
    return 0;
}

static void count_reports(struct company_view *view, const struct company_day_reports *reports,
                          struct company_view_lot *first, int count, double *ret_named,
                          double *ret_all)
{
    int at = 0;
    for (int i = 0; i < reports->count; i++) {
        const struct company_day_report *report = &reports->reports[i];
        if (report->received_ms > view->as_of_ms)
            continue;
        while (at < count && first[at].lot->lot_id < report->lot_id)
            at++;
        if (at < count && first[at].lot->lot_id == report->lot_id)
            first[at].observed++;
        *ret_all += 1;
        *ret_named += report->store || report->route;
    }
}

static void list_lots(struct company_view *view)
{
    double named = 0, all = 0;
    int at = 0;
    view->lots = xcalloc((size_t)view->lot_count + 1, sizeof *view->lots);
    view->own = -1;
    for (int d = 0; d < view->day_count; d++) {
        const struct company_day_lots *day = view->days[d];
        struct company_view_lot *first = &view->lots[at];
        view->first[d] = at;
        for (int i = 0; i < day->count; i++) {
            const struct company_day_lot *lot = &day->lots[i];
            double days = (double)(view->as_of_ms - lot->packed_from_ms) / (double)WHEN_DAY_MS;
            if (lot->lot_id == view->own_id)
                view->own = at;
            view->lots[at++] = (struct company_view_lot){
                lot, company_history_reported(view->history, days), 0, 0, -1};
        }
        count_reports(view, view->reports[d], first, day->count, &named, &all);
    }
    /* (n + 1/2) / (N + 1): never none or all, whatever the first complaints say */
    view->attributed = (named + 0.5) / (all + 1);
}

/* One lot in deep trouble must not raise what is usual: each lot counts for no more than is
 * plausible at the usual rate. */
static double trimmed(const struct company_view_lot *lot, double base)
{
    double expected = base * lot->lot->units * lot->reported;
    return fmin(lot->observed, fmax(1, ceil(expected + 2 * sqrt(expected))));
}

/* Products of the window, each plant's apart; those beyond the table have the rate of all. */
enum { PRODUCTS = 64, PRODUCT_SLOTS = 4 * PRODUCTS };
struct products {
    uint64_t ids[PRODUCT_SLOTS];
    int known;
    bool used[PRODUCT_SLOTS];
    double complaints[PRODUCT_SLOTS], exposure[PRODUCT_SLOTS], base[PRODUCT_SLOTS];
};

/* -1: no room. */
static int slot_of(struct products *products, uint64_t id)
{
    uint64_t slot = id * UINT64_C(0x9e3779b97f4a7c15) >> 32;
    for (slot %= PRODUCT_SLOTS; products->used[slot]; slot = (slot + 1) % PRODUCT_SLOTS)
        if (products->ids[slot] == id)
            return (int)slot;
    if (products->known == PRODUCTS)
        return -1;
    products->known++;
    products->used[slot] = true;
    products->ids[slot] = id;
    return (int)slot;
}

/* Sums over the window's lots, in their order. */
static double expose(struct company_view *view, struct products *products, double exposure)
{
    for (int i = 0; i < view->lot_count; i++) {
        struct company_view_lot *lot = &view->lots[i];
        double own = lot->lot->units * lot->reported;
        exposure += own;
        lot->product =
            slot_of(products, company_day_own((uint64_t)lot->lot->product_id, lot->lot->plant));
        if (lot->product >= 0)
            products->exposure[lot->product] += own;
    }
    return exposure;
}

/* The lots with complaints: the others add nothing to any count. */
static int *complained(const struct company_view *view, int *ret_count)
{
    int *lots = xcalloc((size_t)view->lot_count + 1, sizeof *lots);
    *ret_count = 0;
    for (int i = 0; i < view->lot_count; i++)
        if (view->lots[i].observed > 0)
            lots[(*ret_count)++] = i;
    return lots;
}

static void expect(struct company_view *view, const struct rules *rules)
{
    double shipped = rules->ranking.base_per_million[view->symptom] / 1e6;
    struct products *products = xcalloc(1, sizeof *products);
    int count, *lots = complained(view, &count);
    double exposure = expose(view, products, view->history->units);
    view->base =
        (view->history->complaints + BASE_WEIGHT) / (view->history->units + BASE_WEIGHT / shipped);
    /* how much of a lot counts depends on the rate, and the rate on that: twice is near enough */
    for (int round = 0; round < 2; round++) {
        double complaints = view->history->complaints;
        for (int i = 0; i < count; i++)
            complaints += trimmed(&view->lots[lots[i]], view->base);
        view->base = (complaints + BASE_WEIGHT) / (exposure + BASE_WEIGHT / shipped);
    }
    for (int i = 0; i < count; i++)
        if (view->lots[lots[i]].product >= 0)
            products->complaints[view->lots[lots[i]].product] +=
                trimmed(&view->lots[lots[i]], view->base);
    for (int p = 0; p < PRODUCT_SLOTS; p++)
        products->base[p] = (products->complaints[p] + PRODUCT_WEIGHT) /
                            (products->exposure[p] + PRODUCT_WEIGHT / view->base);
    for (int i = 0; i < view->lot_count; i++) {
        struct company_view_lot *lot = &view->lots[i];
        double base = lot->product >= 0 ? products->base[lot->product] : view->base;
        lot->expected = base * lot->lot->units * lot->reported;
    }
    free(lots);
    free(products);
}

static void set_days(const struct company_around *around, struct window *window)
{
    int32_t last = company_day_of(around->as_of_ms);
    window->from_day = company_day_of(around->record->lot.packed_from_ms) - COMPANY_BEFORE_DAYS;
    int days = last - window->from_day + 1;
    window->days = days > WINDOW_DAYS ? WINDOW_DAYS : days < 0 ? 0 : days;
}

static int window_of(struct company *company, const struct lot_records *records,
                     const struct company_around *around, struct window *ret, struct error *err)
{
    *ret = (struct window){0};
    set_days(around, ret);
    const struct company_count_scope scope = {symptom_name(around->symptom), ret->from_day,
                                              ret->from_day + ret->days - 1};
    int rc = company_count_days(records->store, &scope, take_serial, ret, err);
    if (!rc)
        rc = company_history_get(company->histories, records, around, &ret->history, err);
    if (!rc)
        ret->stamp = cache_stamp(cache_stamp(records->serial, ret->serials), ret->history->stamp);
    return rc;
}

int company_stamp(struct company *company, const struct lot_records *records,
                  const struct company_around *around, int64_t *ret, struct error *err)
{
    struct window window;
    int rc = window_of(company, records, around, &window, err);
    cache_object_unref((void *)window.history);
    *ret = window.stamp;
    return rc;
}

static struct company_view *view_new(const struct company_around *around,
                                     const struct company_history *history)
{
    const struct evidence_lot *lot = &around->record->lot;
    struct company_view *view = xcalloc(1, sizeof *view);
    cache_object_init(&view->cached, destroy_view);
    view->symptom = around->symptom;
    view->as_of_ms = around->as_of_ms;
    view->packed_from_ms = lot->packed_from_ms;
    view->own_id = lot->lot_id;
    view->product_id = lot->product_id;
    view->own_plant = company_day_plant(lot->plant);
    view->own_line = company_day_key(lot->plant, lot->line);
    view->own_shift = cache_hash(view->own_line, lot->shift);
    view->history = history;
    snprintf(view->plant, sizeof view->plant, "%s", lot->plant);
    return view;
}

int company_view_open(struct company *company, const struct lot_records *records,
                      const struct company_around *around, struct company_view **ret,
                      struct error *err)
{
    struct window window;
    int rc = window_of(company, records, around, &window, err);
    struct cache_key key = {(uint64_t)around->record->lot.lot_id, (uint64_t)around->symptom,
                            (uint64_t)around->as_of_ms};
    struct company_view *view = rc ? NULL : cache_get(company->views, key, window.stamp);
    if (rc || view) {
        cache_object_unref((void *)window.history);
        *ret = view;
        return rc;
    }
    view = view_new(around, window.history);
    view->from_day = window.from_day;
    view->shares = company->days;
    rc = load_days(company, records, &window, view, err);
    if (!rc) {
        list_lots(view);
        rc = company_own_find(company->days, company->levels, records, view, err);
    }
    if (rc) {
        cache_object_unref(view);
        return rc;
    }
    expect(view, around->rules);
    company_fill_factors(view);
    cache_put(company->views, key, window.stamp, view);
    *ret = view;
    return 0;
}

void company_view_close(struct company_view *view)
{
    cache_object_unref(view);
}

#include "triage/company.h"
#include "base/text.h"
#include "stats/shrink.h"
#include "store/company_count.h"
#include "triage/company_day.h"
#include "triage/company_history.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { BEFORE_DAYS = 42, AFTER_DAYS = 14, WINDOW_DAYS = BEFORE_DAYS + AFTER_DAYS + 1 };
enum {
    LINE_DAYS = 4,
    SHIFT_DAYS = 7,
    PRODUCT_DAYS = 10,
    LINE_HOURS = 6,
    ROUTE_DAYS = 4,
    STORE_DAYS = 10
};
/* a view holds all lots of its window: only the last few are kept */
enum { DAY_CACHE = 1024, VIEW_CACHE = 8, HISTORY_CACHE = 256 };

/* theta against the usual rate: guilty, and ordinary variation between lots */
#define GUILTY_SHAPE 2.0
#define GUILTY_MEAN 5.0
#define ORDINARY_SHAPE 8.0
#define BASE_WEIGHT 5.0    /* complaints that the shipped base rate counts for */
#define PRODUCT_WEIGHT 4.0 /* complaints that the plant's rate counts for in a product's */

struct company {
    struct cache *days, *views, *histories;
};

struct company *company_new(void)
{
    struct company *company = xcalloc(1, sizeof *company);
    company->days = cache_new(DAY_CACHE);
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
    cache_free(company->days);
    free(company);
}

/* ---- the Bayes factor ---- */

double company_bits(double observed, double expected)
{
    struct shrink_gamma usual = shrink_gamma_of(1, ORDINARY_SHAPE);
    struct shrink_gamma raised = shrink_gamma_of(GUILTY_MEAN, GUILTY_SHAPE);
    if (!(expected > 0))
        return 0;
    /* The raised rate's broad prior reaches below the usual rate too, so that very few complaints
     * would speak for it again: below the turning point of the ratio it stays at its lowest. */
    double r = (raised.rate + expected) / (usual.rate + expected);
    double turn = (usual.shape * r - raised.shape) / (1 - r);
    return shrink_log_bayes_factor(usual, raised, fmax(observed, turn), expected) / M_LN2;
}

/* ---- the view ---- */

struct view_lot {
    const struct day_lot *lot;
    const struct day_lots *day;
    double reported; /* share of its complaints to be in by now */
    double expected;
    double observed;
};

struct level {
    uint64_t key;
    int factor, lots;
    double observed, expected;
};

struct company_view {
    struct cached cached;
    int symptom;
    int64_t as_of_ms, packed_from_ms, own_id, product_id;
    uint64_t own_line, own_shift;
    const struct company_history *history;
    const struct day_lots *days[WINDOW_DAYS];
    const struct day_reports *reports[WINDOW_DAYS];
    int day_count;
    struct view_lot *lots;
    int lot_count, own; /* own: index, -1 */
    double base;        /* complaints a unit */
    double attributed;  /* share of complaints that name a store or a route */
    struct company_factor factors[FACTORS];
    char plant[32];
};

static void destroy_view(struct cached *cached)
{
    struct company_view *view = (struct company_view *)(void *)cached;
    for (int i = 0; i < view->day_count; i++) {
        cached_unref((void *)view->days[i]);
        cached_unref((void *)view->reports[i]);
    }
    cached_unref((void *)view->history);
    free(view->lots);
    free(view);
}

static int32_t utc_day(int64_t ms)
{
    return (int32_t)((ms - (ms < 0 ? WHEN_DAY_MS - 1 : 0)) / WHEN_DAY_MS);
}

struct serials {
    int32_t from_day;
    int64_t by_day[WINDOW_DAYS], sum;
};

static int take_serial(void *arg, const struct company_day_row *row)
{
    struct serials *serials = arg;
    serials->by_day[row->packed_day - serials->from_day] = row->serial;
    serials->sum += row->serial;
    return 0;
}

static int load_days(struct company *company, struct store *store, struct company_view *view,
                     const struct serials *serials, int days, int64_t records_serial,
                     struct error *err)
{
    for (int i = 0; i < days; i++) {
        int32_t day = serials->from_day + i;
        const struct day_lots *lots = NULL;
        const struct day_reports *reports = NULL;
        int rc = day_lots_get(company->days, store, day, records_serial, &lots, err);
        if (!rc)
            rc = day_reports_get(company->days, store, view->symptom, day,
                                 /* a corrected lot may pack on another day now */
                                 cache_stamp(records_serial, serials->by_day[i]), &reports, err);
        if (rc) {
            cached_unref((void *)lots);
            return rc;
        }
        view->days[i] = lots;
        view->reports[i] = reports;
        view->day_count = i + 1;
        view->lot_count += lots->count;
    }
    return 0;
}

static void count_reports(struct company_view *view, const struct day_reports *reports,
                          struct view_lot *first, int count, double *ret_named, double *ret_all)
{
    int at = 0;
    for (int i = 0; i < reports->count; i++) {
        const struct day_report *report = &reports->reports[i];
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
        const struct day_lots *day = view->days[d];
        struct view_lot *first = &view->lots[at];
        for (int i = 0; i < day->count; i++) {
            const struct day_lot *lot = &day->lots[i];
            double days = (double)(view->as_of_ms - lot->packed_from_ms) / (double)WHEN_DAY_MS;
            if (lot->lot_id == view->own_id)
                view->own = at;
            view->lots[at++] =
                (struct view_lot){lot, day, company_history_reported(view->history, days), 0, 0};
        }
        count_reports(view, view->reports[d], first, day->count, &named, &all);
    }
    view->attributed = (named + 0.5) / (all + 1);
}

/* One lot in deep trouble must not raise what is usual: each lot counts for no more than is
 * plausible at the usual rate. */
static double trimmed(const struct view_lot *lot, double base)
{
    double expected = base * lot->lot->units * lot->reported;
    return fmin(lot->observed, fmax(1, ceil(expected + 2 * sqrt(expected))));
}

static double product_base(const struct company_view *view, int64_t product_id)
{
    double complaints = 0, exposure = 0;
    for (int i = 0; i < view->lot_count; i++)
        if (view->lots[i].lot->product_id == product_id) {
            complaints += trimmed(&view->lots[i], view->base);
            exposure += view->lots[i].lot->units * view->lots[i].reported;
        }
    return (complaints + PRODUCT_WEIGHT) / (exposure + PRODUCT_WEIGHT / view->base);
}

static void expect(struct company_view *view, const struct rules *rules)
{
    double shipped = rules->ranking.base_per_million[view->symptom] / 1e6;
    double complaints = view->history->complaints, exposure = view->history->units;
    view->base = (complaints + BASE_WEIGHT) / (exposure + BASE_WEIGHT / shipped);
    for (int round = 0; round < 2; round++) {
        complaints = view->history->complaints;
        exposure = view->history->units;
        for (int i = 0; i < view->lot_count; i++) {
            complaints += trimmed(&view->lots[i], view->base);
            exposure += view->lots[i].lot->units * view->lots[i].reported;
        }
        view->base = (complaints + BASE_WEIGHT) / (exposure + BASE_WEIGHT / shipped);
    }
    int64_t ids[64];
    double bases[64];
    int known = 0;
    for (int i = 0; i < view->lot_count; i++) {
        const struct day_lot *lot = view->lots[i].lot;
        int p = 0;
        while (p < known && ids[p] != lot->product_id)
            p++;
        if (p == known && known < 64) {
            ids[known] = lot->product_id;
            bases[known++] = product_base(view, lot->product_id);
        }
        double base = p < known ? bases[p] : view->base;
        view->lots[i].expected = base * lot->units * view->lots[i].reported;
    }
}

/* ---- factors ---- */

static struct company_factor factor_of(double observed, double expected, int lots)
{
    return (struct company_factor){.known = true,
                                   .observed = observed,
                                   .expected = expected,
                                   .rate = (observed + 1) / (expected + 1),
                                   .bits = company_bits(observed, expected),
                                   .lots = lots};
}

static void add_to(struct level *level, const struct view_lot *lot)
{
    level->observed += lot->observed;
    level->expected += lot->expected;
    level->lots++;
}

static bool near(const struct company_view *view, const struct day_lot *lot, int days)
{
    return llabs(lot->packed_from_ms - view->packed_from_ms) <= days * WHEN_DAY_MS;
}

static void add_plain(const struct company_view *view, const struct view_lot *lot,
                      struct level plain[FACTORS])
{
    const struct day_lot *day_lot = lot->lot;
    if (near(view, day_lot, LINE_DAYS))
        add_to(&plain[FACTOR_PLANT], lot);
    if (day_lot->product_id == view->product_id && near(view, day_lot, PRODUCT_DAYS))
        add_to(&plain[FACTOR_PRODUCT], lot);
    if (day_lot->line != view->own_line)
        return;
    if (near(view, day_lot, LINE_DAYS))
        add_to(&plain[FACTOR_LINE], lot);
    if (llabs(day_lot->packed_from_ms - view->packed_from_ms) <= LINE_HOURS * WHEN_HOUR_MS)
        add_to(&plain[FACTOR_LINE_HOUR], lot);
    if (day_lot->shift == view->own_shift && near(view, day_lot, SHIFT_DAYS))
        add_to(&plain[FACTOR_SHIFT], lot);
}

static bool share_before(const struct day_share *a, const struct day_share *b)
{
    return a->factor != b->factor ? a->factor < b->factor : a->key < b->key;
}

/* Both lists are in order: one walk finds what two lots share. */
static void add_levels(const struct view_lot *lot, const struct day_share *own, int own_count,
                       struct level *levels)
{
    const struct day_share *other = &lot->day->shares[lot->lot->first_share];
    int i = 0, j = 0;
    while (i < own_count && j < lot->lot->share_count) {
        if (share_before(&own[i], &other[j])) {
            i++;
        } else if (share_before(&other[j], &own[i])) {
            j++;
        } else {
            if (own[i].factor != FACTOR_ROUTE && own[i].factor != FACTOR_STORE)
                add_to(&levels[i], lot);
            i++;
            j++;
        }
    }
}

/* One of the levels is guilty, any as likely: the mean of the Bayes factors. */
static struct company_factor best_of(const struct level *levels, int count, int factor)
{
    struct company_factor best = {0};
    double sum = 0;
    int known = 0;
    for (int i = 0; i < count; i++) {
        if (levels[i].factor != factor ||
            (i && levels[i - 1].factor == factor && levels[i - 1].key == levels[i].key))
            continue;
        struct company_factor one =
            factor_of(levels[i].observed, levels[i].expected, levels[i].lots);
        sum += exp2(one.bits);
        known++;
        if (known == 1 || one.bits > best.bits)
            best = one;
    }
    if (known)
        best.bits = log2(sum / known);
    return best;
}

static void fill_any(struct company_view *view)
{
    double sum = 0;
    int known = 0, best = -1;
    for (int f = FACTOR_LINE; f <= FACTOR_SUPPLIER; f++) {
        if (!(view->factors[f].lots > 0) || f == FACTOR_PRODUCT || f == FACTOR_PLANT)
            continue;
        sum += exp2(view->factors[f].bits);
        known++;
        if (best < 0 || view->factors[f].bits > view->factors[best].bits)
            best = f;
    }
    if (!known)
        return;
    view->factors[FACTOR_ANY] = view->factors[best];
    view->factors[FACTOR_ANY].bits = log2(sum / known);
}

static void fill_factors(struct company_view *view)
{
    static const struct day_share NONE[1];
    const struct view_lot *own = view->own >= 0 ? &view->lots[view->own] : NULL;
    const struct day_share *shares = own ? &own->day->shares[own->lot->first_share] : NONE;
    int count = own ? own->lot->share_count : 0;
    struct level plain[FACTORS] = {0};
    struct level *levels = xcalloc((size_t)count + 1, sizeof *levels);
    for (int i = 0; i < count; i++) {
        levels[i].factor = shares[i].factor;
        levels[i].key = shares[i].key;
    }
    for (int i = 0; i < view->lot_count; i++)
        if (i != view->own) {
            add_plain(view, &view->lots[i], plain);
            add_levels(&view->lots[i], shares, count, levels);
        }
    static const int PLAIN[] = {FACTOR_LINE, FACTOR_LINE_HOUR, FACTOR_SHIFT, FACTOR_PRODUCT,
                                FACTOR_PLANT};
    for (size_t i = 0; i < sizeof PLAIN / sizeof PLAIN[0]; i++) {
        const struct level *level = &plain[PLAIN[i]];
        view->factors[PLAIN[i]] = factor_of(level->observed, level->expected, level->lots);
    }
    for (int f = FACTOR_MIX; f <= FACTOR_SUPPLIER; f++)
        if (f != FACTOR_PLANT)
            view->factors[f] = best_of(levels, count, f);
    if (own)
        view->factors[FACTOR_LOT] = factor_of(fmax(0, own->observed - 1), own->expected, 1);
    fill_any(view);
    free(levels);
}

static int window_of(const struct lot_record *record, int64_t as_of_ms, struct serials *ret)
{
    int32_t packed_day = utc_day(record->lot.packed_from_ms), last = utc_day(as_of_ms);
    memset(ret, 0, sizeof *ret);
    ret->from_day = packed_day - BEFORE_DAYS;
    int days = last - ret->from_day + 1;
    return days > WINDOW_DAYS ? WINDOW_DAYS : days < 0 ? 0 : days;
}

/* What a view depends on: the window's serials and the history's. */
static int stamp_of(struct company *company, struct store *store, const struct rules *rules,
                    int symptom, const struct lot_record *record, int64_t as_of_ms,
                    int64_t records_serial, struct serials *serials, int *ret_days,
                    const struct company_history **ret_history, int64_t *ret_stamp,
                    struct error *err)
{
    int days = *ret_days = window_of(record, as_of_ms, serials);
    int rc = company_days(store, symptom_name(symptom), serials->from_day,
                          serials->from_day + days - 1, take_serial, serials, err);
    if (!rc)
        rc = company_history_get(company->histories, store, rules, symptom,
                                 utc_day(record->lot.packed_from_ms), records_serial, ret_history,
                                 err);
    if (!rc)
        *ret_stamp = cache_stamp(cache_stamp(records_serial, serials->sum), (*ret_history)->stamp);
    return rc;
}

int company_stamp(struct company *company, struct store *store, const struct rules *rules,
                  int symptom, const struct lot_record *record, int64_t as_of_ms,
                  int64_t records_serial, int64_t *ret, struct error *err)
{
    struct serials serials;
    const struct company_history *history = NULL;
    int days;
    int rc = stamp_of(company, store, rules, symptom, record, as_of_ms, records_serial, &serials,
                      &days, &history, ret, err);
    cached_unref((void *)history);
    return rc;
}

static struct company_view *view_new(int symptom, const struct lot_record *record, int64_t as_of_ms,
                                     const struct company_history *history)
{
    struct company_view *view = xcalloc(1, sizeof *view);
    cached_init(&view->cached, destroy_view);
    view->symptom = symptom;
    view->as_of_ms = as_of_ms;
    view->packed_from_ms = record->lot.packed_from_ms;
    view->own_id = record->lot.lot_id;
    view->product_id = record->lot.product_id;
    view->own_line = day_key(record->lot.plant, record->lot.line);
    view->own_shift = cache_hash(view->own_line, record->lot.shift);
    view->history = history;
    snprintf(view->plant, sizeof view->plant, "%s", record->lot.plant);
    return view;
}

int company_view_open(struct company *company, struct store *store, const struct rules *rules,
                      int symptom, const struct lot_record *record, int64_t as_of_ms,
                      int64_t records_serial, struct company_view **ret, struct error *err)
{
    struct serials serials;
    const struct company_history *history = NULL;
    int days;
    int64_t stamp;
    int rc = stamp_of(company, store, rules, symptom, record, as_of_ms, records_serial, &serials,
                      &days, &history, &stamp, err);
    struct cache_key key = {(uint64_t)record->lot.lot_id, (uint64_t)symptom, (uint64_t)as_of_ms};
    struct company_view *view = rc ? NULL : cache_get(company->views, key, stamp);
    if (rc || view) {
        cached_unref((void *)history);
        *ret = view;
        return rc;
    }
    view = view_new(symptom, record, as_of_ms, history);
    rc = load_days(company, store, view, &serials, days, records_serial, err);
    if (rc) {
        cached_unref(view);
        return rc;
    }
    list_lots(view);
    expect(view, rules);
    fill_factors(view);
    cache_put(company->views, key, stamp, view);
    *ret = view;
    return 0;
}

void company_view_close(struct company_view *view)
{
    cached_unref(view);
}

struct company_factor company_of_factor(const struct company_view *view, int factor)
{
    return view->factors[factor];
}

struct company_factor company_of_window(const struct company_view *view, const char *line,
                                        int64_t from_ms, int64_t to_ms)
{
    uint64_t wanted = *line ? day_key(view->plant, line) : 0;
    struct level level = {0};
    for (int i = 0; i < view->lot_count; i++) {
        const struct day_lot *lot = view->lots[i].lot;
        if (i != view->own && lot->packed_from_ms >= from_ms && lot->packed_from_ms < to_ms &&
            (!wanted || lot->line == wanted))
            add_to(&level, &view->lots[i]);
    }
    return factor_of(level.observed, level.expected, level.lots);
}

/* ---- routes and stores ---- */

static bool named(const struct day_lots *lots, const struct day_report *report, int factor,
                  uint64_t key)
{
    if (factor == FACTOR_STORE)
        return report->store == key;
    if (report->route || !report->store)
        return report->route == key;
    /* the complaint names the store only: the lot's dispatches tell its route */
    const struct day_lot *lot = day_lots_find(lots, report->lot_id);
    for (int i = 0; lot && i < lot->share_count; i++) {
        const struct day_share *share = &lots->shares[lot->first_share + i];
        if (share->factor == FACTOR_STORE && share->key == report->store)
            return share->also == key;
    }
    return false;
}

static void expect_trade(const struct company_view *view, int factor, uint64_t key, int days,
                         struct level *level)
{
    for (int i = 0; i < view->lot_count; i++) {
        const struct view_lot *lot = &view->lots[i];
        if (!near(view, lot->lot, days) || lot->lot->units <= 0)
            continue;
        for (int s = 0; s < lot->lot->share_count; s++) {
            const struct day_share *share = &lot->day->shares[lot->lot->first_share + s];
            if (share->factor == factor && share->key == key) {
                level->expected += lot->expected * fmin(1, share->units / lot->lot->units);
                level->lots++;
            }
        }
    }
    level->expected *= view->attributed;
}

struct company_factor company_of_trade(const struct company_view *view, int factor,
                                       const char *level_name, int own)
{
    uint64_t key = day_key(factor == FACTOR_ROUTE ? "route" : "store", level_name);
    int days = factor == FACTOR_ROUTE ? ROUTE_DAYS : STORE_DAYS;
    struct level level = {0};
    expect_trade(view, factor, key, days, &level);
    if (level.lots == 0)
        return (struct company_factor){0};
    for (int d = 0; d < view->day_count; d++)
        for (int i = 0; i < view->reports[d]->count; i++) {
            const struct day_report *report = &view->reports[d]->reports[i];
            const struct day_lot *lot = day_lots_find(view->days[d], report->lot_id);
            if (report->received_ms <= view->as_of_ms && lot && near(view, lot, days) &&
                named(view->days[d], report, factor, key))
                level.observed++;
        }
    if (own > 0)
        level.observed = fmax(0, level.observed - 1);
    return factor_of(level.observed, level.expected, level.lots);
}

double company_reported_share(const struct company_view *view, double days)
{
    return company_history_reported(view->history, days);
}

double company_base_per_million(const struct company_view *view)
{
    return view->base * 1e6;
}

/* ---- for reach ---- */

static unsigned plain_shared(const struct company_view *view, const struct day_lot *lot)
{
    unsigned shared = 0;
    if (lot->product_id == view->product_id)
        shared |= 1u << FACTOR_PRODUCT;
    if (lot->line != view->own_line)
        return shared;
    shared |= 1u << FACTOR_LINE;
    if (llabs(lot->packed_from_ms - view->packed_from_ms) <= LINE_HOURS * WHEN_HOUR_MS)
        shared |= 1u << FACTOR_LINE_HOUR;
    if (lot->shift == view->own_shift && near(view, lot, 1))
        shared |= 1u << FACTOR_SHIFT;
    return shared;
}

int company_lots(const struct company_view *view, company_lot_each each, void *arg)
{
    const struct view_lot *own = view->own >= 0 ? &view->lots[view->own] : NULL;
    const struct day_share *shares = own ? &own->day->shares[own->lot->first_share] : NULL;
    int count = own ? own->lot->share_count : 0, answer = 0;
    struct level *levels = xcalloc((size_t)count + 1, sizeof *levels);
    for (int i = 0; i < view->lot_count && !answer; i++) {
        const struct view_lot *other = &view->lots[i];
        if (i == view->own)
            continue;
        memset(levels, 0, (size_t)count * sizeof *levels);
        struct company_lot lot = {other->lot->lot_id,
                                  other->lot->packed_from_ms,
                                  other->lot->packed_to_ms,
                                  other->lot->units,
                                  other->expected,
                                  (int)other->observed,
                                  plain_shared(view, other->lot),
                                  0};
        double mixes = 0, same = 0;
        add_levels(other, shares, count, levels);
        for (int s = 0; s < count; s++) {
            if (levels[s].lots)
                lot.shared |= 1u << shares[s].factor;
            mixes += shares[s].factor == FACTOR_MIX;
            same += shares[s].factor == FACTOR_MIX && levels[s].lots;
        }
        lot.same_share = mixes > 0 ? same / mixes : 0;
        answer = each(arg, &lot);
    }
    free(levels);
    return answer;
}

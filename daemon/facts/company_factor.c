/* Factors of a view: who shares what, and what an excess says. */
#include "base/text.h"
#include "facts/company_inside.h"
#include "stats/shrink.h"
#include <assert.h>
#include <math.h>
#include <stdlib.h>

enum { ROUTE_DAYS = 4, STORE_DAYS = 10 };

/* Nobody knows when a trouble on a line began and when it ended: only that this lot is in it. So
 * many hours before and after the lot, or none, are tried on each side. */
enum { EXTENTS = 3, SIDES = 2 };
enum { SPAN_LINE, SPAN_PLANT, SPAN_SHIFT, SPAN_PRODUCT, SPAN_COUNT };
static const struct span {
    int factor, hours[EXTENTS];
} SPANS[] = {[SPAN_LINE] = {FACTOR_LINE, {12, 36, 96}},
             [SPAN_PLANT] = {FACTOR_PLANT, {12, 36, 96}},
             [SPAN_SHIFT] = {FACTOR_SHIFT, {24, 72, 168}},
             [SPAN_PRODUCT] = {FACTOR_PRODUCT, {24, 96, 240}}};

enum { WIDEST_HOURS = 240 }; /* of all spans */

/* By side of the lot and by the shortest reach that takes a lot in: rings, so that each lot is
 * counted once and every extent is a sum of rings. */
struct span_levels {
    struct level rings[SIDES][EXTENTS];
};

/* theta against the usual rate: guilty, and ordinary variation between lots, of which a
 * rate varies by a third (1 / sqrt 8). No source. */
#define GUILTY_SHAPE 2.0
#define GUILTY_MEAN 5.0
#define ORDINARY_SHAPE 8.0

double company_bits(double observed, double expected)
{
    assert(observed >= 0 && expected >= 0);
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

/* As they are up to half of the limit, then with steps that halve and halve again. */
static double softened(double bits, double most)
{
    assert(most > 0);
    double knee = most / 2;
    return bits <= knee ? bits : knee + (most - knee) * -expm1(-(bits - knee) / (most - knee));
}

double company_beside(double bits, double best, double most, double rival)
{
    return fmin(softened(bits, most), softened(best, most) - rival * fmax(0, best - bits));
}

/* ---- factors ---- */

struct company_factor company_factor_of(double observed, double expected, int lots)
{
    return (struct company_factor){.known = lots > 0, /* else there was nothing to see */
                                   .observed = observed,
                                   .expected = expected,
                                   .rate = (observed + 1) / (expected + 1),
                                   .bits = company_bits(observed, expected),
                                   .lots = lots};
}

void company_level_add(struct level *level, const struct company_view_lot *lot)
{
    level->observed += lot->observed;
    level->expected += lot->expected;
    level->lots++;
}

bool company_near(const struct company_view *view, const struct company_day_lot *lot, int days)
{
    assert(days >= 0);
    return llabs(lot->packed_from_ms - view->packed_from_ms) <= days * WHEN_DAY_MS;
}

static bool shares_plain(const struct company_view *view, const struct company_day_lot *lot,
                         int factor)
{
    switch (factor) {
    case FACTOR_LINE:
        return lot->line == view->own_line;
    case FACTOR_SHIFT:
        return lot->line == view->own_line && lot->shift == view->own_shift;
    case FACTOR_PRODUCT:
        return lot->product_id == view->product_id;
    default: /* FACTOR_PLANT */
        return lot->plant == view->own_plant;
    }
}

static void span_add(const struct company_view *view, const struct company_view_lot *lot,
                     struct span_levels spans[SPAN_COUNT])
{
    int64_t apart_ms = lot->lot->packed_from_ms - view->packed_from_ms;
    for (int s = 0; s < SPAN_COUNT; s++) {
        int r = 0;
        while (r < EXTENTS && llabs(apart_ms) > SPANS[s].hours[r] * WHEN_HOUR_MS)
            r++;
        if (r < EXTENTS && shares_plain(view, lot->lot, SPANS[s].factor))
            company_level_add(&spans[s].rings[apart_ms > 0][r], lot);
    }
}

static struct level level_sum(const struct level *rings, int count, struct level sum)
{
    assert(count >= 0 && count <= EXTENTS);
    for (int r = 0; r < count; r++) {
        sum.observed += rings[r].observed;
        sum.expected += rings[r].expected;
        sum.lots += rings[r].lots;
    }
    return sum;
}

/* An extent that takes in no lot more than the next smaller one is the same extent. */
static bool is_another(const struct level rings[EXTENTS], int reach)
{
    assert(reach >= 0 && reach <= EXTENTS);
    return reach == 0 || rings[reach - 1].lots > 0;
}

/* Any extent is as likely: the mean of their Bayes factors. `with` is in all of them. Shown is the
 * likeliest one with an excess, else the widest. */
static struct company_factor span_factor(const struct span_levels *span, struct level with)
{
    struct company_factor shown = company_factor_of(0, 0, 0);
    double sum = 0;
    int tried = 0;
    for (int before = 0; before <= EXTENTS; before++)
        for (int after = 0; after <= EXTENTS; after++) {
            struct level level = level_sum(span->rings[0], before, with);
            level = level_sum(span->rings[1], after, level);
            if (level.lots == 0 || !is_another(span->rings[0], before) ||
                !is_another(span->rings[1], after))
                continue;
            struct company_factor one =
                company_factor_of(level.observed, level.expected, level.lots);
            sum += exp2(one.bits);
            tried++;
            if (one.bits > fmax(shown.bits, 0) || (shown.bits <= 0 && one.lots > shown.lots))
                shown = one;
        }
    if (tried)
        shown.bits = log2(sum / tried);
    return shown;
}

/* One of the levels is guilty, any as likely: the mean of the Bayes factors. */
static struct company_factor best_of(const struct company_view *view, const struct level *levels,
                                     int factor)
{
    struct company_factor best = {0};
    double sum = 0;
    int known = 0;
    for (int i = 0; i < view->level_count; i++) {
        if (view->levels[i].factor != factor || view->levels[i].again)
            continue;
        struct company_factor one =
            company_factor_of(levels[i].observed, levels[i].expected, levels[i].lots);
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

/* Lots of some days of the window, as indices. */
struct stretch {
    int first, end;
};

static struct stretch stretch_of(const struct company_view *view, int32_t from_day, int32_t to_day)
{
    int64_t from = from_day - view->from_day, to = (int64_t)to_day - view->from_day + 1;
    struct stretch stretch = {view->lot_count, view->lot_count};
    if (from < view->day_count)
        stretch.first = view->first[from > 0 ? from : 0];
    if (to < view->day_count)
        stretch.end = to > 0 ? view->first[to] : 0;
    return stretch;
}

void company_fill_factors(struct company_view *view)
{
    struct span_levels spans[SPAN_COUNT] = {0};
    struct level hours = {0}, with = {0};
    struct level *levels = xcalloc((size_t)view->level_count + 1, sizeof *levels);
    for (int i = 0; i < view->level_count; i++)
        for (int k = 0; k < view->levels[i].count; k++)
            if (view->levels[i].lots[k] != view->own)
                company_level_add(&levels[i], &view->lots[view->levels[i].lots[k]]);
    int32_t own_day = company_day_of(view->packed_from_ms), widest = WIDEST_HOURS / 24 + 1;
    const struct stretch near = stretch_of(view, own_day - widest, own_day + widest);
    for (int i = near.first; i < near.end; i++) {
        const struct company_view_lot *lot = &view->lots[i];
        int64_t apart_ms = llabs(lot->lot->packed_from_ms - view->packed_from_ms);
        if (i == view->own || apart_ms > WIDEST_HOURS * WHEN_HOUR_MS)
            continue;
        span_add(view, lot, spans);
        if (lot->lot->line == view->own_line && apart_ms <= COMPANY_LINE_HOURS * WHEN_HOUR_MS)
            company_level_add(&hours, lot);
    }
    for (int i = 0; i < SPAN_COUNT; i++)
        view->factors[SPANS[i].factor] = span_factor(&spans[i], (struct level){0});
    view->factors[FACTOR_LINE_HOUR] = company_factor_of(hours.observed, hours.expected, hours.lots);
    for (int f = FACTOR_MIX; f <= FACTOR_SUPPLIER; f++)
        if (f != FACTOR_PLANT)
            view->factors[f] = best_of(view, levels, f);
    if (view->own >= 0) {
        /* the complaint that asks is no evidence for itself: one is left out */
        const struct company_view_lot *own = &view->lots[view->own];
        view->factors[FACTOR_LOT] = company_factor_of(fmax(0, own->observed - 1), own->expected, 1);
        with.observed = own->observed;
        with.expected = own->expected;
        with.lots = 1;
    }
    view->lot_and_line = span_factor(&spans[SPAN_LINE], with);
    fill_any(view);
    free(levels);
}

struct company_factor company_of_factor(const struct company_view *view, int factor)
{
    assert(factor >= 0 && factor < FACTORS);
    return view->factors[factor];
}

struct company_factor company_of_lot_and_line(const struct company_view *view)
{
    return view->lot_and_line;
}

struct company_factor company_of_window(const struct company_view *view, const char *line,
                                        struct when_span packed)
{
    uint64_t wanted = *line ? company_day_key(view->plant, line) : 0;
    struct level level = {0};
    const struct stretch packed_then =
        stretch_of(view, company_day_of(packed.from_ms), company_day_of(packed.to_ms));
    for (int i = packed_then.first; i < packed_then.end; i++) {
        const struct company_day_lot *lot = view->lots[i].lot;
        if (i != view->own && lot->packed_from_ms >= packed.from_ms &&
            lot->packed_from_ms < packed.to_ms && lot->plant == view->own_plant &&
            (!wanted || lot->line == wanted))
            company_level_add(&level, &view->lots[i]);
    }
    return company_factor_of(level.observed, level.expected, level.lots);
}

/* ---- routes and stores ---- */

struct trading {
    const struct company_view *view;
    const struct company_shares *shares; /* of day `d` */
    int d;
    int factor, days;
    uint64_t key;
    struct level level;
};

static bool named(const struct trading *t, const struct company_day_report *report,
                  const struct company_day_lot *lot)
{
    if (t->factor == FACTOR_STORE)
        return report->store == t->key;
    if (report->route || !report->store)
        return company_day_own(report->route, lot->plant) == t->key;
    /* the complaint names the store only: the lot's dispatches tell its route */
    int at = (int)(lot - t->view->days[t->d]->lots);
    return company_shares_route(t->shares, at, report->store) == t->key;
}

static void trade_expect(struct trading *t)
{
    const struct company_shares_level *level = company_shares_find(t->shares, t->factor, t->key);
    for (int i = 0; level && i < level->count; i++) {
        const struct company_share *share =
            &t->shares->shares[t->shares->by_level[level->first + i]];
        const struct company_view_lot *lot = &t->view->lots[t->view->first[t->d] + share->lot];
        if (!company_near(t->view, lot->lot, t->days) || lot->lot->units <= 0)
            continue;
        t->level.expected += lot->expected * fmin(1, share->units / lot->lot->units);
        t->level.lots++;
    }
}

static void trade_count(struct trading *t)
{
    const struct company_day_reports *reports = t->view->reports[t->d];
    for (int i = 0; i < reports->count; i++) {
        const struct company_day_report *report = &reports->reports[i];
        const struct company_day_lot *lot =
            company_day_lots_find(t->view->days[t->d], report->lot_id);
        if (report->received_ms <= t->view->as_of_ms && lot &&
            company_near(t->view, lot, t->days) && named(t, report, lot))
            t->level.observed++;
    }
}

int company_of_trade(const struct company_view *view, const struct lot_records *records,
                     const struct company_trade *trade, struct company_factor *ret,
                     struct error *err)
{
    bool is_route = trade->factor == FACTOR_ROUTE;
    struct trading t = {.view = view,
                        .factor = trade->factor,
                        .days = is_route ? ROUTE_DAYS : STORE_DAYS,
                        .key = company_day_key(is_route ? "route" : "store", trade->level)};
    if (is_route)
        t.key = company_day_own(t.key, view->own_plant);
    int first = COMPANY_BEFORE_DAYS - t.days - 1, last = COMPANY_BEFORE_DAYS + t.days + 1;
    for (t.d = first; t.d < view->day_count && t.d <= last; t.d++) {
        const struct company_day day = {view->from_day + t.d, records->serial};
        const struct company_shares_of traded = {COMPANY_TRADED, view->days[t.d]};
        int rc = company_shares_get(view->shares, records->store, day, &traded, &t.shares, err);
        if (rc)
            return rc;
        trade_expect(&t);
        trade_count(&t);
        cache_object_unref((void *)t.shares);
    }
    /* only complaints that name a place can be counted there */
    t.level.expected *= view->attributed;
    *ret = (struct company_factor){0};
    if (!t.level.lots)
        return 0;
    if (trade->own > 0)
        t.level.observed = fmax(0, t.level.observed - 1);
    *ret = company_factor_of(t.level.observed, t.level.expected, t.level.lots);
    return 0;
}

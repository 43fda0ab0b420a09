/* Factors of a view: who shares what, and what an excess says. */
#include "base/text.h"
#include "facts/company_inside.h"
#include "stats/shrink.h"
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

/* By side of the lot and by the shortest reach that takes a lot in. */
struct span_levels {
    struct level rings[SIDES][EXTENTS];
};

/* theta against the usual rate: guilty, and ordinary variation between lots */
#define GUILTY_SHAPE 2.0
#define GUILTY_MEAN 5.0
#define ORDINARY_SHAPE 8.0

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

/* As they are up to half of the limit, then with steps that halve and halve again. */
static double softened(double bits, double most)
{
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
    return (struct company_factor){.known = true,
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
        return true;
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

bool company_is_trade(int factor)
{
    return factor == FACTOR_ROUTE || factor == FACTOR_STORE;
}

bool company_level_again(const struct company_day_share *shares, int i)
{
    return i > 0 && shares[i - 1].factor == shares[i].factor && shares[i - 1].key == shares[i].key;
}

void company_sharers(const struct company_view *view, int factor, uint64_t key, company_sharer each,
                     void *arg)
{
    for (int d = 0; d < view->day_count; d++) {
        const struct company_day_lots *day = view->days[d];
        const struct company_day_level *level = company_day_lots_level(day, factor, key);
        int last = -1;
        for (int i = 0; level && i < level->count; i++) {
            const struct company_day_share *share = &day->shares[day->by_level[level->first + i]];
            int lot = view->first[d] + share->lot;
            if (lot != last)
                each(arg, lot, share);
            last = lot;
        }
    }
}

struct adding {
    const struct company_view *view;
    struct level *level;
};

static void add_sharer(void *arg, int lot, const struct company_day_share *share)
{
    const struct adding *adding = arg;
    (void)share;
    if (lot != adding->view->own)
        company_level_add(adding->level, &adding->view->lots[lot]);
}

/* One of the levels is guilty, any as likely: the mean of the Bayes factors. */
static struct company_factor best_of(const struct level *levels, int count, int factor)
{
    struct company_factor best = {0};
    double sum = 0;
    int known = 0;
    for (int i = 0; i < count; i++) {
        if (levels[i].factor != factor || levels[i].again)
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

const struct company_day_share *company_own_shares(const struct company_view *view, int *ret_count)
{
    static const struct company_day_share NONE[1];
    *ret_count = 0;
    if (view->own < 0)
        return NONE;
    const struct company_view_lot *own = &view->lots[view->own];
    *ret_count = own->lot->share_count;
    return &own->day->shares[own->lot->first_share];
}

void company_fill_factors(struct company_view *view)
{
    int count;
    const struct company_day_share *shares = company_own_shares(view, &count);
    struct span_levels spans[SPAN_COUNT] = {0};
    struct level hours = {0}, with = {0};
    struct level *levels = xcalloc((size_t)count + 1, sizeof *levels);
    for (int i = 0; i < count; i++) {
        levels[i].factor = shares[i].factor;
        levels[i].again = company_level_again(shares, i);
        if (!levels[i].again && !company_is_trade(shares[i].factor))
            company_sharers(view, shares[i].factor, shares[i].key, add_sharer,
                            &(struct adding){view, &levels[i]});
    }
    for (int i = 0; i < view->lot_count; i++) {
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
            view->factors[f] = best_of(levels, count, f);
    if (view->own >= 0) {
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
    for (int i = 0; i < view->lot_count; i++) {
        const struct company_day_lot *lot = view->lots[i].lot;
        if (i != view->own && lot->packed_from_ms >= packed.from_ms &&
            lot->packed_from_ms < packed.to_ms && (!wanted || lot->line == wanted))
            company_level_add(&level, &view->lots[i]);
    }
    return company_factor_of(level.observed, level.expected, level.lots);
}

/* ---- routes and stores ---- */

static bool named(const struct company_day_lots *lots, const struct company_day_report *report,
                  int factor, uint64_t key)
{
    if (factor == FACTOR_STORE)
        return report->store == key;
    if (report->route || !report->store)
        return report->route == key;
    /* the complaint names the store only: the lot's dispatches tell its route */
    const struct company_day_lot *lot = company_day_lots_find(lots, report->lot_id);
    for (int i = 0; lot && i < lot->share_count; i++) {
        const struct company_day_share *share = &lots->shares[lot->first_share + i];
        if (share->factor == FACTOR_STORE && share->key == report->store)
            return share->also == key;
    }
    return false;
}

struct expecting {
    const struct company_view *view;
    int days;
    struct level *level;
};

static void expect_sharer(void *arg, int i, const struct company_day_share *share)
{
    const struct expecting *e = arg;
    const struct company_view_lot *lot = &e->view->lots[i];
    if (!company_near(e->view, lot->lot, e->days) || lot->lot->units <= 0)
        return;
    e->level->expected += lot->expected * fmin(1, share->units / lot->lot->units);
    e->level->lots++;
}

struct company_factor company_of_trade(const struct company_view *view, int factor,
                                       const char *level_name, int own)
{
    uint64_t key = company_day_key(factor == FACTOR_ROUTE ? "route" : "store", level_name);
    int days = factor == FACTOR_ROUTE ? ROUTE_DAYS : STORE_DAYS;
    struct level level = {0};
    company_sharers(view, factor, key, expect_sharer, &(struct expecting){view, days, &level});
    level.expected *= view->attributed;
    if (level.lots == 0)
        return (struct company_factor){0};
    int first = COMPANY_BEFORE_DAYS - days - 1, last = COMPANY_BEFORE_DAYS + days + 1;
    for (int d = first > 0 ? first : 0; d < view->day_count && d <= last; d++)
        for (int i = 0; i < view->reports[d]->count; i++) {
            const struct company_day_report *report = &view->reports[d]->reports[i];
            const struct company_day_lot *lot =
                company_day_lots_find(view->days[d], report->lot_id);
            if (report->received_ms <= view->as_of_ms && lot && company_near(view, lot, days) &&
                named(view->days[d], report, factor, key))
                level.observed++;
        }
    if (own > 0)
        level.observed = fmax(0, level.observed - 1);
    return company_factor_of(level.observed, level.expected, level.lots);
}

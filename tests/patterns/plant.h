/* A small invented plant in a store of its own, for the tests of the weekly pattern. */
#ifndef ODDLOAF_TESTS_PATTERNS_PLANT_H
#define ODDLOAF_TESTS_PATTERNS_PLANT_H

#include "base/text.h"
#include "check.h"
#include "state.h"
#include "store/complaint.h"
#include "store/db.h"
#include "store/pattern.h"
#include "store/ranking.h"
#include "store/record_write.h"
#include "store/recount.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct plant {
    char dir[64];
    struct store *store;
    struct tz *tz;
    int serial;
};

static inline struct plant *plant_new(const char *zone)
{
    struct plant *p = xcalloc(1, sizeof *p);
    struct error err = {0};
    strcpy(p->dir, "/tmp/oddloaf-pattern-XXXXXX");
    assert_non_null(state_folder(p->dir));
    assert_int_equal(store_open(p->dir, STORE_WRITE, &p->store, &err), 0);
    /* what a crash would take is of no concern here */
    if (!state_on_server())
        assert_int_equal(db_exec(p->store, "PRAGMA synchronous=OFF", &err), 0);
    assert_int_equal(tz_open(zone, &p->tz, &err), 0);
    assert_int_equal(store_begin(p->store, &err),
                     0); /* as the writer's jobs run; never committed */
    assert_int_equal(pattern_set_up(p->store, p->tz, &err), 0);
    assert_int_equal(db_exec(p->store,
                             "INSERT INTO product(id, product, name, family, shelf_life_days, "
                             "unit_g, gtin) VALUES(1,'W24','Wheat','pan-bread',10,680,NULL),"
                             "(2,'R12','Rolls','bun',8,450,NULL)",
                             &err),
                     0);
    return p;
}

static inline void plant_free(struct plant *p)
{
    struct text_buffer command = {0};
    store_close(p->store);
    tz_close(p->tz);
    text_appendf(&command, "rm -rf %s", p->dir);
    assert_int_equal(system(command.data), 0);
    text_buffer_free(&command);
    free(p);
}

static inline int64_t plant_time(const char *when)
{
    int64_t ms = 0;
    struct error err = {0};
    assert_int_equal(when_parse(when, &ms, &err), 0);
    return ms;
}

static inline void plant_exec(struct plant *p, const char *format, ...)
{
    struct text_buffer sql = {0};
    struct error err = {0};
    va_list args;
    va_start(args, format);
    text_vappendf(&sql, format, args);
    va_end(args);
    if (db_exec(p->store, sql.data, &err))
        fail_msg("%s: %s", err.text, sql.data);
    text_buffer_free(&sql);
}

static inline void plant_record(struct plant *p, enum record_kind kind,
                                const struct record_cell *cells)
{
    struct error err = {0};
    enum record_outcome outcome;
    struct record_writing *w = record_write_new(p->store, kind, "test", 0);
    if (record_write(w, cells, &outcome, &err))
        fail_msg("%s", err.text);
    record_write_free(w);
}

static inline struct record_cell plant_text(const char *text)
{
    return (struct record_cell){
        .form = RECORD_TEXT, .length = (uint32_t)strlen(text), .text = text};
}

static inline struct record_cell plant_whole(int64_t value)
{
    return (struct record_cell){.form = RECORD_INTEGER, .integer = value};
}

struct plant_lot {
    const char *line, *shift;
    int product;
    int64_t packed_ms;
    int units;
};
/* As a file of lots brings it, or changes it. `plant`: of a company. */
static inline void plant_put_lot_at(struct plant *p, int64_t id, const char *plant,
                                    struct plant_lot lot)
{
    char code[24];
    snprintf(code, sizeof code, "K%lld", (long long)id);
    const struct record_cell cells[] = {plant_text(code),
                                        plant_whole(lot.product),
                                        plant_text(lot.line),
                                        plant_whole(lot.packed_ms),
                                        plant_whole(lot.packed_ms),
                                        plant_whole(lot.packed_ms),
                                        plant_whole(lot.packed_ms + 3 * WHEN_HOUR_MS),
                                        plant_whole(lot.units),
                                        plant_whole(30000),
                                        plant_text(lot.shift),
                                        plant_text(plant),
                                        plant_text(code)};
    plant_record(p, RECORD_LOTS, cells);
}

static inline void plant_put_lot(struct plant *p, int64_t id, struct plant_lot lot)
{
    plant_put_lot_at(p, id, "", lot);
}

static inline int64_t plant_lot(struct plant *p, const char *line, int product, const char *shift,
                                int64_t packed_ms, int units)
{
    plant_put_lot(p, ++p->serial, (struct plant_lot){line, shift, product, packed_ms, units});
    return p->serial;
}

struct plant_trip {
    const char *route, *store, *retailer; /* retailer NULL: not told */
    int64_t at_ms;
    int units; /* 0: what was sent then is taken back */
};
static inline void plant_send(struct plant *p, int64_t lot, struct plant_trip trip)
{
    const struct record_cell cells[] = {plant_whole(lot),
                                        plant_text(trip.route),
                                        plant_text(trip.store),
                                        plant_whole(trip.at_ms),
                                        plant_whole(trip.units),
                                        {0},
                                        trip.retailer ? plant_text(trip.retailer)
                                                      : (struct record_cell){0}};
    plant_record(p, RECORD_DISPATCH, cells);
}

static inline void plant_sent(struct plant *p, int64_t lot, const char *route, const char *store,
                              int64_t at_ms, int units)
{
    plant_send(p, lot, (struct plant_trip){route, store, NULL, at_ms, units});
}

static inline struct complaint_placed plant_log(struct plant *p, struct complaint_new *c)
{
    char uuid[UUID_TEXT];
    struct error err = {0};
    struct complaint_placed placed = {0};
    uuid_v7(c->received_ms, uuid);
    c->uuid = uuid;
    if (complaint_log(p->store, c, &placed, &err))
        fail_msg("%s", err.text);
    return placed;
}

/* lot 0: open. */
static inline struct complaint_placed plant_complaint(struct plant *p, int64_t lot,
                                                      const char *symptom, int64_t received_ms,
                                                      const char *route)
{
    struct complaint_new c = {.received_ms = received_ms,
                              .logged_ms = received_ms,
                              .channel = "phone",
                              .symptom = symptom,
                              .route = route,
                              .code_day = WHEN_UNKNOWN_DAY,
                              .bought_day = WHEN_UNKNOWN_DAY,
                              .found_day = WHEN_UNKNOWN_DAY,
                              .packs = 1,
                              .body = "{}",
                              .lots = {.state = LOT_UNKNOWN}};
    if (lot) {
        c.lots = (struct complaint_lots){.state = LOT_EXACT, .count = 1, .lot = {{lot, 0.95}}};
    }
    return plant_log(p, &c);
}

/* Of mold, its lot open, that names a plant or not (NULL). */
static inline struct complaint_placed plant_complaint_of(struct plant *p, const char *plant,
                                                         struct complaint_lots lots)
{
    int64_t at = plant_time("2026-11-19T09:00:00-05:00");
    struct complaint_new c = {.received_ms = at,
                              .logged_ms = at,
                              .channel = "phone",
                              .symptom = "mold",
                              .plant = plant,
                              .code_day = WHEN_UNKNOWN_DAY,
                              .bought_day = WHEN_UNKNOWN_DAY,
                              .found_day = WHEN_UNKNOWN_DAY,
                              .packs = 1,
                              .body = "{}",
                              .lots = lots};
    return plant_log(p, &c);
}

/* A ranking of two causes and the rest. */
static inline void plant_rank(struct plant *p, int64_t case_id, const char *first, double share,
                              const char *second, double second_share)
{
    struct ranking_cause causes[] = {{"", share}, {"", second_share}, {"not-known", 0}};
    struct ranking ranking = {
        .case_id = case_id, .complaints = 1, .causes = causes, .cause_count = 3};
    struct error err = {0};
    text_clip(first, causes[0].cause, sizeof causes[0].cause);
    text_clip(second, causes[1].cause, sizeof causes[1].cause);
    causes[2].probability = fmax(1 - share - second_share, 0);
    assert_int_equal(ranking_save(p->store, &ranking, &err), 0);
}

static inline void plant_check(struct plant *p)
{
    struct recount found = {-1, -1, -1, -1};
    struct error err = {0};
    assert_int_equal(recount(p->store, &found, &err), 0);
    assert_int_equal(found.weeks, 0);
    assert_int_equal(found.cases, 0);
    assert_int_equal(found.company, 0);
}

/* ---- numbers from a seed: splitmix64, so that every run sees the same plants ---- */

struct dice {
    uint64_t state;
};

static inline double dice_unit(struct dice *d)
{
    uint64_t z = d->state += UINT64_C(0x9e3779b97f4a7c15);
    z = (z ^ (z >> 30)) * UINT64_C(0xbf58476d1ce4e5b9);
    z = (z ^ (z >> 27)) * UINT64_C(0x94d049bb133111eb);
    return (double)((z ^ (z >> 31)) >> 11) * 0x1p-53;
}

static inline double dice_normal(struct dice *d)
{
    double u = dice_unit(d), v = dice_unit(d);
    return sqrt(-2 * log(u + 1e-300)) * cos(2 * M_PI * v);
}

static inline long dice_poisson(struct dice *d, double mean)
{
    long n = 0;
    if (mean > 60) { /* far enough from 0 for whole tests of coverage */
        double x = floor(mean + sqrt(mean) * dice_normal(d) + 0.5);
        return x < 0 ? 0 : (long)x;
    }
    for (double product = dice_unit(d), limit = exp(-mean); product > limit; n++)
        product *= dice_unit(d);
    return n;
}

/* G. Marsaglia & W. W. Tsang, "A simple method for generating gamma variables", ACM Transactions on
 * Mathematical Software 26 (2000) 363-372. */
static inline double dice_gamma(struct dice *d, double shape)
{
    double boost = shape < 1 ? pow(dice_unit(d), 1 / shape) : 1;
    double a = (shape < 1 ? shape + 1 : shape) - 1 / 3.0, c = 1 / sqrt(9 * a);
    for (;;) {
        double x = dice_normal(d), v = pow(1 + c * x, 3);
        if (v > 0 && log(dice_unit(d)) < 0.5 * x * x + a - a * v + a * log(v))
            return boost * a * v;
    }
}

/* Counts of this mean, their variance phi times it. */
static inline long dice_count(struct dice *d, double mean, double phi)
{
    if (phi <= 1 || mean <= 0)
        return dice_poisson(d, mean);
    return dice_poisson(d, (phi - 1) * dice_gamma(d, mean / (phi - 1)));
}

#endif

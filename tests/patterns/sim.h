/* Plants as the counts behind a week's report: units, a delay curve, weeks that vary more than
 * chance, and what is planted. No store. */
#ifndef ODDLOAF_TESTS_PATTERNS_SIM_H
#define ODDLOAF_TESTS_PATTERNS_SIM_H

#include "patterns/week_data.h"
#include "patterns/week_expect.h"
#include "plant.h"

enum { SIM_WEEKS = WEEK_HISTORY + WEEK_DELAYS, SIM_ALL_LINES = -2 };

struct sim {
    struct dice dice;
    int lines, products, routes;
    double units;               /* of a week, all lines; varies by a tenth */
    double rate[WEEK_SYMPTOMS]; /* complaints a unit */
    double phi;                 /* spread of the number about one line's week of packing */
    double delay[WEEK_DELAYS];  /* shares */
    double season;              /* amplitude of the log rate of mold over the year */
    int raised_line;            /* SIM_ALL_LINES, or -1: none */
    int raised_from;            /* index of SIM_WEEKS, by week of packing */
    double raised_times;
    int first;      /* index of SIM_WEEKS: the first week that packs anything */
    double trouble; /* how often a line's week is in trouble, mold so many times … */
    double trouble_times;
    double trouble_delay[WEEK_DELAYS];    /* … reported after delays of its own */
    long final[WEEK_SYMPTOMS][SIM_WEEKS]; /* of all together by week of packing: the truth */
};

static inline size_t sim_level(struct week_data *d, const char *cut, int number)
{
    char name[16];
    struct week_level *l = &d->levels[d->level_count];
    snprintf(name, sizeof name, "%d", number);
    l->cut = *cut ? cuts_find(cut) : NULL;
    l->level = xstrdup(number < 0 ? "" : name);
    return d->level_count++;
}

static inline void sim_add(struct week_data *d, size_t level, int symptom, int received, long n)
{
    int i = received - (SIM_WEEKS - WEEK_SPAN);
    if (i >= 0 && i < WEEK_SPAN)
        d->levels[level].counts[symptom][i] += (double)n;
}

/* Where levels stand in the data: the line, and the first product and route. */
struct sim_levels {
    size_t line, products, routes;
};

struct sim_batch {
    int made, symptom; /* made: index of SIM_WEEKS */
    double expected;
    const double *delay;
};

/* One line's packing of a week: its complaints, spread over delays, products and routes. */
static inline void sim_pack(struct sim *sim, struct week_data *d, struct sim_levels at,
                            const struct sim_batch *batch)
{
    int made = batch->made, symptom = batch->symptom;
    double expected = batch->expected;
    long total = dice_count(&sim->dice, expected, sim->phi);
    sim->final[symptom][made] += total;
    for (long c = 0; c < total; c++) {
        double u = dice_unit(&sim->dice);
        int delay = 0;
        while (delay < WEEK_DELAYS - 1 && u >= batch->delay[delay])
            u -= batch->delay[delay++];
        int received = made + delay, h = made - WEEK_DELAYS;
        if (received >= SIM_WEEKS)
            continue;
        sim_add(d, 0, symptom, received, 1);
        sim_add(d, at.line, symptom, received, 1);
        sim_add(d, at.products + (size_t)(dice_unit(&sim->dice) * sim->products), symptom, received,
                1);
        sim_add(d, at.routes + (size_t)(dice_unit(&sim->dice) * sim->routes), symptom, received, 1);
        if (received >= WEEK_DELAYS)
            d->counts[symptom][received - WEEK_DELAYS] += 1;
        if (h >= 0) {
            d->made[symptom][h][delay] += 1;
            d->made_all[symptom][h] += 1;
        }
    }
}

/* As of the end of the last week. */
static inline struct week_data *sim_run(struct sim *sim)
{
    struct week_data *d = xcalloc(1, sizeof *d);
    d->level_capacity = (size_t)(1 + sim->lines + sim->products + sim->routes);
    d->levels = xcalloc(d->level_capacity, sizeof *d->levels);
    sim_level(d, "", -1);
    size_t lines = d->level_count;
    for (int i = 0; i < sim->lines; i++)
        sim_level(d, "line", i);
    size_t products = d->level_count;
    for (int i = 0; i < sim->products; i++)
        sim_level(d, "product", i);
    size_t routes = d->level_count;
    for (int i = 0; i < sim->routes; i++)
        sim_level(d, "route", i);
    memset(sim->final, 0, sizeof sim->final);
    d->week = 2900;
    d->now_week = d->week + 1;
    d->shown.from_ms = (d->week * INT64_C(7) - 3) * WHEN_DAY_MS;
    d->shown.to_ms = d->now_ms = d->shown.from_ms + 7 * WHEN_DAY_MS;
    d->passed = 1;
    d->first_units = sim->first;
    for (int w = sim->first; w < SIM_WEEKS; w++) {
        for (int l = 0; l < sim->lines; l++) {
            double units = sim->units / sim->lines * (0.9 + 0.2 * dice_unit(&sim->dice));
            int span = w - (SIM_WEEKS - WEEK_SPAN);
            d->units[w] += units;
            if (span >= 0) {
                d->levels[0].units[span] += units;
                d->levels[lines + (size_t)l].units[span] += units;
                for (int i = 0; i < sim->products; i++)
                    d->levels[products + (size_t)i].units[span] += units / sim->products;
                for (int i = 0; i < sim->routes; i++)
                    d->levels[routes + (size_t)i].units[span] += units / sim->routes;
            }
            bool trouble = sim->trouble > 0 && dice_unit(&sim->dice) < sim->trouble;
            for (int s = 0; s < WEEK_SYMPTOMS; s++) {
                double rate = sim->rate[s] * (trouble && s == 0 ? sim->trouble_times : 1);
                if (s == 0)
                    rate *= exp(sim->season * cos(2 * M_PI * w / 52.1775));
                bool raised = l == sim->raised_line || sim->raised_line == SIM_ALL_LINES;
                if (raised && w >= sim->raised_from)
                    rate *= sim->raised_times;
                const struct sim_levels at = {lines + (size_t)l, products, routes};
                const struct sim_batch batch = {
                    w, s, units * rate, trouble && s == 0 ? sim->trouble_delay : sim->delay};
                sim_pack(sim, d, at, &batch);
            }
        }
    }
    return d;
}

static inline struct sim sim_plant(uint64_t seed)
{
    return (struct sim){.dice = {seed},
                        .lines = 4,
                        .products = 12,
                        .routes = 16,
                        .units = 1e6,
                        .rate = {20e-6, 4e-6, 9e-6},
                        .phi = 1.5,
                        .delay = {0.3, 0.42, 0.18, 0.07, 0.03},
                        .raised_line = -1};
}

#endif

#include "patterns/trace_cells.h"
#include "base/text.h"
#include "patterns/trace_leans.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { ASIDE = 4 }; /* of so many weeks, or a part of them, one is left aside */
/* What is usual of all weighs in a level's rate as so many complaints (common practice, no source).
 */
#define ALIKE 3.0

/* ---- cells ---- */

static void add_cell(struct trace_cells *c, const struct trace_sent *sent, double share)
{
    const struct trace_lot *lot = &c->t->lots[sent->lot];
    c->cell[c->count] = *sent;
    c->usual[c->count++] = lot->excluded ? 0 : share * (double)(lot->due > 0 ? lot->due : 1);
}

static void make_cells(struct trace_cells *c)
{
    const struct trace_trips *sent = &c->t->sent;
    size_t at = 0, report = 0;
    for (size_t i = 0; i < c->t->count; i++) {
        double all = 0;
        size_t end = at;
        c->first[i] = c->count;
        c->report[i] = report;
        while (end < sent->count && sent->rows[end].lot == i)
            all += sent->rows[end++].units;
        const struct trace_sent nowhere = {.lot = i, .units = 1};
        if (all <= 0)
            add_cell(c, &nowhere, 1);
        for (; at < end; at++) {
            if (all > 0 && sent->rows[at].units > 0)
                add_cell(c, &sent->rows[at], sent->rows[at].units / all);
        }
        while (report < c->t->reports.count && c->t->reports.rows[report].lot == i)
            report++;
    }
    c->first[c->t->count] = c->count;
    c->report[c->t->count] = report;
}

static void make_weeks(struct trace_cells *c)
{
    for (size_t i = 0; i < c->t->count; i++) { /* lots are in order of packing */
        if (!i || c->t->lots[i].week != c->t->lots[i - 1].week)
            c->week_count++;
        c->week[i] = c->week_count - 1;
        c->came[c->week[i]] += (double)trace_cells_came(c, i);
    }
}

long trace_cells_came(const struct trace_cells *c, size_t lot)
{
    const struct trace_lot *l = &c->t->lots[lot];
    return !l->failed ? 0 : l->complaints > 0 ? l->complaints : 1;
}

double trace_cells_in(const struct trace_cells *c, const struct trace_sent *cell, size_t level,
                      bool sent)
{
    const struct trace_level *l = &c->t->levels[level];
    if (sent && l->only_named)
        return cell->store ? 0 : l->told;
    return !sent || cell->route == level + 1 || cell->store == level + 1 ||
           cell->retailer == level + 1;
}

bool trace_cells_is_sent(const struct trace_lots *t, size_t level)
{
    const char *factor = t->levels[level].factor;
    return strcmp(factor, "route") == 0 || strcmp(factor, "store") == 0 ||
           strcmp(factor, "retailer") == 0;
}

static bool may_be_from(const struct trace_sent *cell, const struct trace_sent *report)
{
    if (report && report->store)
        return cell->store == report->store;
    return !report || !report->route || cell->route == report->route;
}

/* What went of a lot by the route of a cell. */
static double units_by(const struct trace_cells *c, const struct trace_sent *cell)
{
    double units = 0;
    for (size_t k = c->first[cell->lot]; k < c->first[cell->lot + 1]; k++)
        units += c->cell[k].route == cell->route ? c->cell[k].units : 0;
    return units;
}

/* Of a store whose route is only likely: what went by each route is in what is likely of it. */
static double leaning_share(const struct trace_cells *c, const double *now,
                            const struct trace_sent *report, size_t level)
{
    double in = 0, all = 0;
    for (size_t k = c->first[report->lot]; k < c->first[report->lot + 1]; k++) {
        double lean = trace_leans_of(c->t, report->store, c->cell[k].route);
        double part = lean > 0 ? lean * now[k] / units_by(c, &c->cell[k]) : 0;
        all += part;
        in += part * trace_cells_in(c, &c->cell[k], level, true);
    }
    return all > 0 ? in / all : trace_cells_share(c, now, report->lot, NULL, level);
}

double trace_cells_share(const struct trace_cells *c, const double *now, size_t lot,
                         const struct trace_sent *report, size_t level)
{
    double in = 0, all = 0;
    if (report && report->store && c->t->levels[level].only_named)
        return report->store == level + 1;
    if (report && report->store && !report->route && c->t->levels[report->store - 1].lean_count)
        return leaning_share(c, now, report, level);
    for (size_t k = c->first[lot]; k < c->first[lot + 1]; k++) {
        if (!may_be_from(&c->cell[k], report))
            continue;
        all += now[k];
        in += now[k] * trace_cells_in(c, &c->cell[k], level, true);
    }
    if (all <= 0 && report) /* named what it was never sent to */
        return trace_cells_share(c, now, lot, NULL, level);
    return all > 0 ? in / all : 0;
}

/* ---- what is usual ---- */

struct tally { /* of a level, by week */
    double *came, *due;
};

static void tally_lots(const struct trace_cells *c, size_t level, struct tally *y)
{
    const struct trace_level *l = &c->t->levels[level];
    for (size_t i = 0; i < l->count; i++) {
        size_t lot = l->lots[i], week = c->week[lot];
        y->came[week] += (double)trace_cells_came(c, lot);
        for (size_t k = c->first[lot]; k < c->first[lot + 1]; k++)
            y->due[week] += c->usual[k];
    }
}

/* Complaints over those due, of all weeks but the quarter that most exceed them. */
static double usual_ratio(const struct trace_cells *c, const struct tally *y)
{
    double came = ALIKE, due = ALIKE;
    size_t aside = (c->week_count + ASIDE - 1) / ASIDE;
    for (size_t w = 0; w < c->week_count; w++) {
        size_t above = 0;
        for (size_t v = 0; v < c->week_count; v++)
            above += y->came[v] - y->due[v] > y->came[w] - y->due[w];
        if (above >= aside) {
            came += y->came[w];
            due += y->due[w];
        }
    }
    return came / due;
}

static void set_usual(struct trace_cells *c, size_t level, double ratio)
{
    const struct trace_level *l = &c->t->levels[level];
    for (size_t i = 0; i < l->count; i++) {
        for (size_t k = c->first[l->lots[i]]; k < c->first[l->lots[i] + 1]; k++)
            c->usual[k] *= ratio;
    }
}

static void fit_factor(struct trace_cells *c, const char *factor)
{
    struct tally y = {xcalloc(2 * c->week_count + 1, sizeof *y.came), NULL};
    y.due = y.came + c->week_count;
    for (size_t i = 0; i < c->t->level_count; i++) {
        if (strcmp(c->t->levels[i].factor, factor) != 0)
            continue;
        memset(y.came, 0, 2 * c->week_count * sizeof *y.came);
        tally_lots(c, i, &y);
        set_usual(c, i, usual_ratio(c, &y));
    }
    free(y.came);
}

/* As many as came, over all units. */
static void fit_all(struct trace_cells *c)
{
    double came = 0, due = 0;
    for (size_t w = 0; w < c->week_count; w++)
        came += c->came[w];
    for (size_t k = 0; k < c->count; k++)
        due += c->usual[k];
    for (size_t k = 0; k < c->count && due > 0; k++)
        c->usual[k] *= came / due;
}

/* Routes and stores have no usual of their own: what they got is known, and a store that keeps
 * bread too warm does so in all of the weeks asked of. */
struct trace_cells *trace_cells_new(const struct trace_lots *t)
{
    static const char *const FACTORS[] = {"product", "line", "shift"};
    struct trace_cells *c = xcalloc(1, sizeof *c);
    size_t most = t->count + t->sent.count + 1;
    *c = (struct trace_cells){.t = t,
                              .cell = xcalloc(most, sizeof *c->cell),
                              .usual = xcalloc(most, sizeof *c->usual),
                              .first = xcalloc(t->count + 1, sizeof *c->first),
                              .report = xcalloc(t->count + 1, sizeof *c->report),
                              .week = xcalloc(t->count + 1, sizeof *c->week),
                              .came = xcalloc(t->count + 1, sizeof *c->came)};
    make_cells(c);
    make_weeks(c);
    fit_all(c);
    for (size_t i = 0; i < sizeof FACTORS / sizeof FACTORS[0]; i++)
        fit_factor(c, FACTORS[i]);
    return c;
}

void trace_cells_free(struct trace_cells *c)
{
    if (!c)
        return;
    free(c->cell);
    free(c->usual);
    free(c->first);
    free(c->report);
    free(c->week);
    free(c->came);
    free(c);
}

#include "patterns/week_rates.h"
#include "base/plant_level.h"
#include "base/text.h"
#include "patterns/week_to_come.h"
#include "rank/triage.h"
#include "rules/targets.h"
#include "stats/pareto.h"
#include "stats/poisson.h"
#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

enum { TREND_WEEKS = 13, LIMITS_KEPT = 256, LAST = WEEK_SPAN - 1 };

/* ---- rates ---- */

/* Exact limits of small whole counts are wanted over and over. */
struct limits {
    struct interval kept[LIMITS_KEPT];
    bool known[LIMITS_KEPT];
};

static struct interval limits_of(struct limits *l, double count)
{
    bool small = count >= 0 && count < LIMITS_KEPT && count == floor(count);
    if (small && l->known[(int)count])
        return l->kept[(int)count];
    struct interval limits = poisson_limits(count, 0.95);
    if (small) {
        l->kept[(int)count] = limits;
        l->known[(int)count] = true;
    }
    return limits;
}

static double tidy(double x)
{
    return round(x * 1e6) / 1e6;
}

static void set_rate(json_t *row, struct limits *limits, double count, double units)
{
    if (units <= 0)
        return;
    struct interval l = limits_of(limits, count);
    double scale = 1e6 / units;
    json_object_set_new_nocheck(row, "per_million", json_real(count * scale));
    json_object_set_new_nocheck(row, "low", json_real(l.low * scale));
    json_object_set_new_nocheck(row, "high", json_real(l.high * scale));
}

struct rating {
    const struct week_model *model;  /* NULL: of days, no weeks around them */
    const struct week_data *against; /* NULL: nothing to compare with */
    struct limits *limits;
    const struct targets *targets;
};

/* A rate that may lie on either side of its target says nothing of it. */
static void set_target(json_t *row, const struct targets *targets, const struct week_level *level)
{
    const char *symptom = json_string_value(json_object_get(row, "symptom"));
    const json_t *low = json_object_get(row, "low"), *high = json_object_get(row, "high");
    double target = targets_per_million(targets, level->plant, level->level, symptom);
    if (level->cut != cuts_find("line") || !isfinite(target) || !low)
        return;
    json_object_set_new(row, "target", json_real(target));
    json_object_set_new(row, "target_met",
                        json_string(json_number_value(high) <= target ? "met"
                                    : json_number_value(low) > target ? "not met"
                                                                      : "too few to say"));
}

static json_t *trend_json(const struct week_level *level, int symptom)
{
    json_t *trend = json_array();
    for (int i = WEEK_SPAN - TREND_WEEKS; i < WEEK_SPAN; i++)
        json_array_append_new(
            trend, level->units[i] > 0
                       ? json_real(tidy(level->counts[symptom][i] * 1e6 / level->units[i]))
                       : json_null());
    return trend;
}

static json_t *count_json(bool fractional, double count)
{
    return fractional ? json_real(tidy(count)) : json_integer((json_int_t)llround(count));
}

/* By week of make: over the units times the share of their complaints that are in. */
static json_t *made_json(const struct week_model *m, struct limits *limits,
                         const struct week_level *level, int symptom, bool fractional)
{
    double share = week_to_come_share_in(m, symptom, WEEK_HISTORY - 1);
    json_t *made = json_object();
    json_object_set_new_nocheck(made, "complaints", count_json(fractional, level->made[symptom]));
    json_object_set_new_nocheck(made, "share_in", json_real(tidy(share)));
    if (m->coming[symptom].known && share >= DELAY_TOO_EARLY)
        set_rate(made, limits, level->made[symptom], level->units[LAST] * share);
    return made;
}

/* What a level brought in another time, and how the rates compare. */
static json_t *against_json(const struct week_level *level, const struct week_data *against,
                            int symptom)
{
    const struct week_level *was = NULL;
    for (size_t i = 0; i < against->level_count && !was; i++) {
        const struct week_level *l = &against->levels[i];
        if (l->cut == level->cut && strcmp(l->level, level->level) == 0 &&
            strcmp(l->plant, level->plant) == 0)
            was = l;
    }
    return week_rates_compare_json(level, was, symptom);
}

static json_t *rate_json(const struct rating *r, const struct week_level *level, int symptom,
                         const char *title)
{
    struct limits *limits = r->limits;
    bool fractional = cuts_fractional(level->cut);
    double count = level->counts[symptom][LAST], units = level->units[LAST];
    json_t *row = json_object();
    json_object_set_new_nocheck(row, "level", json_string(level->level));
    plant_level_set(row, level->plant);
    if (title)
        json_object_set_new_nocheck(row, "title", json_string(title));
    json_object_set_new_nocheck(row, "symptom", json_string(symptom_name(symptom)));
    json_object_set_new_nocheck(row, "complaints", count_json(fractional, count));
    json_object_set_new_nocheck(row, "units", json_integer((json_int_t)units));
    set_rate(row, limits, fractional ? tidy(count) : count, units);
    set_target(row, r->targets, level);
    if (r->model) {
        double sale = week_expect_on_sale(r->model, level, symptom);
        json_object_set_new_nocheck(row, "on_sale", json_real(round(sale)));
        if (sale >= 1)
            json_object_set_new_nocheck(row, "per_million_on_sale", json_real(count * 1e6 / sale));
        json_object_set_new_nocheck(row, "trend", trend_json(level, symptom));
        json_object_set_new_nocheck(row, "made",
                                    made_json(r->model, limits, level, symptom, fractional));
    }
    if (r->against)
        json_object_set_new_nocheck(row, "against", against_json(level, r->against, symptom));
    return row;
}

struct entry {
    const struct week_level *level;
    int symptom;
};

static int by_count(const void *a, const void *b)
{
    const struct entry *x = a, *y = b;
    double nx = x->level->counts[x->symptom][LAST], ny = y->level->counts[y->symptom][LAST];
    if (nx != ny)
        return nx > ny ? -1 : 1;
    int names = strcmp(x->level->level, y->level->level);
    names = names ? names : strcmp(x->level->plant, y->level->plant);
    return names ? names : x->symptom - y->symptom;
}

/* Levels that were made this week, or complained about. */
static size_t collect(const struct week_data *d, const struct cut *cut, struct entry *entries)
{
    size_t count = 0;
    bool lent = cuts_lent_units(cut);
    for (size_t i = 0; i < d->level_count; i++) {
        const struct week_level *l = &d->levels[i];
        if (l->cut != cut)
            continue;
        for (int s = 0; s < WEEK_SYMPTOMS; s++) {
            bool made = l->units[LAST] > 0 && !lent;
            if (made || l->counts[s][LAST] > 0 || l->made[s] > 0)
                entries[count++] = (struct entry){l, s};
        }
    }
    qsort(entries, count, sizeof *entries, by_count);
    return count;
}

json_t *week_rates_by_json(const struct week_rates *what, const struct triage *triage)
{
    const struct week_data *d = what->data;
    struct entry *entries = xcalloc(d->level_count * WEEK_SYMPTOMS, sizeof *entries);
    struct rating rating = {what->model, what->against, xcalloc(1, sizeof *rating.limits),
                            what->targets};
    json_t *out = json_object();
    for (const struct cut *cut = cuts_all(); cut->name; cut++) {
        if (!cuts_in(what->cuts, cut))
            continue;
        json_t *rows = json_array();
        size_t count = collect(d, cut, entries);
        for (size_t i = 0; i < count; i++) {
            const char *title = NULL;
            if (triage && cut->source == CUT_CAUSE)
                title = triage_cause_title(triage, entries[i].level->level);
            json_array_append_new(rows,
                                  rate_json(&rating, entries[i].level, entries[i].symptom, title));
        }
        json_object_set_new(out, cut->name, rows);
    }
    free(rating.limits);
    free(entries);
    return out;
}

static double in_rows(const json_t *rows, const char *symptom)
{
    double sum = 0;
    size_t i;
    const json_t *row;
    json_array_foreach(rows, i, row)
    {
        const char *of = json_string_value(json_object_get(row, "symptom"));
        if (of && strcmp(of, symptom) == 0)
            sum += json_number_value(json_object_get(row, "complaints"));
    }
    return sum;
}

json_t *week_rates_unplaced_json(const json_t *by, const json_t *complaints)
{
    json_t *out = json_object(), *rows, *count;
    const char *name, *symptom;
    json_object_foreach((json_t *)(uintptr_t)by, name, rows)
    {
        const struct cut *cut = cuts_find(name);
        json_t *apart = json_object();
        json_object_foreach((json_t *)(uintptr_t)complaints, symptom, count)
        {
            double left = json_number_value(count) - in_rows(rows, symptom);
            if (left >= 1)
                json_object_set_new(apart, symptom, json_integer((json_int_t)llround(left)));
        }
        if (cut && !cuts_fractional(cut) && json_object_size(apart))
            json_object_set(out, name, apart);
        json_decref(apart);
    }
    return out;
}

static json_t *number_or_null(double x)
{
    return isfinite(x) ? json_real(x) : json_null();
}

json_t *week_rates_compare_json(const struct week_level *now, const struct week_level *was,
                                int symptom)
{
    double n = now->counts[symptom][LAST], n_units = now->units[LAST];
    double w = was ? was->counts[symptom][LAST] : 0, w_units = was ? was->units[LAST] : 0;
    struct poisson_ratio r;
    bool known = n_units > 0 && w_units > 0 && llround(n) + llround(w) > 0 &&
                 !poisson_compare(lround(n), n_units, lround(w), w_units, 0.95, &r);
    json_t *out = json_pack("{s:f, s:f, s:o}", "complaints", tidy(w), "units", w_units,
                            "per_million", number_or_null(w_units > 0 ? w * 1e6 / w_units : NAN));
    json_object_set_new(out, "ratio", number_or_null(known ? r.ratio : NAN));
    json_object_set_new(out, "low", number_or_null(known ? r.exact.low : NAN));
    json_object_set_new(out, "high", number_or_null(known ? r.exact.high : NAN));
    return out;
}

/* ---- causes ---- */

static void add_pareto(json_t *rows, const struct week_data *d, const struct triage *triage,
                       int symptom, struct pareto_row *pareto)
{
    size_t count = 0;
    for (size_t i = 0; i < d->level_count; i++) {
        const struct week_level *l = &d->levels[i];
        double expected = tidy(l->counts[symptom][LAST]);
        if (l->cut && l->cut->source == CUT_CAUSE && expected > 0)
            pareto[count++] = (struct pareto_row){.name = l->level, .count = expected};
    }
    if (pareto_order(pareto, count, "not-known", 0.8))
        return;
    for (size_t i = 0; i < count; i++) {
        const char *title = triage ? triage_cause_title(triage, pareto[i].name) : NULL;
        json_array_append_new(
            rows, json_pack("{s:s, s:s, s:s, s:f, s:f, s:f, s:b}", "cause", pareto[i].name, "title",
                            title ? title : pareto[i].name, "symptom", symptom_name(symptom),
                            "expected", pareto[i].count, "share", pareto[i].share, "cumulative",
                            pareto[i].cumulative, "vital", pareto[i].vital));
    }
}

json_t *week_rates_causes_json(const struct week_data *d, const struct triage *triage)
{
    struct pareto_row *pareto = xcalloc(d->level_count, sizeof *pareto);
    json_t *rows = json_array();
    for (int s = 0; s < WEEK_SYMPTOMS; s++)
        add_pareto(rows, d, triage, s, pareto);
    free(pareto);
    return rows;
}

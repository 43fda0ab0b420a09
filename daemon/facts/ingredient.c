#include "facts/ingredient.h"
#include "rules/catalogue.h"
#include <math.h>
#include <string.h>

/* What rules call it, of whom, and what is measured. */
static const struct role {
    const char *quantity;
    enum preserver_role role;
    bool is_strength;
} ROLES[] = {
    {"inhibitor_pct_flour", PRESERVER_INHIBITOR, false},
    {"acid_pct_flour", PRESERVER_SOUR, false},
    {"inhibitor_active_pct", PRESERVER_INHIBITOR, true},
};

static const struct role *role_of(const char *quantity)
{
    for (size_t i = 0; i < sizeof ROLES / sizeof ROLES[0]; i++)
        if (strcmp(ROLES[i].quantity, quantity) == 0)
            return &ROLES[i];
    return NULL;
}

static bool is_of(const struct rules *rules, const struct role *role,
                  const struct lot_series *series)
{
    const struct catalogue_quantity *known =
        series->count ? catalogue_quantity(rules->catalogue, series->quantity) : NULL;
    return known && known->preserver && known->preserver->role == role->role &&
           (known->measure == PRESERVER_STRENGTH) == role->is_strength;
}

/* Logarithm of a lot's value over what it should be; NAN where either is not known. */
static double off(const struct ingredient_asked *asked, const struct lot_series *series,
                  enum fact_part part)
{
    struct lot_summary summary = lot_record_summary(asked->record, series, asked->as_of_ms);
    const struct fact_usual *usual = facts_usual(asked->baseline, series->quantity);
    double value = part == PART_MIN ? summary.min : part == PART_MAX ? summary.max : summary.median;
    double should = series->target;
    if (isnan(should) && usual && usual->count >= FACTS_BASELINE_LEAST)
        should = usual->median[part];
    return should > 0 ? log(value / should) : NAN;
}

const char *ingredient_spoken_of(const struct ingredient_asked *asked, const struct fact_name *name)
{
    const struct role *role = role_of(name->quantity);
    const struct lot_series *own = lot_record_series(asked->record, name->quantity);
    bool own_read = own && own->count > 0;
    const char *best = name->quantity;
    double furthest = own_read ? off(asked, own, name->part) : NAN;
    double side = asked->symptom == SYMPTOM_MOLD ? -1 : 1;
    for (int i = 0; role && i < asked->record->series_count; i++) {
        const struct lot_series *series = &asked->record->series[i];
        if (!is_of(asked->rules, role, series))
            continue;
        double away = off(asked, series, name->part);
        bool first = best == name->quantity && !own_read;
        if (first || (isnan(furthest) && !isnan(away)) || side * away > side * furthest) {
            best = series->quantity;
            furthest = away;
        }
    }
    return best;
}

static bool brings_sorbic(const struct preserver *preserver)
{
    for (int i = 0; i < preserver->acid_count; i++)
        if (preserver->brings[i].kind == ACID_SORBIC)
            return true;
    return false;
}

/* Some of it was found, or is wanted. */
static bool is_there(const struct lot_record *record, const struct lot_series *series,
                     int64_t as_of_ms)
{
    return series->target > 0 ||
           (series->count > 0 && lot_record_summary(record, series, as_of_ms).max > 0);
}

int ingredient_sorbate(const struct rules *rules, const struct lot_record *record, int64_t as_of_ms)
{
    bool named = false, sorbic = false;
    for (int i = 0; i < record->use_count; i++) {
        const struct preserver *p = catalogue_preserver(rules->catalogue, record->uses[i].kind);
        named |= p && p->role == PRESERVER_INHIBITOR;
        sorbic |= p && brings_sorbic(p);
    }
    for (int i = 0; i < record->series_count; i++) {
        const struct lot_series *series = &record->series[i];
        const struct catalogue_quantity *known =
            catalogue_quantity(rules->catalogue, series->quantity);
        const struct preserver *p = known ? known->preserver : NULL;
        bool propionate = strcmp(series->quantity, "propionate_ppm") == 0;
        if (!(p || propionate) || !is_there(record, series, as_of_ms))
            continue;
        named |= propionate || p->role == PRESERVER_INHIBITOR;
        sorbic |= p && brings_sorbic(p);
    }
    return sorbic ? 1 : named ? 0 : -1;
}

bool ingredient_left_out(const struct rules *rules, const struct lot_record *record,
                         const char *dose, int64_t as_of_ms)
{
    static const char INHIBITOR[] = "inhibitor_pct_flour", ACID[] = "acid_pct_flour";
    const struct lot_series *own = lot_record_series(record, dose);
    if (!own || !(own->target <= 0)) /* NAN: it is not said */
        return false;
    for (int i = 0; i < record->series_count; i++)
        if (strcmp(rules_quantity(rules, record->series[i].quantity), dose) == 0 &&
            is_there(record, &record->series[i], as_of_ms))
            return false;
    for (int i = 0; i < record->use_count; i++) {
        const struct preserver *p = catalogue_preserver(rules->catalogue, record->uses[i].kind);
        const char *role = !p ? "" : p->role == PRESERVER_INHIBITOR ? INHIBITOR : ACID;
        if (strcmp(role, dose) == 0)
            return false;
    }
    return true;
}

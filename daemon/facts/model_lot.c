#include "facts/model_lot.h"
#include "base/text.h"
#include "rules/catalogue.h"
#include <assert.h>
#include <math.h>
#include <stddef.h>
#include <string.h>

/* From the dock to the shelf: common practice, no source. */
enum { TRANSIT_HOURS = 12 };

/* Quantities of the records that are numbers of the models as they are. */
static const struct {
    const char *quantity;
    size_t member;
} NUMBERS[] = {
    {"crumb_ph", offsetof(struct lot_conditions, crumb_ph)},
    {"crumb_aw", offsetof(struct lot_conditions, crumb_aw)},
    {"crumb_moisture_pct", offsetof(struct lot_conditions, crumb_moisture_pct)},
    {"propionate_ppm", offsetof(struct lot_conditions, propionate_mg_kg)},
    {"bake_min", offsetof(struct lot_conditions, bake_min)},
    {"core_end_bake_c", offsetof(struct lot_conditions, core_end_bake_c)},
    {"cool_min", offsetof(struct lot_conditions, cool_min)},
    {"cooler_air_c", offsetof(struct lot_conditions, cooler_air_c)},
    {"core_at_pack_c", offsetof(struct lot_conditions, core_at_pack_c)},
    {"pack_room_c", offsetof(struct lot_conditions, pack_room_c)},
    {"aerobic_spores_cfu_g", offsetof(struct lot_conditions, aerobic_spores_cfu_g)},
};

bool model_lot_reads(const char *quantity)
{
    for (size_t i = 0; i < sizeof NUMBERS / sizeof NUMBERS[0]; i++)
        if (strcmp(NUMBERS[i].quantity, quantity) == 0)
            return true;
    return false;
}

static double *number_at(struct lot_conditions *lot, size_t member)
{
    return (double *)(void *)((char *)lot + member);
}

enum { NUMBERS_COUNT = sizeof NUMBERS / sizeof NUMBERS[0] };

bool model_lot_takes(const struct catalogue *catalogue, const char *quantity)
{
    static const char *const DOSES[] = {"inhibitor_pct_flour", "inhibitor_active_pct",
                                        "acid_pct_flour", "acid_grain", "softener_pct_flour"};
    const struct catalogue_quantity *known = catalogue_quantity(catalogue, quantity);
    for (size_t i = 0; i < sizeof DOSES / sizeof DOSES[0]; i++)
        if (strcmp(DOSES[i], quantity) == 0)
            return true;
    return model_lot_reads(quantity) || (known && known->preserver);
}

/* Where a lot's readings come from. */
struct source {
    const struct rules *rules; /* NULL where nothing is changed */
    const struct lot_record *record;
    const struct fact_baseline *baseline;
    int64_t as_of_ms;
    const struct model_changes *changes; /* NULL: none */
};

static const struct model_change *change_of(const struct source *s, const char *quantity)
{
    for (size_t i = 0; s->changes && i < s->changes->count; i++)
        if (strcmp(s->changes->row[i].quantity, quantity) == 0)
            return &s->changes->row[i];
    return NULL;
}

static bool brings_propionate(const struct rules *rules, const char *quantity)
{
    const struct catalogue_quantity *known = catalogue_quantity(rules->catalogue, quantity);
    for (int i = 0; known && known->preserver && i < known->preserver->acid_count; i++)
        if (known->preserver->brings[i].kind == ACID_PROPIONIC)
            return true;
    return false;
}

/* Does it follow from what is changed? */
static bool is_overtaken(const struct source *s, const char *quantity)
{
    static const struct {
        const char *what, *with;
    } FOLLOWS[] = {{"propionate_ppm", "inhibitor_pct_flour"},
                   {"propionate_ppm", "inhibitor_active_pct"},
                   {"core_at_pack_c", "cool_min"},
                   {"core_at_pack_c", "cooler_air_c"},
                   {"core_at_pack_c", "core_end_bake_c"}};
    for (size_t i = 0; i < sizeof FOLLOWS / sizeof FOLLOWS[0]; i++)
        if (strcmp(FOLLOWS[i].what, quantity) == 0 && change_of(s, FOLLOWS[i].with))
            return true;
    bool is_propionate = strcmp(quantity, "propionate_ppm") == 0;
    for (size_t i = 0; is_propionate && s->changes && i < s->changes->count; i++)
        if (brings_propionate(s->rules, s->changes->row[i].quantity))
            return true;
    return false;
}

struct reading {
    double made, specified;
};

static struct reading reading_of(const struct source *s, const char *quantity)
{
    const struct lot_series *series = lot_record_series(s->record, quantity);
    const struct fact_usual *usual = facts_usual(s->baseline, quantity);
    const struct model_change *change = change_of(s, quantity);
    struct reading reading = {NAN, series ? series->target : NAN};
    if (change)
        reading.made = change->value;
    else if (!(s->changes && s->changes->nothing_read) && !is_overtaken(s, quantity))
        reading.made = lot_record_with(s->record, quantity, NULL, 0, s->as_of_ms).median;
    if (isnan(reading.specified) && usual && usual->count >= FACTS_BASELINE_LEAST)
        reading.specified = usual->median[PART_MEDIAN];
    return reading;
}

/* ---- preserving ingredients ---- */

/* One of them, and what tells of it. */
struct ingredient {
    const struct preserver *preserver;
    bool on_surface, own; /* own: the plant's inhibitor or acid, told without a kind */
    const char *dose;
    char strength[LENGTH_WORD + 1];
    struct reading pct, active_pct;
};

/* All there are, in the dough and on the surface, and the plant's own two. */
enum { INGREDIENTS_MOST = 2 * PRESERVERS_MOST + 2 };
static_assert((PRESERVERS_MOST + 2) * PRESERVER_ACIDS <= LOT_DOSES_MAX, "no acid is left out");
static_assert(PRESERVERS_MOST * PRESERVER_ACIDS <= LOT_SPRAYS_MAX, "no acid is left out");

struct system {
    struct ingredient of[INGREDIENTS_MOST];
    size_t count;
};

/* Vinegar of n grain holds n/10 g of acetic acid in 100 mL. */
static double vinegar_active_pct(double grain)
{
    return isnan(grain) ? NAN : acid_vinegar_g_100ml(grain);
}

static double first_known(double a, double b)
{
    return isnan(a) ? b : a;
}

static void add_ingredient(struct system *system, const struct source *s, struct ingredient one)
{
    if (!one.preserver || system->count == INGREDIENTS_MOST)
        return;
    for (size_t i = 0; i < system->count; i++)
        if (strcmp(system->of[i].dose, one.dose) == 0)
            return;
    one.pct = reading_of(s, one.dose);
    one.active_pct = reading_of(s, one.strength);
    system->of[system->count++] = one;
}

static void add_named(struct system *system, const struct source *s, const char *quantity)
{
    const struct rules *rules = s->rules;
    const struct catalogue_quantity *known = catalogue_quantity(rules->catalogue, quantity);
    if (!known || !known->preserver || known->measure == PRESERVER_STRENGTH)
        return;
    struct ingredient one = {.preserver = known->preserver,
                             .on_surface = known->measure == PRESERVER_SURFACE_DOSE,
                             .dose = known->name};
    char name[LENGTH_WORD + 1];
    text_clip(
        rules_quantity(rules, preserver_quantity(one.preserver->kind, PRESERVER_STRENGTH, name)),
        one.strength, sizeof one.strength);
    add_ingredient(system, s, one);
}

/* The plant's own two, and whatever else is on record, in the recipe, usual, or changed. */
static void take_system(const struct source *s, struct system *ret)
{
    const struct rules *rules = s->rules;
    const struct catalogue *catalogue = rules->catalogue;
    struct ingredient inhibitor = {.preserver =
                                       catalogue_preserver(catalogue, rules->ranking.inhibitor),
                                   .own = true,
                                   .dose = "inhibitor_pct_flour",
                                   .strength = "inhibitor_active_pct"};
    struct ingredient acid = {.preserver = catalogue_preserver(catalogue, rules->ranking.acid),
                              .own = true,
                              .dose = "acid_pct_flour"};
    preserver_quantity(rules->ranking.acid, PRESERVER_STRENGTH, acid.strength);
    add_ingredient(ret, s, inhibitor);
    add_ingredient(ret, s, acid);
    struct reading grain = reading_of(s, "acid_grain");
    struct reading *sour = ret->count == 2 ? &ret->of[1].active_pct : &(struct reading){NAN, NAN};
    sour->made = first_known(vinegar_active_pct(grain.made), sour->made);
    sour->specified = first_known(vinegar_active_pct(grain.specified), sour->specified);
    for (int i = 0; i < s->record->series_count; i++)
        add_named(ret, s, s->record->series[i].quantity);
    for (int i = 0; i < s->baseline->count; i++)
        add_named(ret, s, s->baseline->usual[i].quantity);
    for (size_t i = 0; s->changes && i < s->changes->count; i++)
        add_named(ret, s, s->changes->row[i].quantity);
}

static void add_dose(struct lot_conditions *lot, const struct ingredient *of, double pct,
                     double active_pct)
{
    if (isnan(pct))
        return;
    for (int i = 0; i < of->preserver->acid_count; i++) {
        const struct acid_dose dose = {&of->preserver->brings[i], pct, active_pct, NAN};
        if (of->on_surface && lot->spray_count < LOT_SPRAYS_MAX)
            lot->sprays[lot->spray_count++] = dose;
        else if (!of->on_surface && lot->dose_count < LOT_DOSES_MAX)
            lot->doses[lot->dose_count++] = dose;
    }
    lot->doses_known = true;
}

static bool has_target(const struct source *s, const char *quantity)
{
    const struct lot_series *series = lot_record_series(s->record, quantity);
    return series && !isnan(series->target);
}

/* Is another in its place? Of a lot whose records tell kinds, what stands in no recipe is there
 * instead of what has no record, and what was usual before is no part of it. */
static bool is_replaced(const struct system *system, const struct source *s,
                        const struct ingredient *one)
{
    bool told = false, outside = false;
    for (size_t i = 0; i < system->count; i++) {
        const struct ingredient *other = &system->of[i];
        if (other->own || other->preserver->role != one->preserver->role ||
            isnan(other->pct.made) || change_of(s, other->dose))
            continue;
        told = true;
        outside = outside || !has_target(s, other->dose);
    }
    return told && isnan(one->pct.made) && (outside || !has_target(s, one->dose));
}

/* Does the product want it? By its targets, where there are any of that role; else by what is
 * usual. */
static bool is_in_recipe(const struct system *system, const struct source *s,
                         const struct ingredient *one)
{
    bool any_target = false;
    for (size_t i = 0; i < system->count; i++)
        any_target = any_target || (system->of[i].preserver->role == one->preserver->role &&
                                    has_target(s, system->of[i].dose));
    return !isnan(one->pct.specified) && (!any_target || has_target(s, one->dose));
}

/* What has no specification is not compared with none of it. */
static void take_doses(const struct source *s, struct model_lot *ret)
{
    struct system system = {.count = 0};
    bool any_made = false, all_specified = true;
    take_system(s, &system);
    for (size_t i = 0; i < system.count; i++)
        any_made = any_made || !isnan(system.of[i].pct.made);
    for (size_t i = 0; i < system.count; i++) {
        const struct ingredient *one = &system.of[i];
        bool made = !isnan(one->pct.made), wanted = is_in_recipe(&system, s, one);
        bool replaced = is_replaced(&system, s, one);
        if (wanted && (!replaced || has_target(s, one->dose)))
            add_dose(&ret->specified, one, one->pct.specified, one->active_pct.specified);
        if (any_made && (made || (wanted && !replaced)))
            add_dose(&ret->made, one, first_known(one->pct.made, one->pct.specified),
                     first_known(one->active_pct.made, one->active_pct.specified));
        all_specified = all_specified && !(one->pct.made > 0 && !wanted);
    }
    ret->dose_compared = ret->specified.doses_known && all_specified;
}

/* Warmer or colder on the way, then on the shelf as specified. */
static void take_transit(const struct lot_record *record, int64_t as_of_ms,
                         struct lot_conditions *made)
{
    double sum = 0, units = 0;
    for (int i = 0; i < record->dispatch_count; i++) {
        const struct lot_dispatch *dispatch = &record->dispatches[i];
        double weight = dispatch->units > 0 ? (double)dispatch->units : 1;
        if (isnan(dispatch->transit_c) || dispatch->at_ms > as_of_ms)
            continue;
        sum += dispatch->transit_c * weight;
        units += weight;
    }
    if (units > 0) {
        made->segments[0] = (struct mold_segment){TRANSIT_HOURS, sum / units};
        made->segments[1] = (struct mold_segment){24, NAN};
        made->segment_count = 2;
    }
}

static void take(const struct source *s, struct model_lot *ret)
{
    lot_conditions_unknown(&ret->made);
    lot_conditions_unknown(&ret->specified);
    ret->dose_compared = false;
    for (size_t i = 0; i < NUMBERS_COUNT; i++) {
        struct reading reading = reading_of(s, NUMBERS[i].quantity);
        *number_at(&ret->made, NUMBERS[i].member) = reading.made;
        *number_at(&ret->specified, NUMBERS[i].member) = reading.specified;
    }
    ret->specified.propionate_mg_kg = NAN; /* the dose stands for it */
    struct reading softener = reading_of(s, "softener_pct_flour");
    if (softener.specified > 0 && !isnan(softener.made))
        ret->made.softener_ratio = softener.made / softener.specified;
    if (s->record->lot.unit_g > 0)
        ret->specified.loaf_g = ret->made.loaf_g = s->record->lot.unit_g;
    take_doses(s, ret);
    if (!s->changes || !s->changes->nothing_read)
        take_transit(s->record, s->as_of_ms, &ret->made);
}

void model_lot_of(const struct rules *rules, const struct lot_record *record,
                  const struct fact_baseline *baseline, int64_t as_of_ms, struct model_lot *ret)
{
    const struct source source = {rules, record, baseline, as_of_ms, NULL};
    take(&source, ret);
}

void model_lot_changed(const struct rules *rules, const struct lot_record *record,
                       const struct fact_baseline *baseline, const struct model_changes *changes,
                       struct model_lot *ret)
{
    int64_t as_of_ms = changes->as_of_ms ? changes->as_of_ms : INT64_MAX;
    const struct source source = {rules, record, baseline, as_of_ms, changes};
    take(&source, ret);
}

double model_lot_value(const struct lot_record *record, const struct fact_baseline *baseline,
                       const char *quantity, bool nothing_read)
{
    const struct model_changes none = {.nothing_read = nothing_read};
    const struct source source = {NULL, record, baseline, INT64_MAX, &none};
    struct reading reading = reading_of(&source, quantity);
    return isnan(reading.made) ? reading.specified : reading.made;
}

/* As products are called, folded; from memory. */
static const char *const SOURS[] = {"sourdough",     "sour dough",  "levain",  "masa madre",
                                    "sauerteig",     "desem",       "surdej",  "surdeg",
                                    "lievito madre", "pasta madre", "zakvask", "leaven"};

bool model_lot_sours(const struct lot_record *record, const struct lot_conditions *made)
{
    char folded[2 * LENGTH_NAME + 2];
    bool sours = false;
    text_fold(record->lot.name, folded, sizeof folded);
    for (size_t i = 0; i < sizeof SOURS / sizeof *SOURS; i++)
        sours = sours || strstr(folded, SOURS[i]) || strcmp(record->lot.family, SOURS[i]) == 0;
    for (size_t i = 0; sours && i < made->dose_count; i++) {
        enum acid_kind kind = made->doses[i].product->kind;
        if ((kind == ACID_ACETIC || kind == ACID_LACTIC) && made->doses[i].dose_pct_flour > 0)
            return false;
    }
    return sours;
}

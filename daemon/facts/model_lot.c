#include "facts/model_lot.h"
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

/* Of doses. */
static const char *const DOSES[] = {"inhibitor_pct_flour", "inhibitor_active_pct", "acid_pct_flour",
                                    "acid_grain", "softener_pct_flour"};
enum {
    NUMBERS_COUNT = sizeof NUMBERS / sizeof NUMBERS[0],
    DOSES_COUNT = sizeof DOSES / sizeof DOSES[0]
};

const char *model_lot_takes(size_t index)
{
    return index < DOSES_COUNT                   ? DOSES[index]
           : index - DOSES_COUNT < NUMBERS_COUNT ? NUMBERS[index - DOSES_COUNT].quantity
                                                 : NULL;
}

/* Where a lot's readings come from. */
struct source {
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

static void add_dose(struct lot_conditions *lot, const char *product, double pct, double active_pct)
{
    const struct acid_product *found = acid_product_find(product);
    if (isnan(pct) || !found || lot->dose_count == LOT_DOSES_MAX)
        return;
    lot->doses[lot->dose_count++] = (struct acid_dose){found, pct, active_pct, NAN};
    lot->doses_known = true;
}

/* Vinegar of n grain holds n/10 g of acetic acid in 100 mL. */
static double vinegar_active_pct(double grain)
{
    return isnan(grain) ? NAN : acid_vinegar_g_100ml(grain);
}

static void take_doses(const struct rules *rules, const struct source *s, struct model_lot *ret)
{
    struct reading inhibitor = reading_of(s, "inhibitor_pct_flour");
    struct reading active = reading_of(s, "inhibitor_active_pct");
    struct reading acid = reading_of(s, "acid_pct_flour");
    struct reading grain = reading_of(s, "acid_grain");
    const char *salt = rules->ranking.inhibitor, *sour = rules->ranking.acid;
    add_dose(&ret->specified, salt, inhibitor.specified, active.specified);
    add_dose(&ret->specified, sour, acid.specified, vinegar_active_pct(grain.specified));
    if (isnan(inhibitor.made) && isnan(acid.made))
        return;
    add_dose(&ret->made, salt, isnan(inhibitor.made) ? inhibitor.specified : inhibitor.made,
             isnan(active.made) ? active.specified : active.made);
    add_dose(&ret->made, sour, isnan(acid.made) ? acid.specified : acid.made,
             vinegar_active_pct(isnan(grain.made) ? grain.specified : grain.made));
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

static void take(const struct rules *rules, const struct source *s, struct model_lot *ret)
{
    lot_conditions_unknown(&ret->made);
    lot_conditions_unknown(&ret->specified);
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
    take_doses(rules, s, ret);
    if (!s->changes || !s->changes->nothing_read)
        take_transit(s->record, s->as_of_ms, &ret->made);
}

void model_lot_of(const struct rules *rules, const struct lot_record *record,
                  const struct fact_baseline *baseline, int64_t as_of_ms, struct model_lot *ret)
{
    const struct source source = {record, baseline, as_of_ms, NULL};
    take(rules, &source, ret);
}

void model_lot_changed(const struct rules *rules, const struct lot_record *record,
                       const struct fact_baseline *baseline, const struct model_changes *changes,
                       struct model_lot *ret)
{
    const struct source source = {record, baseline, INT64_MAX, changes};
    take(rules, &source, ret);
}

double model_lot_value(const struct lot_record *record, const struct fact_baseline *baseline,
                       const char *quantity, bool nothing_read)
{
    const struct model_changes none = {.nothing_read = nothing_read};
    const struct source source = {record, baseline, INT64_MAX, &none};
    struct reading reading = reading_of(&source, quantity);
    return isnan(reading.made) ? reading.specified : reading.made;
}

#include "facts/model_lot.h"
#include <math.h>
#include <stddef.h>
#include <string.h>

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

static double *number_at(struct lot_conditions *lot, size_t member)
{
    return (double *)(void *)((char *)lot + member);
}

struct reading {
    double made, specified;
};

static struct reading reading_of(const struct lot_record *record,
                                 const struct fact_baseline *baseline, const char *quantity,
                                 int64_t as_of_ms)
{
    const struct lot_series *series = lot_record_series(record, quantity);
    const struct fact_usual *usual = facts_usual(baseline, quantity);
    struct reading reading = {NAN, series ? series->target : NAN};
    if (series && series->count)
        reading.made = lot_record_summary(record, series, as_of_ms).median;
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

static void take_doses(const struct rules *rules, const struct lot_record *record,
                       const struct fact_baseline *baseline, int64_t as_of_ms,
                       struct model_lot *ret)
{
    struct reading inhibitor = reading_of(record, baseline, "inhibitor_pct_flour", as_of_ms);
    struct reading active = reading_of(record, baseline, "inhibitor_active_pct", as_of_ms);
    struct reading acid = reading_of(record, baseline, "acid_pct_flour", as_of_ms);
    struct reading grain = reading_of(record, baseline, "acid_grain", as_of_ms);
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

/* Warmer or colder on the way for a day, then as usual on the shelf. */
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
        made->segments[0] = (struct mold_segment){12, sum / units};
        made->segment_count = 1;
    }
}

void model_lot_of(const struct rules *rules, const struct lot_record *record,
                  const struct fact_baseline *baseline, int64_t as_of_ms, struct model_lot *ret)
{
    lot_conditions_unknown(&ret->made);
    lot_conditions_unknown(&ret->specified);
    for (size_t i = 0; i < sizeof NUMBERS / sizeof NUMBERS[0]; i++) {
        struct reading reading = reading_of(record, baseline, NUMBERS[i].quantity, as_of_ms);
        *number_at(&ret->made, NUMBERS[i].member) = reading.made;
        *number_at(&ret->specified, NUMBERS[i].member) = reading.specified;
    }
    ret->specified.propionate_mg_kg = NAN; /* the dose stands for it */
    struct reading softener = reading_of(record, baseline, "softener_pct_flour", as_of_ms);
    if (softener.specified > 0 && !isnan(softener.made))
        ret->made.softener_ratio = softener.made / softener.specified;
    if (record->lot.unit_g > 0)
        ret->specified.loaf_g = ret->made.loaf_g = record->lot.unit_g;
    take_doses(rules, record, baseline, as_of_ms, ret);
    take_transit(record, as_of_ms, &ret->made);
}

/* ---- changes ---- */

static void copy_dose(const struct lot_conditions *from, struct lot_conditions *to)
{
    if (from->doses_known) {
        memcpy(to->doses, from->doses, sizeof to->doses);
        to->dose_count = from->dose_count;
        to->doses_known = true;
    }
    to->propionate_mg_kg = from->propionate_mg_kg;
}

static void copy_storage(const struct lot_conditions *from, struct lot_conditions *to)
{
    if (from->segment_count) {
        memcpy(to->segments, from->segments, sizeof to->segments);
        to->segment_count = from->segment_count;
    }
}

#define FIELD(name) offsetof(struct lot_conditions, name)
static const struct {
    const char *word;
    size_t members[5]; /* 0 ends: no number stands at the start */
} RECORDED[] = {
    {"ph", {FIELD(crumb_ph)}},
    {"water", {FIELD(crumb_aw), FIELD(crumb_moisture_pct)}},
    {"packing", {FIELD(core_at_pack_c), FIELD(cool_min), FIELD(cooler_air_c), FIELD(pack_room_c)}},
    {"baking", {FIELD(bake_min), FIELD(core_end_bake_c), FIELD(enzyme_min)}},
    {"softener", {FIELD(softener_ratio)}},
    {"leaks", {FIELD(leaks)}},
    {"spores", {FIELD(spores_per_pack), FIELD(aerobic_spores_cfu_g)}},
};
static const struct {
    const char *name;
    size_t member;
} SET[] = {
    {"core_at_pack_c", FIELD(core_at_pack_c)},
    {"crumb_ph", FIELD(crumb_ph)},
    {"crumb_aw", FIELD(crumb_aw)},
    {"crumb_moisture_pct", FIELD(crumb_moisture_pct)},
    {"softener_ratio", FIELD(softener_ratio)},
    {"leaks", FIELD(leaks)},
    {"core_end_bake_c", FIELD(core_end_bake_c)},
    {"bake_min", FIELD(bake_min)},
    {"cool_min", FIELD(cool_min)},
    {"enzyme_min", FIELD(enzyme_min)},
    {"spores_per_pack", FIELD(spores_per_pack)},
    {"aerobic_spores_cfu_g", FIELD(aerobic_spores_cfu_g)},
};

static int recorded_of(const char *word)
{
    for (size_t i = 0; i < sizeof RECORDED / sizeof RECORDED[0]; i++)
        if (strcmp(RECORDED[i].word, word) == 0)
            return (int)i;
    return -1;
}

static int set_of(const char *name)
{
    for (size_t i = 0; i < sizeof SET / sizeof SET[0]; i++)
        if (strcmp(SET[i].name, name) == 0)
            return (int)i;
    return -1;
}

static void take_recorded(const struct lot_conditions *made, const char *word,
                          struct lot_conditions *ret)
{
    if (strcmp(word, "dose") == 0)
        copy_dose(made, ret);
    else if (strcmp(word, "storage") == 0)
        copy_storage(made, ret);
    int at = recorded_of(word);
    for (int m = 0; at >= 0 && m < 5 && RECORDED[at].members[m]; m++) {
        struct lot_conditions from = *made;
        double value = *number_at(&from, RECORDED[at].members[m]);
        if (!isnan(value))
            *number_at(ret, RECORDED[at].members[m]) = value;
    }
}

static void take_times(const json_t *times, struct lot_conditions *ret)
{
    const json_t *dose = json_object_get(times, "dose"), *spores = json_object_get(times, "spores");
    const json_t *softener = json_object_get(times, "softener");
    for (size_t i = 0; dose && i < ret->dose_count; i++)
        ret->doses[i].dose_pct_flour *= json_number_value(dose);
    if (spores)
        ret->spores_factor *= json_number_value(spores);
    if (softener)
        ret->softener_ratio =
            (isnan(ret->softener_ratio) ? 1 : ret->softener_ratio) * json_number_value(softener);
}

void model_lot_change(const struct model_lot *lot, const json_t *change, struct lot_conditions *ret)
{
    const json_t *recorded = json_object_get(change, "recorded");
    const json_t *kept = json_object_get(change, "kept_c");
    const char *name;
    json_t *value;
    *ret = lot->specified;
    for (size_t i = 0; i < json_array_size(recorded); i++)
        take_recorded(&lot->made, json_string_value(json_array_get(recorded, i)), ret);
    json_object_foreach(json_object_get(change, "set"), name, value) *
        number_at(ret, SET[set_of(name)].member) = json_number_value(value);
    take_times(json_object_get(change, "times"), ret);
    if (kept) {
        ret->segments[0] = (struct mold_segment){24, json_number_value(kept)};
        ret->segment_count = 1;
    }
}

static const char *fault_in(const json_t *object, bool (*known)(const char *),
                            const char **ret_member)
{
    const char *name;
    json_t *value;
    json_object_foreach((json_t *)object, name, value)
    {
        *ret_member = name;
        if (!known(name))
            return "no such thing to change";
        if (!json_is_number(value) || !(json_number_value(value) >= 0))
            return "must be a number that is not negative";
    }
    return NULL;
}

static bool can_set(const char *name)
{
    return set_of(name) >= 0;
}

static bool can_multiply(const char *name)
{
    return strcmp(name, "dose") == 0 || strcmp(name, "spores") == 0 ||
           strcmp(name, "softener") == 0;
}

static bool can_change(const char *name)
{
    return strcmp(name, "recorded") == 0 || strcmp(name, "set") == 0 ||
           strcmp(name, "times") == 0 || strcmp(name, "kept_c") == 0;
}

const char *model_change_fault(const json_t *change, const char **ret_member)
{
    const json_t *recorded = json_object_get(change, "recorded");
    const json_t *kept = json_object_get(change, "kept_c");
    const char *name, *fault;
    json_t *value;
    *ret_member = "";
    if (!json_is_object(change))
        return "must be an object";
    json_object_foreach((json_t *)change, name, value)
    {
        *ret_member = name;
        if (!can_change(name))
            return "no such change (recorded, set, times, kept_c)";
    }
    *ret_member = "recorded";
    if (recorded && !json_is_array(recorded))
        return "must be a list";
    for (size_t i = 0; i < json_array_size(recorded); i++) {
        const char *word = json_string_value(json_array_get(recorded, i));
        if (!word ||
            (recorded_of(word) < 0 && strcmp(word, "dose") != 0 && strcmp(word, "storage") != 0))
            return "no such part of a lot (dose ph water packing baking storage softener leaks "
                   "spores)";
    }
    *ret_member = "kept_c";
    if (kept && !(json_is_number(kept) && fabs(json_number_value(kept)) <= 60))
        return "must be a temperature from -60 to 60";
    fault = fault_in(json_object_get(change, "set"), can_set, ret_member);
    return fault ? fault : fault_in(json_object_get(change, "times"), can_multiply, ret_member);
}

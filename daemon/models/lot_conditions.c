#include "models/lot_conditions.h"

#include <math.h>
#include <string.h>

#define MEMBER(name) offsetof(struct lot_conditions, name)

/* Numbers that a lot takes from its specification as they are, and the usual value's place
 * (NO_USUAL: none, stays NAN). */
enum { NO_USUAL = -1 };
static const struct {
    size_t member;
    long usual;
} inherited[] = {
    {MEMBER(propionate_mg_kg), NO_USUAL},
    {MEMBER(bread_per_flour), offsetof(struct models_values, usual.bread_per_flour)},
    {MEMBER(crumb_ph), offsetof(struct models_values, usual.crumb_ph)},
    {MEMBER(crumb_aw), offsetof(struct models_values, usual.crumb_aw)},
    {MEMBER(crumb_moisture_pct), offsetof(struct models_values, usual.crumb_moisture_pct)},
    {MEMBER(bake_min), offsetof(struct models_values, heat.bake_min)},
    {MEMBER(core_end_bake_c), offsetof(struct models_values, heat.bake_end_c)},
    {MEMBER(cool_min), offsetof(struct models_values, heat.cool_min)},
    {MEMBER(cooler_air_c), offsetof(struct models_values, heat.cooler_air_c)},
    {MEMBER(core_at_pack_c), offsetof(struct models_values, wet.core_at_pack_c)},
    {MEMBER(pack_room_c), offsetof(struct models_values, wet.pack_room_c)},
    {MEMBER(loaf_g), offsetof(struct models_values, wet.loaf_g)},
    {MEMBER(spores_per_pack), offsetof(struct models_values, mold.spores_per_pack)},
    {MEMBER(softener_ratio), NO_USUAL},
    {MEMBER(leaks), NO_USUAL},
    {MEMBER(aerobic_spores_cfu_g), offsetof(struct models_values, rope.spores_cfu_g)},
};

static double *number_at(struct lot_conditions *lot, size_t member)
{
    return (double *)(void *)((char *)lot + member);
}

static double number_of(const struct lot_conditions *lot, size_t member)
{
    return *(const double *)(const void *)((const char *)lot + member);
}

void lot_conditions_unknown(struct lot_conditions *lot)
{
    memset(lot, 0, sizeof(*lot));
    for (size_t i = 0; i < sizeof(inherited) / sizeof(inherited[0]); i++) {
        *number_at(lot, inherited[i].member) = NAN;
    }
    for (int g = 0; g < MOLD_GROUPS; g++) {
        lot->group_weights[g] = NAN;
    }
    lot->enzyme_min = NAN;
    lot->spores_factor = 1;
    lot->target_moisture_pct = NAN;
    lot->target_bake_min = NAN;
    lot->target_cool_min = NAN;
    lot->target_enzyme_min = NAN;
}

void lot_conditions_take_doses(struct lot_conditions *lot, const struct lot_conditions *from)
{
    memcpy(lot->doses, from->doses, from->dose_count * sizeof(lot->doses[0]));
    memcpy(lot->sprays, from->sprays, from->spray_count * sizeof(lot->sprays[0]));
    lot->dose_count = from->dose_count;
    lot->spray_count = from->spray_count;
    lot->doses_known = from->doses_known;
}

/* Core at packing from how this lot was cooled, when that is known but the core was not read. */
static double core_from_cooling(const struct lot_conditions *lot,
                                const struct lot_conditions *specified,
                                const struct heat_values *heat)
{
    bool told = !isnan(lot->cool_min) || !isnan(lot->core_end_bake_c) || !isnan(lot->cooler_air_c);
    if (!isnan(lot->core_at_pack_c) || !told || !specified || isnan(specified->cool_min)) {
        return lot->core_at_pack_c;
    }
    struct heat_values plant = *heat;
    double spec_end_c =
        isnan(specified->core_end_bake_c) ? heat->bake_end_c : specified->core_end_bake_c;
    double spec_air_c =
        isnan(specified->cooler_air_c) ? heat->cooler_air_c : specified->cooler_air_c;
    struct heat_body loaf = {HEAT_CYLINDER, heat->loaf_radius_mm / 1000, heat->cool_biot,
                             heat->cool_diffusivity_m2_s};
    double fitted = heat_fit_diffusivity(&loaf, spec_end_c, spec_air_c, specified->core_at_pack_c,
                                         specified->cool_min);
    if (fitted > 0) {
        plant.cool_diffusivity_m2_s = fitted;
    }
    return heat_core_at_pack_c(&plant,
                               isnan(lot->core_end_bake_c) ? spec_end_c : lot->core_end_bake_c,
                               isnan(lot->cool_min) ? specified->cool_min : lot->cool_min,
                               isnan(lot->cooler_air_c) ? spec_air_c : lot->cooler_air_c);
}

static void fill_history(struct lot_conditions *lot, const struct lot_conditions *specified,
                         double usual_c)
{
    if (lot->segment_count == 0 && specified) {
        memcpy(lot->segments, specified->segments, sizeof(lot->segments));
        lot->segment_count = specified->segment_count;
    }
    if (lot->segment_count == 0) {
        lot->segments[0] = (struct mold_segment){24, usual_c};
        lot->segment_count = 1;
    }
    bool kept = specified && specified->segment_count > 0;
    double kept_c = kept ? specified->segments[specified->segment_count - 1].temp_c : NAN;
    for (size_t s = 0; s < lot->segment_count; s++) {
        if (isnan(lot->segments[s].temp_c)) {
            lot->segments[s].temp_c = isnan(kept_c) ? usual_c : kept_c;
        }
    }
}

static void fill_doses_and_groups(struct lot_conditions *lot,
                                  const struct lot_conditions *specified,
                                  const struct models_values *values)
{
    if (!lot->doses_known && specified) {
        lot_conditions_take_doses(lot, specified);
    }
    if (!isnan(lot->propionate_mg_kg)) {
        lot->doses_known = true;
    }
    for (int g = 0; g < MOLD_GROUPS; g++) {
        if (isnan(lot->group_weights[g])) {
            double weight = specified ? specified->group_weights[g] : NAN;
            lot->group_weights[g] = isnan(weight) ? values->mold.group[g].weight : weight;
        }
    }
}

void lot_conditions_fill(struct lot_conditions *lot, const struct lot_conditions *specified,
                         const struct models_values *values)
{
    /* an assay of the specification says nothing about a lot whose own dose is known */
    bool own_doses = lot->doses_known;
    lot->core_at_pack_c = core_from_cooling(lot, specified, &values->heat);
    for (size_t i = 0; i < sizeof(inherited) / sizeof(inherited[0]); i++) {
        double *number = number_at(lot, inherited[i].member);
        if (inherited[i].member == MEMBER(propionate_mg_kg) && own_doses) {
            continue;
        }
        if (isnan(*number) && specified) {
            *number = number_of(specified, inherited[i].member);
        }
        if (isnan(*number) && inherited[i].usual != NO_USUAL) {
            *number = *(const double *)(const void *)((const char *)values + inherited[i].usual);
        }
    }
    lot->softener_ratio = isnan(lot->softener_ratio) ? 1 : lot->softener_ratio;
    lot->leaks = isnan(lot->leaks) ? 0 : lot->leaks;
    const struct lot_conditions *target = specified ? specified : lot;
    const struct {
        double *to;
        double from, usual;
    } targets[] = {
        {&lot->target_moisture_pct, target->crumb_moisture_pct, lot->crumb_moisture_pct},
        {&lot->target_bake_min, target->bake_min, lot->bake_min},
        {&lot->target_cool_min, target->cool_min, lot->cool_min},
        {&lot->target_enzyme_min, target->enzyme_min,
         heat_bake_enzyme_min(&values->heat, target->bake_min, target->core_end_bake_c)},
    };
    for (size_t i = 0; i < sizeof(targets) / sizeof(targets[0]); i++) {
        if (isnan(*targets[i].to)) {
            *targets[i].to = isnan(targets[i].from) ? targets[i].usual : targets[i].from;
        }
    }
    fill_history(lot, specified, values->usual.store_c);
    fill_doses_and_groups(lot, specified, values);
}

static void wet_spot(const struct lot_conditions *lot, const struct models_values *values,
                     struct lot_facts *facts)
{
    struct wet_bag bag = {lot->core_at_pack_c, lot->pack_room_c, lot->crumb_aw, lot->loaf_g};
    facts->condensate = wet_condensate_in_bag(&bag, &values->wet);
    double wetness = facts->condensate.wetness;
    facts->spot_aw = lot->crumb_aw + wetness * fmax(values->wet.spot_aw - lot->crumb_aw, 0);
    for (int k = 0; k < ACID_KINDS; k++) {
        double on_surface = facts->smelled_mmol_l.mmol_l[k] - facts->undissociated_mmol_l.mmol_l[k];
        facts->spot_undissociated_mmol_l.mmol_l[k] =
            (facts->undissociated_mmol_l.mmol_l[k] + on_surface / values->acid.layer_share) *
            (1 - wetness * values->wet.spot_dilution_share);
    }
    facts->spores_per_pack =
        lot->spores_per_pack * lot->spores_factor * (1 + wetness * (values->wet.spot_spread - 1));
}

static void baking(const struct lot_conditions *lot, const struct models_values *values,
                   struct lot_facts *facts)
{
    facts->enzyme_min = lot->enzyme_min;
    if (isnan(facts->enzyme_min)) {
        facts->enzyme_min =
            heat_bake_enzyme_min(&values->heat, lot->bake_min, lot->core_end_bake_c);
    }
    facts->enzyme_min_ratio =
        lot->target_enzyme_min > 0 ? facts->enzyme_min / lot->target_enzyme_min : 1;
    double measured_pct = lot->target_moisture_pct - lot->crumb_moisture_pct;
    double worked_out_pct =
        staling_moisture_lost_pct(&values->staling, lot->bake_min - lot->target_bake_min,
                                  lot->cool_min - lot->target_cool_min);
    /* a reading at target still leaves what the times tell: readings are rare */
    facts->moisture_lost_pct = fabs(measured_pct) > 1e-9 ? measured_pct : worked_out_pct;
}

static double mg_kg_of(const struct acid_mix *mix, enum acid_kind kind, double moisture_pct)
{
    return acid_mg_per_kg_from_mmol_l(mix->mmol_l[kind], moisture_pct,
                                      acid_constants(kind)->molar_g_mol);
}

static void acids(const struct lot_conditions *lot, const struct acid_values *values,
                  struct lot_facts *facts)
{
    double moisture_pct = lot->crumb_moisture_pct;
    facts->total_mmol_l =
        acid_mix_of_doses(lot->doses, lot->dose_count, lot->bread_per_flour, moisture_pct, values);
    if (!isnan(lot->propionate_mg_kg)) {
        facts->total_mmol_l.mmol_l[ACID_PROPIONIC] = acid_mmol_per_l_water(
            lot->propionate_mg_kg, moisture_pct, acid_constants(ACID_PROPIONIC)->molar_g_mol);
    }
    struct acid_mix sprayed = acid_mix_of_sprays(lot->sprays, lot->spray_count,
                                                 lot->bread_per_flour, moisture_pct, values);
    struct acid_mix all = acid_mix_sum(&facts->total_mmol_l, &sprayed);
    facts->undissociated_mmol_l =
        acid_mix_undissociated(&facts->total_mmol_l, lot->crumb_ph, values);
    facts->smelled_mmol_l = acid_mix_undissociated(&all, lot->crumb_ph, values);
    facts->propionic_mg_kg = mg_kg_of(&all, ACID_PROPIONIC, moisture_pct);
    facts->sorbic_mg_kg = mg_kg_of(&all, ACID_SORBIC, moisture_pct);
    facts->acid_valid = acid_crumb_valid(lot->crumb_ph, moisture_pct);
}

void lot_conditions_facts(const struct lot_conditions *lot, const struct models_values *values,
                          struct lot_facts *ret_facts)
{
    memset(ret_facts, 0, sizeof(*ret_facts));
    acids(lot, &values->acid, ret_facts);
    wet_spot(lot, values, ret_facts);
    baking(lot, values, ret_facts);
}

void lot_conditions_mold(const struct lot_conditions *lot, const struct lot_facts *facts,
                         struct mold_conditions *ret_mold)
{
    ret_mold->undissociated = facts->spot_undissociated_mmol_l;
    ret_mold->ph = lot->crumb_ph;
    ret_mold->aw = facts->spot_aw;
    memcpy(ret_mold->segments, lot->segments, sizeof(ret_mold->segments));
    ret_mold->segment_count = lot->segment_count;
    memcpy(ret_mold->weights, lot->group_weights, sizeof(ret_mold->weights));
    ret_mold->spores_per_pack = facts->spores_per_pack;
}

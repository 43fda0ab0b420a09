#include "tell/preserving.h"
#include "base/jsonx.h"
#include "models/lot_conditions.h"
#include "rules/catalogue.h"
#include <math.h>

static json_t *strength_json(const struct acid_dose *dose, bool from_memory)
{
    bool told = !isnan(dose->active_pct);
    return json_pack("{s:o, s:o, s:o, s:b, s:b}", "low",
                     jsonx_rounded(acid_active_pct(dose, -1), 3), "typical",
                     jsonx_rounded(acid_active_pct(dose, 0), 3), "high",
                     jsonx_rounded(acid_active_pct(dose, 1), 3), "told", told, "from_memory",
                     !told && from_memory);
}

/* Undissociated, of this dose alone. */
static double mmol_l_of(const struct lot_conditions *lot, const struct acid_dose *dose,
                        bool on_surface, const struct models_values *values)
{
    const struct acid_values *acid = &values->acid;
    double moisture_pct = lot->crumb_moisture_pct;
    struct acid_mix mix =
        on_surface ? acid_mix_of_sprays(dose, 1, lot->bread_per_flour, moisture_pct, acid)
                   : acid_mix_of_doses(dose, 1, lot->bread_per_flour, moisture_pct, acid);
    struct acid_mix free_acid = acid_mix_undissociated(&mix, lot->crumb_ph, acid);
    return free_acid.mmol_l[dose->product->kind] / (on_surface ? acid->layer_share : 1);
}

json_t *preserving_json(const struct rules *rules, const struct lot_conditions *lot,
                        const struct models_values *values)
{
    struct lot_conditions filled = *lot;
    json_t *list = json_array();
    lot_conditions_fill(&filled, NULL, values);
    for (size_t i = 0; i < filled.dose_count + filled.spray_count; i++) {
        bool on_surface = i >= filled.dose_count;
        const struct acid_dose *dose =
            on_surface ? &filled.sprays[i - filled.dose_count] : &filled.doses[i];
        const struct preserver *preserver =
            catalogue_preserver(rules->catalogue, dose->product->name);
        json_array_append_new(
            list, json_pack("{s:s, s:s, s:s, s:s, s:o, s:o, s:o}", "kind", dose->product->name,
                            "title", preserver ? preserver->title : dose->product->name, "applied",
                            on_surface ? "surface" : "dough", "acid",
                            acid_constants(dose->product->kind)->name, "pct_flour",
                            jsonx_rounded(dose->dose_pct_flour, 4), "strength_pct",
                            strength_json(dose, preserver && preserver->from_memory), "mmol_l",
                            jsonx_rounded(mmol_l_of(&filled, dose, on_surface, values), 2)));
    }
    return list;
}

#include "models/acid.h"

#include <math.h>

static const struct acid_constants constants[ACID_KINDS] = {
    [ACID_PROPIONIC] = {"propionic", 74.079, 4.87, NAN},
    [ACID_ACETIC] = {"acetic", 60.052, 4.756, NAN},
    [ACID_SORBIC] = {"sorbic", 112.128, 4.76, NAN},
    [ACID_BENZOIC] = {"benzoic", 122.123, 4.204, NAN},
    [ACID_LACTIC] = {"lactic", 90.078, 3.86, NAN},
    [ACID_TARTARIC] = {"tartaric", 150.086, 2.98, 4.34},
};

#define EXACTLY(pct) pct, pct, pct

/* Same rows and order as rules/preservers.json, where the sources stand; for folders of rules
 * without it. acid_g_per_g is acid mass over salt mass: 2 x 74.079/186.22 and so on. */
static const struct acid_product products[] = {
    {"calcium-propionate", ACID_PROPIONIC, 2 * 74.079 / 186.22, EXACTLY(100)},
    {"sodium-propionate", ACID_PROPIONIC, 74.079 / 96.061, EXACTLY(100)},
    {"potassium-propionate", ACID_PROPIONIC, 74.079 / 112.169, EXACTLY(100)},
    {"propionic-acid", ACID_PROPIONIC, 1, EXACTLY(100)},
    {"potassium-sorbate", ACID_SORBIC, 112.128 / 150.218, EXACTLY(100)},
    {"sorbic-acid", ACID_SORBIC, 1, EXACTLY(100)},
    {"sodium-benzoate", ACID_BENZOIC, 122.123 / 144.105, EXACTLY(100)},
    {"benzoic-acid", ACID_BENZOIC, 1, EXACTLY(100)},
    {"acetic-acid", ACID_ACETIC, 1, EXACTLY(100)},
    /* 100 grain; the caller gives grain/10 as active percent (w/v taken as w/w, about 1 % off) */
    {"vinegar", ACID_ACETIC, 1, EXACTLY(10)},
    {"lactic-acid", ACID_LACTIC, 1, EXACTLY(100)},
    {"tartaric-acid", ACID_TARTARIC, 1, EXACTLY(100)},
    {"raisin-juice-concentrate", ACID_TARTARIC, 1, 2.5, 1, 3},
    {"cultured-wheat", ACID_PROPIONIC, 1, 10, 4, 25},
};

const struct acid_constants *acid_constants(enum acid_kind kind)
{
    return &constants[kind];
}

const struct acid_product *acid_product_at(size_t index)
{
    return index < sizeof(products) / sizeof(products[0]) ? &products[index] : NULL;
}

double acid_undissociated_fraction(double ph, double pka)
{
    return 1.0 / (1.0 + pow(10.0, ph - pka));
}

void acid_diprotic_fractions(double ph, double pka1, double pka2, double ret_share[3])
{
    double mono = pow(10.0, ph - pka1);
    double di = mono * pow(10.0, ph - pka2);
    double sum = 1.0 + mono + di;
    ret_share[0] = 1.0 / sum;
    ret_share[1] = mono / sum;
    ret_share[2] = di / sum;
}

double acid_kind_undissociated(enum acid_kind kind, double ph, double pka_shift)
{
    const struct acid_constants *c = &constants[kind];
    if (isnan(c->pka2)) {
        return acid_undissociated_fraction(ph, c->pka1 + pka_shift);
    }
    double share[3];
    acid_diprotic_fractions(ph, c->pka1 + pka_shift, c->pka2 + pka_shift, share);
    return share[0];
}

double acid_vinegar_g_100ml(double grain)
{
    return grain / 10.0;
}

double acid_active_pct(const struct acid_dose *dose, double strength_place)
{
    const struct acid_product *product = dose->product;
    double usual_pct = product->usual_active_pct;
    if (!isnan(dose->active_pct)) {
        return dose->active_pct;
    }
    double end_pct = strength_place < 0 ? product->low_active_pct : product->high_active_pct;
    return usual_pct * pow(end_pct / usual_pct, fabs(strength_place));
}

double acid_g_per_100g_flour(const struct acid_dose *dose)
{
    double activity = isnan(dose->activity) ? 1.0 : dose->activity;
    return dose->dose_pct_flour * acid_active_pct(dose, 0) / 100.0 * activity *
           dose->product->acid_g_per_g;
}

double acid_mg_per_kg_bread(double acid_g_per_100g_flour, double bread_per_flour)
{
    /* g per 100 g flour -> g per (100 x bread_per_flour) g bread -> mg/kg */
    return acid_g_per_100g_flour / (100.0 * bread_per_flour) * 1e6;
}

double acid_mmol_per_l_water(double mg_per_kg_bread, double moisture_pct, double molar_g_mol)
{
    return mg_per_kg_bread / molar_g_mol / (moisture_pct / 100.0);
}

double acid_mg_per_kg_from_mmol_l(double mmol_l, double moisture_pct, double molar_g_mol)
{
    return mmol_l * molar_g_mol * moisture_pct / 100.0;
}

/* What a kilogram of crumb holds of a dose, as its strength is taken to be. */
static double dose_mmol_l(struct acid_dose dose, double bread_per_flour, double moisture_pct,
                          double strength_place)
{
    dose.active_pct = acid_active_pct(&dose, strength_place);
    double mg_kg = acid_mg_per_kg_bread(acid_g_per_100g_flour(&dose), bread_per_flour);
    return acid_mmol_per_l_water(mg_kg, moisture_pct, constants[dose.product->kind].molar_g_mol);
}

struct acid_mix acid_mix_of_doses(const struct acid_dose *doses, size_t count,
                                  double bread_per_flour, double moisture_pct,
                                  const struct acid_values *values)
{
    struct acid_mix mix = {{0}};
    for (size_t i = 0; i < count; i++) {
        mix.mmol_l[doses[i].product->kind] +=
            (1.0 - values->bake_loss_share) *
            dose_mmol_l(doses[i], bread_per_flour, moisture_pct, values->strength_place);
    }
    return mix;
}

struct acid_mix acid_mix_of_sprays(const struct acid_dose *sprays, size_t count,
                                   double bread_per_flour, double moisture_pct,
                                   const struct acid_values *values)
{
    const struct acid_values none_lost = {.strength_place = values->strength_place};
    return acid_mix_of_doses(sprays, count, bread_per_flour, moisture_pct, &none_lost);
}

struct acid_mix acid_mix_sum(const struct acid_mix *a, const struct acid_mix *b)
{
    struct acid_mix sum;
    for (int k = 0; k < ACID_KINDS; k++) {
        sum.mmol_l[k] = a->mmol_l[k] + b->mmol_l[k];
    }
    return sum;
}

struct acid_mix acid_mix_undissociated(const struct acid_mix *total, double ph,
                                       const struct acid_values *values)
{
    struct acid_mix free_acid = {{0}};
    for (int k = 0; k < ACID_KINDS; k++) {
        if (total->mmol_l[k] > 0) {
            double shift = values->pka_shift + (values->pka[k] - constants[k].pka1);
            free_acid.mmol_l[k] =
                total->mmol_l[k] * acid_kind_undissociated((enum acid_kind)k, ph, shift);
        }
    }
    return free_acid;
}

bool acid_crumb_valid(double ph, double moisture_pct)
{
    return ph >= 3.0 && ph <= 8.0 && moisture_pct >= 15.0 && moisture_pct <= 50.0;
}

/* Weak acids in crumb: dissociation, dose on flour to concentration in crumb water.
 *
 * Units: doses in percent of flour weight (baker's percent), bread content in mg/kg,
 * crumb water in mmol/L. Undissociated share 1/(1+10^(pH-pKa)) (Henderson-Hasselbalch).
 * Constants: pKa at 25 °C from acid constant tables (aqion; Principles of General
 * Chemistry, appendix C; Belitz, Grosch, Schieberle 2009 Food Chemistry), molar masses
 * computed from IUPAC atomic weights.
 * Valid range: pH 3 to 8, 15 to 50 % crumb moisture; outside it acid_crumb_valid() says no. */
#ifndef ODDLOAF_MODELS_ACID_H
#define ODDLOAF_MODELS_ACID_H

#include <stdbool.h>
#include <stddef.h>

enum acid_kind {
    ACID_PROPIONIC,
    ACID_ACETIC,
    ACID_SORBIC,
    ACID_BENZOIC,
    ACID_LACTIC,
    ACID_TARTARIC,
    ACID_KINDS
};

struct acid_constants {
    const char *name;
    double molar_g_mol;
    double pka1;
    double pka2; /* NAN for a monoprotic acid */
};

/* What a bakery buys: how much acid one gram of its active substance holds. */
struct acid_product {
    const char *name;
    enum acid_kind kind;
    double acid_g_per_g;
    double usual_active_pct; /* active substance in the product as sold, */
    double low_active_pct;   /* and between what it lies where no certificate tells */
    double high_active_pct;
};

struct acid_dose {
    const struct acid_product *product;
    double dose_pct_flour; /* product on flour */
    double active_pct;     /* of the lot used; NAN: the product's usual one */
    double activity;       /* share still active after ageing, 0 to 1; NAN: 1 */
};

/* Values that rule files give. */
struct acid_values {
    double pka_shift;       /* added to every pKa: ionic strength of crumb water */
    double bake_loss_share; /* acid that leaves in the oven */
    double strength_place;  /* of products without a certificate: -1 low, 0 usual, 1 high */
    double layer_share;     /* of the bread's mass that holds what was put on its surface */
    double pka[ACID_KINDS]; /* of the first proton; the second keeps its distance */
};

/* Total (dissociated and not) acids of one crumb, mmol per liter of its water. */
struct acid_mix {
    double mmol_l[ACID_KINDS];
};

const struct acid_constants *acid_constants(enum acid_kind kind);
/* Those that folders of rules without a list of their own have; NULL past the last. */
const struct acid_product *acid_product_at(size_t index);
/* Percent of active substance: a lot's own, else by where in the product's range it is taken to
 * lie. */
double acid_active_pct(const struct acid_dose *dose, double strength_place);

/* Share of a monoprotic acid that is undissociated. */
double acid_undissociated_fraction(double ph, double pka);
/* Shares H2A, HA-, A2- of a diprotic acid. */
void acid_diprotic_fractions(double ph, double pka1, double pka2, double ret_share[3]);
/* Undissociated share of `kind` with its pKa moved by `pka_shift`. */
double acid_kind_undissociated(enum acid_kind kind, double ph, double pka_shift);

/* Vinegar strength: grain is ten times the grams of acetic acid in 100 mL. */
double acid_vinegar_g_100ml(double grain);

/* Grams of acid on 100 g flour from one dose of usual strength. */
double acid_g_per_100g_flour(const struct acid_dose *dose);
/* mg acid in a kg bread; `bread_per_flour` in g bread a g flour. */
double acid_mg_per_kg_bread(double acid_g_per_100g_flour, double bread_per_flour);
/* Concentration in the water of the crumb, mmol/L (1 kg water taken as 1 L). */
double acid_mmol_per_l_water(double mg_per_kg_bread, double moisture_pct, double molar_g_mol);
/* mg/kg bread back from mmol/L of crumb water. */
double acid_mg_per_kg_from_mmol_l(double mmol_l, double moisture_pct, double molar_g_mol);

/* Adds up doses into one crumb. */
struct acid_mix acid_mix_of_doses(const struct acid_dose *doses, size_t count,
                                  double bread_per_flour, double moisture_pct,
                                  const struct acid_values *values);
/* The same of what is put on the baked surface, as if spread through the bread: no oven takes any
 * of it. */
struct acid_mix acid_mix_of_sprays(const struct acid_dose *sprays, size_t count,
                                   double bread_per_flour, double moisture_pct,
                                   const struct acid_values *values);
struct acid_mix acid_mix_sum(const struct acid_mix *a, const struct acid_mix *b);
/* Undissociated mmol/L of each acid of the mix. */
struct acid_mix acid_mix_undissociated(const struct acid_mix *total, double ph,
                                       const struct acid_values *values);
/* Whether the crumb lies in the range where these formulas are used. */
bool acid_crumb_valid(double ph, double moisture_pct);

#endif

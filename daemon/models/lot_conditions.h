/* What the models need to know of one lot, and what follows from it.
 *
 * A number that is not known is NAN, a history of length 0 is not known. A lot as made
 * takes what it does not know from the lot as specified, and that from the usual values
 * of the parameters. Units are in the names; doses in percent of flour. */
#ifndef ODDLOAF_MODELS_LOT_CONDITIONS_H
#define ODDLOAF_MODELS_LOT_CONDITIONS_H

#include "models/parameters.h"

/* Room for each acid of each preserving ingredient that rules may name. */
enum { LOT_DOSES_MAX = 126, LOT_SPRAYS_MAX = 120 };

struct lot_conditions {
    struct acid_dose doses[LOT_DOSES_MAX];
    size_t dose_count;
    struct acid_dose sprays[LOT_SPRAYS_MAX]; /* on the baked surface, known with the doses */
    size_t spray_count;
    bool doses_known;        /* false: taken from the specification; filled: known by neither */
    double propionate_mg_kg; /* assayed, as propionic acid in bread: stands over the doses */
    double bread_per_flour;  /* g bread a g flour */
    double crumb_ph;
    double crumb_aw;
    double crumb_moisture_pct;
    double bake_min;
    double core_end_bake_c;
    double cool_min;
    double cooler_air_c;
    double core_at_pack_c;
    double pack_room_c;
    double loaf_g;
    /* From packing on, the last one for good; a temperature of NAN is the last one as specified. */
    struct mold_segment segments[MOLD_SEGMENTS_MAX];
    size_t segment_count;
    double spores_per_pack;
    double spores_factor; /* what a cause does to them, 1 if nothing */
    double group_weights[MOLD_GROUPS];
    double enzyme_min;     /* core minutes in the enzyme window, from a recorded series */
    double softener_ratio; /* softener dose over target */
    double leaks;          /* 1 seal open or bag torn, 0 sound */
    double aerobic_spores_cfu_g;
    /* taken from the specification by lot_conditions_fill() */
    double target_moisture_pct;
    double target_bake_min;
    double target_cool_min;
    double target_enzyme_min;
};

/* What the lot comes to: evidence in itself. */
struct lot_facts {
    struct acid_mix total_mmol_l; /* of the crumb, without what is on its surface */
    struct acid_mix undissociated_mmol_l;
    struct acid_mix smelled_mmol_l; /* undissociated, surface and crumb, as if spread evenly */
    double propionic_mg_kg;         /* in bread, surface and crumb */
    double sorbic_mg_kg;
    struct wet_condensate condensate;
    double spot_aw; /* water activity where a spore lands, condensate counted */
    struct acid_mix spot_undissociated_mmol_l;
    double spores_per_pack; /* cause's factor and wetness counted, plant's scale not */
    double enzyme_min;
    double enzyme_min_ratio;
    double moisture_lost_pct; /* percentage points below target at packing */
    bool acid_valid;
};

/* Takes what `from` was given against mold: doses and sprays, and whether they are known. */
void lot_conditions_take_doses(struct lot_conditions *lot, const struct lot_conditions *from);
/* All NAN or empty, spores_factor 1. */
void lot_conditions_unknown(struct lot_conditions *lot);
/* Fills what `lot` does not know from `specified` (may be NULL), then from the usual
 * values. A core at packing that was not read follows from cooling time and air, by a
 * transient solution whose diffusivity is fitted to the specification's core and time. */
void lot_conditions_fill(struct lot_conditions *lot, const struct lot_conditions *specified,
                         const struct models_values *values);
/* Facts of a filled lot. */
void lot_conditions_facts(const struct lot_conditions *lot, const struct models_values *values,
                          struct lot_facts *ret_facts);
/* Conditions of mold on a filled lot. */
void lot_conditions_mold(const struct lot_conditions *lot, const struct lot_facts *facts,
                         struct mold_conditions *ret_mold);

#endif

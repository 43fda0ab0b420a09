/* Water vapour and what condenses in a bag packed warm.
 *
 * Saturation pressure: IAPWS-IF97 region 4, 273.15 to 647.096 K (Revised Release on the
 * IAPWS Industrial Formulation 1997).
 * Units: Pa, °C (K where named so), grams. */
#ifndef ODDLOAF_MODELS_WET_H
#define ODDLOAF_MODELS_WET_H

#include <stdbool.h>

struct wet_values {
    double core_at_pack_c;
    double surface_share; /* (surface-air)/(core-air) */
    double headspace_l;   /* in a bag of `loaf_g` */
    double cp_kj_kg_k;
    double evaporation_share; /* of the loaf's heat that leaves by evaporation to the film */
    double crust_uptake_g_kg; /* water a dry crust takes up again */
    double full_effect_g;     /* free condensate on `loaf_g` that wets the landing spots */
    double spot_aw;
    double spot_dilution_share; /* inhibitor that condensate thins out of a wetted spot */
    double spot_spread;         /* factor on germinating spores on a fully wetted surface */
    double loaf_g;
    double pack_room_c;
};

struct wet_bag {
    double core_at_pack_c;
    double room_c; /* what loaf and film cool to */
    double crumb_aw;
    double loaf_g; /* NAN: usual */
};

struct wet_condensate {
    double headspace_g;      /* from the first fill of air, at once */
    double fed_g;            /* evaporated from the loaf while it cools */
    double free_g;           /* left after the crust took up its share */
    double wetness;          /* 0 dry to 1 spots fully wetted */
    double film_dew_point_c; /* film cooler than this sweats */
    bool valid;              /* core and room in 0 to 100 °C, core at least the room */
};

/* IF97 region 4; NAN outside its range. */
double wet_saturation_pa(double temp_k);
double wet_saturation_temp_k(double pressure_pa);
double wet_saturation_pa_c(double temp_c);
/* Grams of water in a cubic meter of vapour at this pressure and temperature. */
double wet_vapour_g_m3(double vapour_pa, double temp_c);
/* Latent heat of evaporation, kJ/kg, 0 to 60 °C: linear through steam-table values. */
double wet_latent_kj_kg(double temp_c);
struct wet_condensate wet_condensate_in_bag(const struct wet_bag *bag,
                                            const struct wet_values *values);

#endif

/* Water vapour and what condenses in a bag packed warm.
 *
 * Saturation pressure: IAPWS-IF97 region 4, 273.15 to 647.096 K (Revised Release on the
 * IAPWS Industrial Formulation 1997). Magnus forms: Sonntag constants as used by WMO;
 * Alduchov, Eskridge 1996 J Appl Meteorol 35:601; both -40 to 60 °C over water.
 * Units: Pa, °C (K where named so), kg/kg, grams. */
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

enum wet_magnus { WET_MAGNUS_WMO, WET_MAGNUS_ALDUCHOV };

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
double wet_magnus_pa(enum wet_magnus form, double temp_c);
double wet_dew_point_c(enum wet_magnus form, double temp_c, double rh_pct);
/* kg water a kg dry air at vapour pressure and total pressure. */
double wet_humidity_ratio(double vapour_pa, double total_pa);
/* Thermodynamic wet bulb over water, 0 to 60 °C: ASHRAE-type balance, bisection. */
double wet_bulb_c(double temp_c, double rh_pct, double total_pa);
/* Grams of water in a cubic meter of vapour at this pressure and temperature. */
double wet_vapour_g_m3(double vapour_pa, double temp_c);
/* Latent heat of evaporation, kJ/kg, 0 to 60 °C: linear through steam-table values. */
double wet_latent_kj_kg(double temp_c);
struct wet_condensate wet_condensate_in_bag(const struct wet_bag *bag,
                                            const struct wet_values *values);

#endif

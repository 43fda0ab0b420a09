/* Core temperature through bake and cooling.
 *
 * Where only end points are known, the one-term solution of the transient conduction
 * equation is fitted to them:
 *     (T-T_air)/(T_0-T_air) = A exp(-l^2 Fo),   Fo = a t/L^2,
 * with l the first root of l tan l = Bi (wall), l J1(l)/J0(l) = Bi (cylinder),
 * 1 - l cot l = Bi (sphere); L half thickness or radius, Bi = h L/k (textbook one-term
 * table; dfwall1term note, University of Waterloo). Valid from Fo 0.2 on.
 * Units: minutes, °C, m2/s, meters where named so. */
#ifndef ODDLOAF_MODELS_HEAT_H
#define ODDLOAF_MODELS_HEAT_H

#include <stdbool.h>
#include <stddef.h>

struct heat_values {
    double loaf_radius_mm;
    double cool_diffusivity_m2_s;
    double cool_biot;
    double bake_diffusivity_m2_s;
    double bake_end_c;
    double dough_c;
    double crust_boil_c; /* boundary of the crumb while water boils off behind the crust */
    double enzyme_from_c, enzyme_to_c;
    double cooler_air_c;
    double cool_min;
    double bake_min;
};

enum heat_shape { HEAT_WALL, HEAT_CYLINDER, HEAT_SPHERE };

struct heat_body {
    enum heat_shape shape;
    double length_m; /* half thickness or radius */
    double biot;     /* INFINITY: surface held at the air's temperature */
    double diffusivity_m2_s;
};

/* First root and its coefficient; `biot` > 0 or INFINITY. */
double heat_root(enum heat_shape shape, double biot);
double heat_coefficient(enum heat_shape shape, double root);
double heat_fourier(const struct heat_body *body, double minutes);
/* Core (T-T_air)/(T_0-T_air), at most 1. `*ret_valid` (may be NULL) is Fo >= 0.2. */
double heat_core_ratio(const struct heat_body *body, double minutes, bool *ret_valid);
double heat_core_c(const struct heat_body *body, double start_c, double air_c, double minutes,
                   bool *ret_valid);
/* Minutes until the core is at `core_c`; NAN when it never is. */
double heat_minutes_to(const struct heat_body *body, double start_c, double air_c, double core_c,
                       bool *ret_valid);
/* Diffusivity for which the core is at `core_c` after `minutes`; NAN when none is. */
double heat_fit_diffusivity(const struct heat_body *body, double start_c, double air_c,
                            double core_c, double minutes);

/* Core minutes in the enzyme window of a bake known by its end point only; NAN where
 * unknown takes the usual value. Heating slows near boiling: `core_end_c` is kept 0.5 K
 * below the boundary temperature. */
double heat_bake_enzyme_min(const struct heat_values *values, double bake_min, double core_end_c);
/* Core at packing from end of bake, cooling time and air; NAN where unknown as above. */
double heat_core_at_pack_c(const struct heat_values *values, double core_end_bake_c,
                           double cool_min, double cooler_air_c);

#endif

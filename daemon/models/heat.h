/* Core temperature through bake and cooling.
 *
 * Recorded series are interpolated linearly. Where only end points are known, the
 * one-term solution of the transient conduction equation is fitted to them:
 *     (T-T_air)/(T_0-T_air) = A exp(-l^2 Fo),   Fo = a t/L^2,
 * with l the first root of l tan l = Bi (wall), l J1(l)/J0(l) = Bi (cylinder),
 * 1 - l cot l = Bi (sphere); L half thickness or radius, Bi = h L/k (textbook one-term
 * table; dfwall1term note, University of Waterloo). Valid from Fo 0.2 on.
 * Lethality F = integral of 10^((T-T_ref)/z) dt, trapezoid rule; log kill = F/D_ref.
 * Crumb and crust properties over porosity: J Food Eng 1995 26:497.
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
    double gel_from_c, gel_to_c;
    double enzyme_from_c, enzyme_to_c;
    double cooler_air_c;
    double cool_min;
    double bake_min;
};

enum heat_shape { HEAT_WALL, HEAT_CYLINDER, HEAT_SPHERE };

struct heat_point {
    double min;
    double temp_c;
};

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
/* Biot number for which it is, diffusivity kept; NAN when none is in [0.001, 1000]. */
double heat_fit_biot(const struct heat_body *body, double start_c, double air_c, double core_c,
                     double minutes);

/* Series sorted by time. Outside it the nearest end counts; NAN when empty. */
double heat_series_at(const struct heat_point *series, size_t count, double minutes);
/* Minutes with temperature in [from_c, to_c], pieces taken as straight lines. */
double heat_minutes_within(const struct heat_point *series, size_t count, double from_c,
                           double to_c);
double heat_lethality_min(const struct heat_point *series, size_t count, double ref_c, double z_c);
double heat_lethal_rate(double temp_c, double ref_c, double z_c);
double heat_log_kill(double lethality_min, double d_ref_min);
double heat_z_from_d(double temp1_c, double d1_min, double temp2_c, double d2_min);

/* Porosity in percent, 70 to 85. */
double heat_crumb_density_kg_m3(double porosity_pct);
double heat_crumb_diffusivity_m2_s(double porosity_pct);
double heat_crust_density_kg_m3(double porosity_pct);
double heat_crust_diffusivity_m2_s(double porosity_pct);

/* Core minutes in the enzyme window of a bake known by its end point only; NAN where
 * unknown takes the usual value. Heating slows near boiling: `core_end_c` is kept 0.5 K
 * below the boundary temperature. */
double heat_bake_enzyme_min(const struct heat_values *values, double bake_min, double core_end_c);
/* Core at packing from end of bake, cooling time and air; NAN where unknown as above. */
double heat_core_at_pack_c(const struct heat_values *values, double core_end_bake_c,
                           double cool_min, double cooler_air_c);

#endif

#include "models/wet.h"

#include <math.h>

/* IF97 region 4 coefficients n1..n10 */
static const double n[11] = {0,
                             0.11670521452767e4,
                             -0.72421316703206e6,
                             -0.17073846940092e2,
                             0.12020824702470e5,
                             -0.32325550322333e7,
                             0.14915108613530e2,
                             -0.48232657361591e4,
                             0.40511340542057e6,
                             -0.23855557567849,
                             0.65017534844798e3};

static const double zero_c_k = 273.15;
static const double gas_j_mol_k = 8.314462618;
static const double water_g_mol = 18.01528;

double wet_saturation_pa(double temp_k)
{
    if (!(temp_k >= 273.15 && temp_k <= 647.096)) {
        return NAN;
    }
    double theta = temp_k + n[9] / (temp_k - n[10]);
    double a = (theta + n[1]) * theta + n[2];
    double b = (n[3] * theta + n[4]) * theta + n[5];
    double c = (n[6] * theta + n[7]) * theta + n[8];
    double root = 2 * c / (-b + sqrt(b * b - 4 * a * c));
    return 1e6 * root * root * root * root;
}

double wet_saturation_temp_k(double pressure_pa)
{
    if (!(pressure_pa >= 611.213 && pressure_pa <= 22.064e6)) {
        return NAN;
    }
    double beta = sqrt(sqrt(pressure_pa / 1e6));
    double e = (beta + n[3]) * beta + n[6];
    double f = (n[1] * beta + n[4]) * beta + n[7];
    double g = (n[2] * beta + n[5]) * beta + n[8];
    double d = 2 * g / (-f - sqrt(f * f - 4 * e * g));
    double sum = n[10] + d;
    return (sum - sqrt(sum * sum - 4 * (n[9] + n[10] * d))) / 2;
}

double wet_saturation_pa_c(double temp_c)
{
    return wet_saturation_pa(temp_c + zero_c_k);
}

double wet_vapour_g_m3(double vapour_pa, double temp_c)
{
    return vapour_pa * water_g_mol / (gas_j_mol_k * (temp_c + zero_c_k));
}

double wet_latent_kj_kg(double temp_c)
{
    /* 2453.5 at 20 °C, 2382.0 at 50 °C */
    return 2453.5 - (2453.5 - 2382.0) / 30 * (temp_c - 20);
}

struct wet_condensate wet_condensate_in_bag(const struct wet_bag *bag,
                                            const struct wet_values *values)
{
    struct wet_condensate out = {0};
    double loaf_g = isnan(bag->loaf_g) ? values->loaf_g : bag->loaf_g;
    double scale = loaf_g / values->loaf_g;
    double surface_c = bag->room_c + values->surface_share * (bag->core_at_pack_c - bag->room_c);
    out.valid = bag->core_at_pack_c <= 100 && bag->room_c >= 0 &&
                bag->core_at_pack_c >= bag->room_c - 1 && bag->crumb_aw > 0 && bag->crumb_aw <= 1;
    if (!out.valid) {
        out.film_dew_point_c = NAN;
        return out;
    }
    double vapour_pa = bag->crumb_aw * wet_saturation_pa_c(surface_c);
    out.film_dew_point_c = wet_saturation_temp_k(fmax(vapour_pa, 612)) - zero_c_k;
    if (out.film_dew_point_c <= bag->room_c) {
        return out; /* the film never gets colder than its dew point */
    }
    double film_pa = wet_saturation_pa_c(bag->room_c);
    out.headspace_g =
        values->headspace_l * scale / 1000 *
        (wet_vapour_g_m3(vapour_pa, surface_c) - wet_vapour_g_m3(film_pa, bag->room_c));
    out.headspace_g = fmax(out.headspace_g, 0);
    /* the loaf's mean lies between core and surface; half way stands for a paraboloid */
    double mean_c = (bag->core_at_pack_c + surface_c) / 2;
    double heat_kj = loaf_g / 1000 * values->cp_kj_kg_k * (mean_c - bag->room_c);
    out.fed_g = 1000 * values->evaporation_share * heat_kj / wet_latent_kj_kg(surface_c);
    double uptake_g = values->crust_uptake_g_kg * loaf_g / 1000;
    out.free_g = fmax(0, out.headspace_g + out.fed_g - uptake_g);
    out.wetness = -expm1(-out.free_g / (values->full_effect_g * scale));
    return out;
}

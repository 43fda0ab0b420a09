#include "models/heat.h"

#include <math.h>

static const double fourier_valid = 0.2;
/* first zeros of J0 and limits of the roots for Bi -> infinity */
static const double root_limit[] = {
    [HEAT_WALL] = 1.5707963267948966,
    [HEAT_CYLINDER] = 2.4048255576957728,
    [HEAT_SPHERE] = 3.1415926535897931,
};

static double root_residual(enum heat_shape shape, double root, double biot)
{
    switch (shape) {
    case HEAT_WALL:
        return root * sin(root) - biot * cos(root);
    case HEAT_CYLINDER:
        return root * j1(root) - biot * j0(root);
    case HEAT_SPHERE:
        break;
    }
    return (1 - biot) * sin(root) - root * cos(root);
}

double heat_root(enum heat_shape shape, double biot)
{
    double low = 0;
    double high = root_limit[shape];
    if (isinf(biot)) {
        return high;
    }
    /* the residual is below zero just above 0 and above zero at the limit; bisection to
     * the last bit is cheap here and never leaves the bracket */
    low = 1e-12;
    while (high - low > 1e-15) {
        double middle = (low + high) / 2;
        if (root_residual(shape, middle, biot) < 0) {
            low = middle;
        } else {
            high = middle;
        }
    }
    return (low + high) / 2;
}

double heat_coefficient(enum heat_shape shape, double root)
{
    switch (shape) {
    case HEAT_WALL:
        return 4 * sin(root) / (2 * root + sin(2 * root));
    case HEAT_CYLINDER:
        return 2 / root * j1(root) / (j0(root) * j0(root) + j1(root) * j1(root));
    case HEAT_SPHERE:
        break;
    }
    return 4 * (sin(root) - root * cos(root)) / (2 * root - sin(2 * root));
}

double heat_fourier(const struct heat_body *body, double minutes)
{
    return body->diffusivity_m2_s * minutes * 60 / (body->length_m * body->length_m);
}

double heat_core_ratio(const struct heat_body *body, double minutes, bool *ret_valid)
{
    double root = heat_root(body->shape, body->biot);
    double fourier = heat_fourier(body, minutes);
    if (ret_valid) {
        *ret_valid = fourier >= fourier_valid;
    }
    double ratio = heat_coefficient(body->shape, root) * exp(-root * root * fourier);
    return ratio < 1 ? ratio : 1;
}

double heat_core_c(const struct heat_body *body, double start_c, double air_c, double minutes,
                   bool *ret_valid)
{
    return air_c + (start_c - air_c) * heat_core_ratio(body, minutes, ret_valid);
}

/* Fourier number at which the core ratio is `ratio`; NAN outside (0, A). */
static double fourier_at(enum heat_shape shape, double biot, double ratio)
{
    double root = heat_root(shape, biot);
    double coefficient = heat_coefficient(shape, root);
    if (!(ratio > 0 && ratio < coefficient)) {
        return NAN;
    }
    return log(coefficient / ratio) / (root * root);
}

double heat_minutes_to(const struct heat_body *body, double start_c, double air_c, double core_c,
                       bool *ret_valid)
{
    double fourier = fourier_at(body->shape, body->biot, (core_c - air_c) / (start_c - air_c));
    if (ret_valid) {
        *ret_valid = fourier >= fourier_valid;
    }
    return fourier * body->length_m * body->length_m / body->diffusivity_m2_s / 60;
}

double heat_fit_diffusivity(const struct heat_body *body, double start_c, double air_c,
                            double core_c, double minutes)
{
    double fourier = fourier_at(body->shape, body->biot, (core_c - air_c) / (start_c - air_c));
    return fourier * body->length_m * body->length_m / (minutes * 60);
}

double heat_bake_enzyme_min(const struct heat_values *values, double bake_min, double core_end_c)
{
    double minutes = isnan(bake_min) ? values->bake_min : bake_min;
    double end_c = isnan(core_end_c) ? values->bake_end_c : core_end_c;
    end_c = fmin(end_c, values->crust_boil_c - 0.5);
    struct heat_body crumb = {HEAT_CYLINDER, values->loaf_radius_mm / 1000, INFINITY,
                              values->bake_diffusivity_m2_s};
    if (minutes > 0) {
        crumb.diffusivity_m2_s =
            heat_fit_diffusivity(&crumb, values->dough_c, values->crust_boil_c, end_c, minutes);
    }
    double from =
        heat_minutes_to(&crumb, values->dough_c, values->crust_boil_c, values->enzyme_from_c, NULL);
    double to =
        heat_minutes_to(&crumb, values->dough_c, values->crust_boil_c, values->enzyme_to_c, NULL);
    return fmin(to, minutes) - fmin(from, minutes);
}

double heat_core_at_pack_c(const struct heat_values *values, double core_end_bake_c,
                           double cool_min, double cooler_air_c)
{
    double start_c = isnan(core_end_bake_c) ? values->bake_end_c : core_end_bake_c;
    double minutes = isnan(cool_min) ? values->cool_min : cool_min;
    double air_c = isnan(cooler_air_c) ? values->cooler_air_c : cooler_air_c;
    struct heat_body loaf = {HEAT_CYLINDER, values->loaf_radius_mm / 1000, values->cool_biot,
                             values->cool_diffusivity_m2_s};
    return heat_core_c(&loaf, start_c, air_c, minutes, NULL);
}

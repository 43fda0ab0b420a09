#include "models/spores.h"

#include <math.h>

double spores_deposition_cm_s(double per_100cm2_h, double air_per_m3)
{
    double per_cm2_s = per_100cm2_h / 100 / 3600;
    return per_cm2_s / (air_per_m3 / 1e6);
}

double spores_per_m3_from_ft3(double per_ft3)
{
    const double m3_per_ft3 = 0.3048 * 0.3048 * 0.3048;
    return per_ft3 / m3_per_ft3;
}

double spores_air_from_plate(const struct spores_values *values, double plate_cfu)
{
    double per_cm2_s = plate_cfu / values->plate_cm2 / (values->plate_min * 60);
    return per_cm2_s / values->deposition_cm_s * 1e6;
}

double spores_on_loaf_from_air(const struct spores_values *values, double air_per_m3,
                               double exposed_min)
{
    return air_per_m3 / 1e6 * values->deposition_cm_s * values->loaf_cm2 * exposed_min * 60 *
           values->takes_share;
}

double spores_on_loaf_from_swab(const struct spores_values *values, double swab_cfu,
                                double contact_cm2)
{
    return swab_cfu / values->swab_cm2 * contact_cm2 * values->transfer_share * values->takes_share;
}

double spores_contaminated_share(double spores)
{
    return -expm1(-spores);
}

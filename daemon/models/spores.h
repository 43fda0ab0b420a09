/* Spores that reach a pack: from plates, air counts and swabs on the lot's way.
 *
 * Settling: spores per area and time = concentration x deposition velocity. The velocity
 * follows from counts in bread storage rooms, 85 to 5000 spores/m3 depositing 10 to 400 on
 * 100 cm2 an hour (Spicher 1980 Zbl Bakt B 170:508). Results are mean viable spores that
 * find a place to grow on one pack; how many of them a pack gets is Poisson.
 * Units: CFU, cm2, minutes, CFU/m3, cm/s. */
#ifndef ODDLOAF_MODELS_SPORES_H
#define ODDLOAF_MODELS_SPORES_H

struct spores_values {
    double deposition_cm_s;
    double loaf_cm2; /* open surface of a loaf that spores settle on */
    double plate_cm2;
    double plate_min;
    double swab_cm2;
    double transfer_share; /* of a surface's spores that a contact leaves on the loaf */
    double takes_share;    /* of those on a loaf that grow */
};

double spores_deposition_cm_s(double per_100cm2_h, double air_per_m3);
double spores_per_m3_from_ft3(double per_ft3);
/* CFU/m3 that a settle plate's count stands for. */
double spores_air_from_plate(const struct spores_values *values, double plate_cfu);
/* On one loaf open to such air for so long. */
double spores_on_loaf_from_air(const struct spores_values *values, double air_per_m3,
                               double exposed_min);
/* On one loaf that touches so much of a surface with this swab count. */
double spores_on_loaf_from_swab(const struct spores_values *values, double swab_cfu,
                                double contact_cm2);
/* Share of packs with at least one spore when the mean is `spores`. */
double spores_contaminated_share(double spores);

#endif

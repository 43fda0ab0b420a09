/* Units at the edge: values come in the unit a header or field names and are kept in the one
 * unit of their quantity. Factors are exact by definition (international pound, inch, gallon;
 * NIST SP 811 Appendix B). */
#ifndef ODDLOAF_BASE_UNITS_H
#define ODDLOAF_BASE_UNITS_H

#include "error.h"

/* Converts `value` from unit `from` to unit `to`. Knows temperature (degC degF K), mass (kg g mg
 * lb oz t), volume (L mL gal_us floz_us m3 ft3), length (m mm cm in ft), time (s min h d),
 * pressure (Pa hPa kPa bar psi inH2O), fraction (% ppm mg/kg g/kg fraction), counts (1 cfu),
 * cfu/m3 cfu/ft3, cfu/g, cfu/100cm2 cfu/25cm2, mmol/L. ERROR_INVALID when a unit is unknown or
 * the dimensions differ; the text says which. `from` is matched without case or blanks and with
 * common spellings (C, F, °C, deg C, lbs, minutes, hr, percent). */
int units_convert(double value, const char *from, const char *to, double *ret, struct error *err);
/* True if the unit is known. */
int units_known(const char *unit);

#endif

/* Units at the edge: values come in the unit a header or field names and are kept in the one
 * unit of their quantity. Factors are exact by definition (NIST SP 811, 2008, Appendix B). */
#ifndef ODDLOAF_BASE_UNITS_H
#define ODDLOAF_BASE_UNITS_H

#include "base/error.h"
#include <stdbool.h>

/* Converts `value` from unit `from` to unit `to`. Knows
 *   temperature degC degF K (points of the scale, not differences: 10 degF more is 10/1.8 K more),
 *   mass kg g mg t lb oz, volume L mL m3 gal_us floz_us ft3, length m mm cm in ft, time s min h d,
 *   pressure Pa hPa kPa bar psi inH2O, fraction % ppm mg/kg g/kg fraction, counts 1 cfu,
 *   cfu/m3 cfu/ft3, cfu/g, cfu/100cm2 cfu/25cm2, mmol/L, and by themselves pH, RLU, grain.
 * Both are matched without case or blanks and with common spellings (C, F, °C, deg C, lbs, minutes,
 * hr, percent). ERROR_INVALID, the text saying why, when a unit is unknown, the quantities differ
 * or the result is not finite; *ret is written only on success. */
int units_convert(double value, const char *from, const char *to, double *ret, struct error *err);
bool units_known(const char *unit);
/* The unit that the end of a quantity's name promises, "degC" of "core_at_pack_c", and where that
 * end begins; NULL and the end of the name if it promises none. */
const char *units_promised(const char *name, const char **ret_suffix);

#endif

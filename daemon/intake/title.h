/* What stands before a person's name: "Mrs. Green", "señora Vogt". */
#ifndef ODDLOAF_INTAKE_TITLE_H
#define ODDLOAF_INTAKE_TITLE_H

#include <stdbool.h>

/* Of a folded word (base/text.h). */
bool title_is(const char *folded);
/* Is it one that is written short, with a stop that ends no sentence? */
bool title_is_short(const char *folded);

#endif

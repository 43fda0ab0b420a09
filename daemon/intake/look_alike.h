/* Letters of other alphabets, or in circles, that look like Latin ones. */
#ifndef ODDLOAF_INTAKE_LOOK_ALIKE_H
#define ODDLOAF_INTAKE_LOOK_ALIKE_H

#include <stdint.h>

/* The small Latin letter that a Greek, Cyrillic, Armenian or enclosed one is taken for; 0:
 * none. */
char look_alike_of(uint32_t c);

#endif

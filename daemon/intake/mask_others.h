/* Inside intake/ only: names of others in a caller's story. Pure. */
#ifndef ODDLOAF_INTAKE_MASK_OTHERS_H
#define ODDLOAF_INTAKE_MASK_OTHERS_H

#include "base/text.h"

/* Appends, each behind a comma, the names in capitals that the text gives to somebody: behind a
 * word for a person ("my neighbour Petra Lind", "mi vecina se llama Petra"), before one ("Petra
 * Lind, my neighbour") or behind a title ("Mrs Lind"). Of a text all in capitals none. */
void mask_others_find(const char *text, struct text_buffer *names);

#endif

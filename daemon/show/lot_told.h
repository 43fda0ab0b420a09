/* The lot in a mail: how sure it is, the code as read, the candidates and what would decide. */
#ifndef ODDLOAF_SHOW_LOT_TOLD_H
#define ODDLOAF_SHOW_LOT_TOLD_H

#include "show/view.h"

/* Of an object with what lots/standing.h sets, "lots", "holds" and "doubts". */
void lot_told_rows(const json_t *object, struct view *view);

#endif

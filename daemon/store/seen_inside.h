/* Inside store/ only: lists of what who asks sees (store/seen.h), in SQL. */
#ifndef ODDLOAF_STORE_SEEN_INSIDE_H
#define ODDLOAF_STORE_SEEN_INSIDE_H

#include "store/seen.h"

/* To be bound: ",Larkfen,Quarrhill,"; NULL where all is seen. */
const char *seen_list(const struct store *store);

/* `list`: the parameter; `plant`: a column. What has no plant is in no list. */
#define SEEN_IN(list, plant) "(" list " IS NULL OR instr(" list ", ',' || " plant " || ',') > 0)"

#endif

/* Inside store/: a ranking put together, and its items as short text, for there are many of them
 * and nothing looks for one. A line for each fact and value:
 *
 *     FACT TAB VALUE [TAB tTARGET] [TAB oOBSERVED] [TAB eEXPECTED] [TAB nLOTS] { TAB
 * CAUSE:HUNDREDTHS }
 *
 * with the causes it speaks of by their place in the ranking, and the facts that are told of most
 * as `#` and a letter. Older files have the names of all facts, and
 *
 *     FACT TAB VALUE TAB TARGET TAB OBSERVED TAB EXPECTED TAB LOTS { TAB CAUSE:HUNDREDTHS }
 *
 * where what is unknown is empty. */
#ifndef ODDLOAF_STORE_RANKING_PACK_H
#define ODDLOAF_STORE_RANKING_PACK_H

#include "store/ranking.h"

/* malloc'd. */
char *ranking_pack(const struct ranking *ranking);
/* Adds the items of `text` to `ranking`; lines that are none are left out. */
void ranking_pack_read(const char *text, struct ranking *ranking);
/* Appends to a ranking. */
void ranking_pack_cause(struct ranking *ranking, const char *cause, double probability);
void ranking_pack_item(struct ranking *ranking, const struct ranking_item *item);

#endif

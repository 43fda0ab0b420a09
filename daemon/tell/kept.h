/* Inside tell/: what is kept of a ranking (store/ranking.h), made and told. */
#ifndef ODDLOAF_TELL_KEPT_H
#define ODDLOAF_TELL_KEPT_H

#include "rank/case_rank.h"
#include "store/ranking.h"

/* Of a case that was just ranked: every cause, and of those that a mail explains the items. The
 * caller clears *ret. */
void kept_make(const struct triage *triage, const struct case_rank *ranked, struct ranking *ret);

#endif

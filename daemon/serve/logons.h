/* Settings that are sound and yet let nobody in: who may log on is said outside of them, on the
 * machine, and a slip there would be seen first by the one who is kept out. */
#ifndef ODDLOAF_SERVE_LOGONS_H
#define ODDLOAF_SERVE_LOGONS_H

#include "serve/config.h"

/* Reports each (field: the setting's key): a Unix group, named in the file, that this machine does
 * not know; tcp/listen where neither a token nor an authority of certificates is. None is a fault:
 * the group, or the token, may come yet. Returns how many. */
int logons_check(const struct config *config, doc_report report, void *arg);

#endif

/* What each way in may hold, and how long it waits: the config's limits, as far as the process may
 * open files. */
#ifndef ODDLOAF_SERVE_LIMITS_H
#define ODDLOAF_SERVE_LIMITS_H

#include "base/log.h"
#include "serve/config.h"
#include "serve/door.h"

struct limits_way {
    struct door_limits room;
    struct conn_limits patience;
};

struct limits {
    struct limits_way local, tcp;
};

/* Short of descriptors TCP has half of what fits at most, and the log says so. Without `tls` there
 * is no TCP, and no connection of it. */
void limits_read(const struct config *config, bool tls, const struct log *log, struct limits *ret);

#endif

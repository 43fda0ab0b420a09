/* What the clock makes due, now and then: contact data kept long enough are purged, a load that
 * broke off goes on or is told to have failed, Monday's digest is queued. On the background's
 * thread. */
#ifndef ODDLOAF_SERVE_UPKEEP_H
#define ODDLOAF_SERVE_UPKEEP_H

#include "serve/app.h"
#include <stdatomic.h>

struct upkeep {
    struct app *app;
    int64_t failed_loads; /* that were told of */
};

/* A failure is logged, unless `stopping` cut it short: it goes on at the next start. */
void upkeep_run(struct upkeep *upkeep, struct setup *setup, struct store *store,
                atomic_bool *stopping);

#endif

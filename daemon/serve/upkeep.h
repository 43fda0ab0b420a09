/* What the clock makes due, now and then: contact data kept long enough are purged, a load that
 * broke off goes on or is told to have failed, Monday's digest is queued. On the background's
 * thread. */
#ifndef ODDLOAF_SERVE_UPKEEP_H
#define ODDLOAF_SERVE_UPKEEP_H

#include "base/uuid.h"
#include "serve/app.h"
#include <stdatomic.h>

struct upkeep {
    struct app *app;
    int64_t failed_loads; /* that were told of */
    struct {
        char id[UUID_TEXT];
        int64_t applied, since_ms; /* monotonic: it has stood so */
    } load;                        /* the file that waits first, on a server */
};

/* A failure is logged, unless `stopping` cut it short: it goes on at the next start. */
void upkeep_run(struct upkeep *upkeep, struct setup *setup, struct store *store,
                atomic_bool *stopping);
/* On a server: a file that a daemon accepted and has not gone on with for some seconds is applied
 * here; that daemon may be no more. */
void upkeep_adopt(struct upkeep *upkeep, struct store *store);

#endif

/* How the daemon is: read once for a question, told as JSON, as metrics, and as what needs a hand.
 */
#ifndef ODDLOAF_SERVE_HEALTH_H
#define ODDLOAF_SERVE_HEALTH_H

#include "desk/spoken.h"
#include "serve/app.h"
#include "serve/inbox.h"
#include "serve/keeper.h"
#include "serve/plant_names.h"
#include "store/backup_last.h"
#include "store/load_file.h"
#include "store/open_harm.h"
#include "store/outbox.h"
#include "store/restore.h"
#include "store/totals.h"

struct health {
    const struct setup *setup; /* borrowed */
    int64_t now_ms, uptime_s;
    struct error
        unread; /* code 0, or why the database could not be read: the rest of it is empty */
    struct totals totals;
    struct open_harm_counts harm;
    struct spoken_lots found; /* in which laboratories found what nobody decided about */
    struct outbox_counts outbox;
    bool urgent_stuck; /* outbox_urgent_stuck() */
    int64_t rank_waiting, rematch_waiting;
    struct writer_counts writer;
    struct store_size size;
    int64_t disk_free_bytes; /* of the state's disk, for its user; -1: not known */
    struct keeper_told keeper;
    struct inbox_told inbox;
    struct backup_last backup;
    struct restore_note restored;
    struct plant_names plants;
    struct load_file failed; /* the newest of the `failed_loads` */
    int64_t failed_loads;
    json_t *records;        /* [{"line","kind","last_at_ms"}], with "plant" where one is named:
                               store/freshness.h; null: unknown */
    char reload_error[512]; /* "" none */
};
/* Never fails: what could not be read is said. */
void health_read(struct app *app, const struct setup *setup, struct store *store,
                 struct health *ret);
void health_clear(struct health *health);

/* ERROR_NO_SPACE while the state's disk has less than is to be kept free (status: "disk-low"): what
 * can wait is refused then, so that complaints and records are still taken. */
int health_room(const struct app *app, const struct setup *setup, struct store *store,
                struct error *err);

/* What a person should see to, most urgent first: [{"what","says","do"}]. */
json_t *health_needs(const struct health *health);
/* Of them what people of some plants alone are told: harm there, or that it cannot be read. */
json_t *health_needs_of_plants(const struct setup *setup, struct store *store);

#endif

/* What the daemon's parts share: one object, made by main, handed down; no globals. */
#ifndef ODDLOAF_SERVE_APP_H
#define ODDLOAF_SERVE_APP_H

#include "base/log.h"
#include "base/when.h"
#include "records/load.h"
#include "serve/request.h"
#include "serve/setup.h"
#include "store/readers.h"
#include "store/writer.h"
#include <pthread.h>

struct sessions;
struct inbox;
struct uploads;
struct kept;
struct keeper;

struct app {
    struct log log;
    struct log_seldom told; /* of the background's thread */
    struct clock clock;
    const char *state_dir, *config_path, *rules_dir; /* borrowed from main; of the last two NULL
                                                        is what is installed */
    int64_t started_ms, started_monotonic_ms;
    bool unsettled;  /* atomic: a full disk has put app_settle() off */
    int64_t bulk_ms; /* atomic, monotonic: when lines of a file were last written */
    struct writer *writer;
    struct readers *readers;   /* the desk's questions */
    struct readers *bulk;      /* long work: uploads, batches (route.h) */
    struct readers *study;     /* long questions: common factors, everything at once */
    struct sessions *sessions; /* records on their way */
    struct uploads *uploads;   /* attachments on theirs */
    struct kept *kept;         /* weeks and other spans, which many ask for at once */
    struct keeper *keeper;     /* NULL until it is started */
    struct inbox *inbox;       /* likewise */
    pthread_mutex_t reloading; /* one reload at a time */
    pthread_mutex_t switching; /* one switch of learning at a time */
    pthread_mutex_t lock;      /* guards what follows */
    struct setup *setup;
    char reload_error[512];  /* why the last reload was refused, "" if it wasn't */
    char *restore_file;      /* what the daemon is to stop for, and restore; NULL: nothing */
    bool outdated;           /* atomic: it is to stop for its server's schema is another by now */
    void (*stop)(void *arg); /* has it stop; any thread */
    void *stop_arg;
    void (*wake)(void *arg); /* tells the loop that work has been queued; any thread */
    void *wake_arg;
    void (*reloaded)(void *arg); /* a new set is in force; any thread; NULL: nobody is told */
    void *reloaded_arg;
};

/* The set in force, with a reference of the caller's own. Thread-safe. */
struct setup *app_setup(struct app *app);
/* Loads anew, with the calibration the plant has adopted, and swaps; on failure keeps the old set
 * and remembers why. What a running daemon cannot change is kept and named in the log. Not on the
 * writer's thread. */
int app_reload(struct app *app, struct error *err);
/* Applies to a set that nobody uses yet what the plant decided beside its rule files (decided.h).
 */
int app_decide(struct app *app, struct setup *setup, struct error *err);
/* Whether the set in force has what the store keeps of it by now: another daemon's people may have
 * decided otherwise. */
bool app_is_decided(struct app *app, struct store *store);
/* What older versions wrote is made what this one keeps (desk/older.h), and what was erased since a
 * restored backup is erased again (store/erasures.h). */
int app_take_in(struct app *app, struct error *err);
/* What a start owes the store: weeks counted by the time zone in force, open cases due whose
 * rankings other rules or another version made, files of records that were accepted and not
 * applied. A full disk puts it off (0, and app_is_unsettled() until a later call has done it): what
 * is there can be read, and mail about harm leaves. */
int app_settle(struct app *app, struct error *err);
bool app_is_unsettled(struct app *app);
int64_t app_now_ms(const struct app *app);
int64_t app_uptime_ms(const struct app *app); /* whatever the clock was set to meanwhile */
/* After a commit that queued work or mail. */
void app_wake(struct app *app);
/* Lines of a file are written. Any thread. */
void app_bulk_now(struct app *app);
/* Whether a file is being logged, here or (of the state on a server; NULL: here alone) by another
 * daemon, as far as one can tell: what nobody waits for may wait. */
bool app_in_bulk(struct app *app, struct store *store);
/* Asks the writer to truncate the WAL after the next commit: erased data leaves the disk. */
void app_checkpoint(struct app *app);

#endif

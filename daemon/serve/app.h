/* What the daemon's parts share: one object, made by main, handed down; no globals. */
#ifndef ODDLOAF_SERVE_APP_H
#define ODDLOAF_SERVE_APP_H

#include "base/log.h"
#include "base/when.h"
#include "desk/desk.h"
#include "notify/mail_settings.h"
#include "rank/triage.h"
#include "records/load.h"
#include "serve/config.h"
#include "serve/request.h"
#include "store/readers.h"
#include "store/writer.h"
#include <pthread.h>

struct lot_matcher;
struct lexicon;
struct sessions;
struct keeper;

/* Rules, config and what was made from them: loaded whole, swapped at once, shared by reference,
 * so that a request under way keeps the set it began with. */
struct setup {
    int references;          /* atomic */
    const char *config_path; /* borrowed from main, or where it is installed; NULL: all defaults */
    const char *rules_dir;   /* one folder or several: base/doc.h */
    json_t *own_rules;       /* the plant's own files: rules/rule_files.h */
    struct config *config;
    struct tz *tz;
    struct triage *triage;
    struct lot_matcher *matcher;
    struct lexicon *lexicon;
    json_t *harm;           /* what is said when harm is reported: intake/harm.h */
    struct ssl_ctx_st *tls; /* what TLS clients are shown; NULL: none are listened for */
    json_t *needs_restart;  /* names of changed settings that keep their value until then */
    struct desk desk;       /* what the desk's work stands on, of the above */
    int64_t loaded_ms;
};

struct app {
    struct log log;
    struct clock clock;
    const char *state_dir, *config_path, *rules_dir; /* borrowed from main; of the last two NULL
                                                        is what is installed */
    int64_t started_ms;
    struct writer *writer;
    struct readers *readers;   /* the desk's questions */
    struct readers *bulk;      /* long work: uploads, batches, everything at once (route.h) */
    struct sessions *sessions; /* uploads under way */
    struct keeper *keeper;     /* NULL until it is started */
    pthread_mutex_t reloading; /* one reload at a time */
    pthread_mutex_t lock;      /* guards what follows */
    struct setup *setup;
    char reload_error[512];  /* why the last reload was refused, "" if it wasn't */
    char *restore_file;      /* what the daemon is to stop for, and restore; NULL: nothing */
    void (*stop)(void *arg); /* has it stop; any thread */
    void *stop_arg;
    void (*wake)(void *arg); /* tells the loop that work has been queued; any thread */
    void *wake_arg;
    void (*reloaded)(void *arg); /* a new set is in force; any thread; NULL: nobody is told */
    void *reloaded_arg;
};

/* `config_path`, `rules_dir`: NULL for those that are installed. `in_force`:
 * the set that this one is to replace in a running daemon, NULL at the start. */
int setup_load(const char *config_path, const char *rules_dir, const struct setup *in_force,
               struct setup **ret, const struct log *log, struct error *err);
void setup_unref(struct setup *setup);
/* What it says of mail and hook; lives as long as the set. */
struct mail_settings setup_mail(const struct setup *setup);
/* Logs every fault of them; ERROR_INVALID with the first one if there is any. */
int setup_check_mail(const struct setup *setup, const struct log *log, struct error *err);
/* The set in force, with a reference of the caller's own. Thread-safe. */
struct setup *app_setup(struct app *app);
/* Loads anew, with the calibration the plant has adopted, and swaps; on failure keeps the old set
 * and remembers why. What a running daemon cannot change is kept and named in the log. Not on the
 * writer's thread. */
int app_reload(struct app *app, struct error *err);
/* Applies what the store has of an adopted calibration to a set that nobody uses yet. */
int app_calibrate(struct app *app, struct setup *setup, struct error *err);
/* Makes the weekly counts those of the time zone in force; does nothing if they are. */
int app_count_weeks(struct app *app, struct error *err);
/* What older versions wrote is made what this one keeps (desk/older.h), and what was erased since a
 * restored backup is erased again (store/erasures.h). */
int app_take_in(struct app *app, struct error *err);
/* Makes open cases due if other rules or another version made their rankings last. */
int app_rank_again(struct app *app, struct error *err);
int64_t app_now_ms(const struct app *app);
/* After a commit that queued work or mail. */
void app_wake(struct app *app);
/* Asks the writer to truncate the WAL after the next commit: erased data leaves the disk. */
void app_checkpoint(struct app *app);

#endif

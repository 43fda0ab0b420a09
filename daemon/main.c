/* oddloafd: reads its arguments, starts the parts in order, runs the loop, stops them in reverse.
 */
#include "base/jsonx.h"
#include "base/log.h"
#include "base/text.h"
#include "notify/mailer.h"
#include "rules/rule_files.h"
#include "serve/app.h"
#include "serve/background.h"
#include "serve/case_sheet.h"
#include "serve/http.h"
#include "serve/inbox.h"
#include "serve/installed.h"
#include "serve/keeper.h"
#include "serve/kept.h"
#include "serve/plant_names.h"
#include "serve/reload.h"
#include "serve/restoring.h"
#include "serve/service.h"
#include "serve/sessions.h"
#include "serve/uploads.h"
#include "store/owner.h"
#include "store/place.h"
#include "store/relocate.h"
#include "tables/sheet_apart.h"
#include <errno.h>
#include <event2/event.h>
#include <event2/thread.h>
#include <getopt.h>
#include <gsl/gsl_errno.h>
#include <limits.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum {
    EXIT_AGAIN = 75,   /* EX_TEMPFAIL: the service manager is to start it anew */
    EXIT_CONFIG = 78,  /* EX_CONFIG */
    STOP_SPARE_S = 20, /* to commit what is queued, after the last request was answered */
    FLUSH_MS = 1000,   /* for answers whose client reads slowly, once all work is done */
    BULK_THREADS = 4,  /* applying is the one writer's work: more would only wait for it */
    STUDY_THREADS = 2  /* each takes a core for as long as it takes */
};

struct options {
    const char *config, *state, *rules, *socket, *restore, *move_to;
    char state_dir[PATH_MAX]; /* `state`, absolute */
    bool check;
};

struct daemon {
    struct app app;
    struct event_base *base;
    struct http *http;
    struct reload *reload;
    struct background *background;
    struct mailer *mailer;
    struct event *term, *interrupt, *hangup, *draining, *restore;
    int64_t stop_by_ms;
    bool terminated; /* somebody outside wants it gone */
};

static const char USAGE[] =
    "usage: oddloafd [--config FILE] [--state DIR] [--rules DIR] [--socket PATH] [--check]\n"
    "       oddloafd --restore FILE [--state DIR]\n"
    "       oddloafd --move-to ADDRESS|folder [--state DIR]\n"
    "       oddloafd --help-config | --version\n"
    "  --config FILE  settings (JSON); every one has a default\n"
    "                 (default " INSTALLED_CONFIG ", if it is there)\n"
    "  --state DIR    where the database lives (default /var/lib/oddloaf)\n"
    "  --rules DIR    rule files; DIR:DIR: those of the first stand for those of the second\n"
    "                 (default " RULE_FILES_INSTALLED ")\n"
    "  --socket PATH  Unix socket to listen at (default /run/oddloaf/oddloafd.sock)\n"
    "  --restore FILE put a backup in the place of the state, with the daemon stopped;\n"
    "                 what was there is kept aside\n"
    "  --move-to TO   take the state to a PostgreSQL server (postgresql://...), or back to\n"
    "                 a file in its folder, with the daemon stopped\n"
    "  --check        check settings and rules, say what is wrong, start nothing\n";

/* What is told of files in it (backups, what a restore kept) is used from elsewhere. Returns -1 to
 * go on, else the exit code. */
static int place_state(struct options *o)
{
    char here[PATH_MAX] = "";
    if (o->state[0] != '/' && !getcwd(here, sizeof here)) {
        fprintf(stderr, "oddloafd: --state %s: cannot tell this folder's name: %s\n", o->state,
                strerror(errno));
        return 1;
    }
    int length =
        snprintf(o->state_dir, sizeof o->state_dir, "%s%s%s", here, *here ? "/" : "", o->state);
    if (length < (int)sizeof o->state_dir)
        return -1;
    fprintf(stderr, "oddloafd: --state %s: the path is too long\n", o->state);
    return 1;
}

/* Returns -1 to go on, else the exit code. */
static int read_options(int argc, char **argv, struct options *o)
{
    static const struct option LONG[] = {{"config", required_argument, NULL, 'c'},
                                         {"state", required_argument, NULL, 's'},
                                         {"rules", required_argument, NULL, 'r'},
                                         {"socket", required_argument, NULL, 'k'},
                                         {"restore", required_argument, NULL, 'b'},
                                         {"check", no_argument, NULL, 'n'},
                                         {"move-to", required_argument, NULL, 'm'},
                                         {"help", no_argument, NULL, 'h'},
                                         {"help-config", no_argument, NULL, 'H'},
                                         {"version", no_argument, NULL, 'v'},
                                         {NULL, 0, NULL, 0}};
    *o = (struct options){.state = "/var/lib/oddloaf", .socket = "/run/oddloaf/oddloafd.sock"};
    int letter;
    while ((letter = getopt_long(argc, argv, "", LONG, NULL)) != -1) {
        switch (letter) {
        case 'c':
            o->config = optarg;
            break;
        case 's':
            o->state = optarg;
            break;
        case 'r':
            o->rules = optarg;
            break;
        case 'k':
            o->socket = optarg;
            break;
        case 'b':
            o->restore = optarg;
            break;
        case 'm':
            o->move_to = optarg;
            break;
        case 'n':
            o->check = true;
            break;
        case 'h':
            fputs(USAGE, stdout);
            return 0;
        case 'H':
            config_describe(stdout);
            return 0;
        case 'v':
            printf("oddloafd " ODDLOAF_VERSION "\nschema %d\nbuilt with " ODDLOAF_LIBRARIES "\n",
                   store_schema_version());
            return 0;
        default:
            fputs(USAGE, stderr);
            return 2;
        }
    }
    if (optind < argc) {
        fprintf(stderr, "oddloafd: unexpected argument '%s'\n%s", argv[optind], USAGE);
        return 2;
    }
    return place_state(o);
}

static void log_error(const struct daemon *d, const char *doing, const struct error *err)
{
    char text[1024];
    log_write(&d->app.log, LOG_LEVEL_ERROR, "%s: %s", doing, error_format(err, text, sizeof text));
}

static const char *settings_file(const struct setup *setup)
{
    return setup->config_path ? setup->config_path : "defaults";
}

/* A wrong address must not keep the desk from logging: the others get their mail, status and log
 * say what is wrong; nor must a group that the machine does not know. `--check` and a reload refuse
 * it. */
static void report_people(struct daemon *d)
{
    struct error err = {0};
    const struct mail_settings mail = setup_mail(d->app.setup);
    const char *gap = mail_settings_gap(&mail);
    setup_check_mail(d->app.setup, &d->app.log, &err);
    setup_warn(d->app.setup, &d->app.log);
    if (gap)
        log_write(&d->app.log, LOG_LEVEL_WARNING, "%s", gap);
}

/* ---- signals ---- */

static void daemon_on_drain(evutil_socket_t fd, short what, void *arg)
{
    struct daemon *d = arg;
    (void)fd;
    (void)what;
    bool idle = background_stopping(d->background) && http_pending(d->http) == 0;
    if (idle || clock_monotonic_ms() >= d->stop_by_ms)
        event_base_loopexit(d->base, NULL);
}

static void begin_stop(struct daemon *d)
{
    if (event_pending(d->draining, EV_TIMEOUT, NULL))
        return;
    struct setup *setup = app_setup(&d->app);
    int64_t within_s = config_number(setup->config, "limits/stop_s");
    d->stop_by_ms = clock_monotonic_ms() + within_s * 1000;
    service_stopping(within_s + STOP_SPARE_S);
    setup_unref(setup);
    http_stop(d->http);
    writer_hurry(d->app.writer);
    const struct timeval soon = {0, 20000};
    event_add(d->draining, &soon);
}

static void daemon_on_stop(evutil_socket_t signal_number, short what, void *arg)
{
    struct daemon *d = arg;
    (void)what;
    if (!d->terminated)
        log_write(&d->app.log, LOG_LEVEL_INFO, "stopping signal=%d", (int)signal_number);
    d->terminated = true;
    begin_stop(d);
}

static void daemon_on_restore(evutil_socket_t fd, short what, void *arg)
{
    struct daemon *d = arg;
    (void)fd;
    (void)what;
    if (d->app.restore_file)
        log_write(&d->app.log, LOG_LEVEL_INFO, "stopping to restore file=%s", d->app.restore_file);
    begin_stop(d);
}

static void daemon_ask_restore(void *arg)
{
    struct daemon *d = arg;
    event_active(d->restore, EV_READ, 0);
}

static void daemon_reloaded(void *arg)
{
    struct daemon *d = arg;
    struct setup *setup = app_setup(&d->app);
    const struct mail_settings mail = setup_mail(setup);
    const char *gap = mail_settings_gap(&mail);
    mailer_configure(d->mailer, &mail);
    http_changed(d->http);
    log_write(&d->app.log, LOG_LEVEL_INFO, "rules and settings reloaded, settings=%s rules=%s",
              settings_file(setup), triage_hash(setup->triage));
    setup_warn(setup, &d->app.log);
    if (gap)
        log_write(&d->app.log, LOG_LEVEL_WARNING, "%s", gap);
    setup_unref(setup);
}

static void daemon_on_reload(evutil_socket_t fd, short what, void *arg)
{
    struct daemon *d = arg;
    (void)fd;
    (void)what;
    service_reloading();
    reload_ask(d->reload);
}

static void watch_signals(struct daemon *d)
{
    signal(SIGPIPE, SIG_IGN);
    d->term = evsignal_new(d->base, SIGTERM, daemon_on_stop, d);
    d->interrupt = evsignal_new(d->base, SIGINT, daemon_on_stop, d);
    d->hangup = evsignal_new(d->base, SIGHUP, daemon_on_reload, d);
    d->draining = event_new(d->base, -1, EV_PERSIST, daemon_on_drain, d);
    d->restore = event_new(d->base, -1, EV_PERSIST, daemon_on_restore, d);
    event_add(d->term, NULL);
    event_add(d->interrupt, NULL);
    event_add(d->hangup, NULL);
}

/* ---- start and stop ---- */

static void log_conversion(const struct daemon *d)
{
    const struct store_migration *done = writer_migration(d->app.writer);
    if (done && !*done->copy)
        log_write(&d->app.log, LOG_LEVEL_WARNING,
                  "the database was converted from schema %d to %d; the way back is the dump that "
                  "was made of the server before",
                  done->from, done->to);
    if (!done || !*done->copy)
        return;
    log_write(&d->app.log, LOG_LEVEL_WARNING,
              "the database was converted from schema %d to %d; as it was, it is kept in %s: to go "
              "back, stop the daemon, run `oddloafd --restore` of the earlier version with that "
              "file, and start the earlier version",
              done->from, done->to, done->copy);
}

static int start_store(struct daemon *d, struct error *err)
{
    const struct config *config = d->app.setup->config;
    size_t queue = (size_t)config_number(config, "queue");
    if (mkdir(d->app.state_dir, 0700) && errno != EEXIST)
        return error_set(err, ERROR_IO, "cannot make %s: %s", d->app.state_dir, strerror(errno));
    int rc = place_set(d->app.state_dir, config_text(config, "store"), err);
    if (!rc)
        rc = writer_start(d->app.state_dir, queue, &d->app.writer, err);
    if (!rc)
        log_conversion(d);
    if (!rc && writer_is_alone(d->app.writer))
        log_write(
            &d->app.log, LOG_LEVEL_ERROR,
            "the disk is full: what is there is answered, and mail about harm leaves; no other "
            "program reads the database until the next start");
    if (!rc)
        rc = app_decide(&d->app, d->app.setup, err);
    if (!rc)
        rc = app_take_in(&d->app, err);
    if (!rc)
        rc = app_settle(&d->app, err);
    if (!rc)
        rc = readers_start(d->app.state_dir, (int)config_number(config, "readers"), queue,
                           &d->app.readers, err);
    if (!rc)
        rc = readers_start(d->app.state_dir, BULK_THREADS, queue, &d->app.bulk, err);
    if (!rc)
        rc = readers_start(d->app.state_dir, STUDY_THREADS, queue, &d->app.study, err);
    return rc;
}

/* A connection that waits for its answer is not read: its descriptor goes out of epoll's set and in
 * again with each request, which takes no call of the system where both come in one turn. */
static struct event_base *new_loop(void)
{
    struct event_config *how = event_config_new();
    event_config_set_flag(how, EVENT_BASE_FLAG_EPOLL_USE_CHANGELIST);
    struct event_base *base = event_base_new_with_config(how);
    event_config_free(how);
    return base;
}

static int start(struct daemon *d, const struct options *o, struct error *err)
{
    int rc = start_store(d, err);
    const struct mail_settings mail = setup_mail(d->app.setup);
    if (!rc)
        rc = mailer_start(d->app.state_dir, d->app.writer, &d->app.log, &d->app.clock, &d->mailer,
                          err);
    if (!rc)
        rc = mailer_attach(d->mailer, d->app.state_dir, case_sheet_for_mail, &d->app, err);
    if (rc)
        return rc;
    mailer_configure(d->mailer, &mail);
    evthread_use_pthreads();
    d->base = new_loop();
    d->app.sessions = sessions_new();
    d->app.uploads = uploads_new();
    d->app.kept = kept_new();
    d->app.reloaded = daemon_reloaded;
    d->app.reloaded_arg = d;
    d->app.stop = daemon_ask_restore;
    d->app.stop_arg = d;
    watch_signals(d);
    rc = background_start(d->base, &d->app, d->mailer, &d->background, err);
    if (!rc)
        rc = keeper_start(d->base, &d->app, &d->app.keeper, err);
    if (!rc)
        rc = inbox_start(d->base, &d->app, &d->app.inbox, err);
    if (!rc)
        rc = http_start(d->base, &d->app, o->socket, &d->http, err);
    if (!rc)
        rc = reload_start(&d->app, service_ready, &d->reload, err);
    if (!rc) {
        log_write(&d->app.log, LOG_LEVEL_INFO, "ready socket=%s state=%s settings=%s causes=%d",
                  o->socket, d->app.state_dir, settings_file(d->app.setup),
                  triage_cause_count(d->app.setup->triage));
        service_ready();
    }
    return rc;
}

/* Reverse order, and closed before freed: background and readers refuse what they have not begun
 * and finish the rest, then the writer commits what they queued (and answers, which may try the
 * readers once more), then the last answers leave, and only then does anything go. */
static void stop(struct daemon *d)
{
    reload_close(d->reload);
    keeper_close(d->app.keeper);
    inbox_close(d->app.inbox);
    background_close(d->background);
    readers_close(d->app.readers);
    readers_close(d->app.bulk);
    readers_close(d->app.study);
    mailer_stop(d->mailer);
    writer_close(d->app.writer);
    http_flush(d->http, FLUSH_MS);
    http_free(d->http);
    readers_free(d->app.readers);
    readers_free(d->app.bulk);
    readers_free(d->app.study);
    writer_free(d->app.writer);
    background_free(d->background);
    keeper_free(d->app.keeper);
    inbox_free(d->app.inbox);
    reload_free(d->reload);
    sessions_free(d->app.sessions);
    uploads_free(d->app.uploads);
    kept_free(d->app.kept);
    struct event *const events[] = {d->term, d->interrupt, d->hangup, d->draining, d->restore};
    for (size_t i = 0; i < sizeof events / sizeof events[0]; i++) {
        if (events[i])
            event_free(events[i]);
    }
    if (d->base) {
        /* callbacks that were put off hold their connections, which have been ended meanwhile */
        event_base_loop(d->base, EVLOOP_NONBLOCK);
        event_base_free(d->base);
    }
    setup_unref(d->app.setup);
    pthread_mutex_destroy(&d->app.reloading);
    pthread_mutex_destroy(&d->app.switching);
    pthread_mutex_destroy(&d->app.lock);
    libevent_global_shutdown();
}

/* A slip in a plant's name is no fault of the settings by themselves: its lots may come yet. */
static void note_plants(const struct daemon *d)
{
    struct store *store = NULL;
    struct plant_names plants = {0};
    if (config_plant_count(d->app.setup->config) == 0 ||
        store_open(d->app.state_dir, STORE_READ, &store, NULL))
        return;
    if (plant_names_read(d->app.setup->config, store, &plants, NULL) == 0) {
        if (plants.without_lots.length)
            printf("no lot on record is of what the settings call a plant: %s\n",
                   plants.without_lots.data);
        if (plants.not_named.length)
            printf("lots on record are of plants that the settings do not name: %s\n",
                   plants.not_named.data);
    }
    plant_names_clear(&plants);
    store_close(store);
}

/* An address that is none is a fault of the settings, not of the server there. */
static int check_place(const struct daemon *d)
{
    const struct config *config = d->app.setup->config;
    struct error err = {0};
    char text[1024];
    if (place_check(config_text(config, "store"), &err) == 0)
        return 0;
    config_locate(config, &err);
    log_write(&d->app.log, LOG_LEVEL_ERROR, "%s", error_format(&err, text, sizeof text));
    return EXIT_CONFIG;
}

/* Plants that have rules of their own. */
static void note_own_rules(const struct triage *triage)
{
    json_t *plants = triage_plants_json(triage), *one;
    size_t i;
    json_array_foreach(plants, i, one)
    {
        printf("rules of its own: %s, %s\n", json_string_value(json_object_get(one, "plant")),
               json_string_value(json_object_get(one, "rules")));
    }
    json_decref(plants);
}

static int check(struct daemon *d)
{
    struct error err = {0};
    const struct mail_settings mail = setup_mail(d->app.setup);
    const char *gap = mail_settings_gap(&mail);
    struct error of_state = {0};
    int rc = setup_check_mail(d->app.setup, &d->app.log, &err);
    rc = inbox_check(d->app.setup, &d->app.log, &err) || rc;
    rc = check_place(d) || rc;
    if (owner_look(d->app.state_dir, &of_state)) {
        log_error(d, "the daemon would not start", &of_state);
        rc = EXIT_CONFIG;
    }
    setup_warn(d->app.setup, &d->app.log);
    if (rc)
        return EXIT_CONFIG;
    printf("settings (%s) and rules (%s) are sound: %d causes, %s\n", settings_file(d->app.setup),
           d->app.setup->rules_dir, triage_cause_count(d->app.setup->triage),
           triage_hash(d->app.setup->triage));
    note_own_rules(d->app.setup->triage);
    if (gap)
        printf("%s\n", gap);
    note_plants(d);
    return 0;
}

/* Whatever comes of it, the daemon is started anew: by the service manager, which has its socket,
 * or by itself. */
static int restore_asked(struct daemon *d, char **argv)
{
    struct restored restored;
    struct error err = {0};
    restoring_run(&d->app.log, d->app.state_dir, d->app.restore_file, &restored, &err);
    free(d->app.restore_file);
    if (d->terminated)
        return 0;
    if (getenv("NOTIFY_SOCKET"))
        return EXIT_AGAIN;
    execv("/proc/self/exe", argv);
    log_write(&d->app.log, LOG_LEVEL_ERROR, "cannot start anew: %s", strerror(errno));
    return EXIT_AGAIN;
}

static int restore_now(const struct daemon *d, const char *file)
{
    struct restored restored;
    struct error err = {0};
    if (restoring_run(&d->app.log, d->app.state_dir, file, &restored, &err))
        return 1;
    restoring_print(&restored, stdout);
    return 0;
}

static int move_now(struct daemon *d, const char *to)
{
    const bool back = strcmp(to, "folder") == 0;
    struct relocated moved;
    struct error err = {0};
    int rc = back ? relocate_to_folder(d->app.state_dir, &moved, &err)
                  : relocate_to_server(d->app.state_dir, to, d->app.started_ms, &moved, &err);
    if (rc) {
        log_error(d, "the state was not moved", &err);
        return 1;
    }
    printf("moved %lld rows to %s; each table counts as many on both sides\n"
           "%s is left as it was%s\n",
           (long long)moved.rows, moved.to, moved.kept,
           back ? "; take \"store\" out of the settings"
                : "; name the server in the setting \"store\"");
    return 0;
}

int main(int argc, char **argv)
{
    struct options options;
    struct error err = {0};
    struct daemon d = {0};
    if (sheet_apart_asked(argv))
        sheet_apart_main(argv);
    int exit_code = read_options(argc, argv, &options);
    if (exit_code >= 0)
        return exit_code;
    gsl_set_error_handler_off(); /* its default handler aborts; we test every result */
    jsonx_start();
    event_set_mem_functions(xmalloc, xrealloc,
                            free); /* no answer that lacks what found no memory */
    umask(0077);
    d.app = (struct app){.log = {LOG_LEVEL_INFO, getenv("JOURNAL_STREAM") != NULL},
                         .clock = clock_system(),
                         .state_dir = options.state_dir,
                         .config_path = options.config,
                         .rules_dir = options.rules};
    d.app.started_ms = app_now_ms(&d.app);
    d.app.started_monotonic_ms = clock_monotonic_ms();
    if (options.restore)
        return restore_now(&d, options.restore);
    if (options.move_to)
        return move_now(&d, options.move_to);
    pthread_mutex_init(&d.app.lock, NULL);
    pthread_mutex_init(&d.app.reloading, NULL);
    pthread_mutex_init(&d.app.switching, NULL);
    if (setup_load(options.config, options.rules, NULL, &d.app.setup, &d.app.log, &err)) {
        if (options.check) /* every fault was told */
            log_write(&d.app.log, LOG_LEVEL_ERROR, "a daemon would not start with these");
        else
            log_error(&d, "cannot start", &err);
        return EXIT_CONFIG;
    }
    d.app.setup->loaded_ms = d.app.started_ms;
    if (options.check) {
        exit_code = check(&d);
        setup_unref(d.app.setup);
        return exit_code;
    }
    if (check_place(&d)) {
        setup_unref(d.app.setup);
        return EXIT_CONFIG;
    }
    report_people(&d);
    int rc = start(&d, &options, &err);
    if (rc)
        log_error(&d, "cannot start", &err);
    else
        event_base_dispatch(d.base);
    stop(&d);
    log_write(&d.app.log, LOG_LEVEL_INFO, "stopped");
    return d.app.restore_file ? restore_asked(&d, argv) : rc || d.app.outdated ? 1 : 0;
}

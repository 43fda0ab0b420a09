#include "serve/inbox.h"
#include "base/text.h"
#include "records/inbox_file.h"
#include "serve/inbox_folder.h"
#include "serve/inbox_outcome.h"
#include "store/outbox.h"
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/resource.h>
#include <unistd.h>

enum {
    INBOX_NICE = 10,
    LOOK_MS = 500,
    SLOWLY = 10,     /* where none is set up, one look in so many: a reload may set it up */
    FILES = 1000,    /* looked at in one round; the others wait */
    AGAIN_MS = 1000, /* what cannot be moved away is tried again, each time after twice as long … */
    AGAIN_MOST_MS = 60000 /* … since it is loaded anew each time: its rows change nothing */
};

/* A file as it was seen last. */
struct seen {
    char name[INBOX_FOLDER_NAME];
    struct stat st;
    int64_t since_ms; /* monotonic: it has been so */
    bool still_there;
    struct error stays; /* why it cannot be moved away, taken as it is; code 0: it was not tried */
    int64_t again_ms, wait_ms;    /* of one that stays: not before, monotonic */
    char away[INBOX_FOLDER_AWAY]; /* its name there, which its mail tells: the same at each try */
};

struct inbox {
    struct app *app;
    struct readers *own;
    struct event *tick;
    unsigned ticks; /* the loop's */
    atomic_bool busy, stopping;
    struct seen *seen; /* the thread's own */
    int seen_count;
    char logged[512]; /* the last fault, said once */
    pthread_mutex_t lock;
    struct inbox_told told; /* under the lock */
};

/* One round's. */
struct look {
    struct inbox *inbox;
    struct setup *setup;
    struct store *store;
    const char *path, *maps;
    struct inbox_folder folder;
    int waiting, refused_there, faults;
    struct error fault; /* the first */
};

/* ---- what is told ---- */

static void fault_of(struct look *l, const char *name, const struct error *why)
{
    if (l->faults++)
        return;
    l->fault = *why;
    error_at(&l->fault, name, 0, 0);
}

static void fault_says(struct look *l, const char *name, const char *format, const char *why)
{
    struct error fault = {0};
    error_set(&fault, ERROR_IO, format, why);
    fault_of(l, name, &fault);
}

static void tell(struct inbox *b, struct look *l, bool set_up)
{
    char text[512] = "";
    if (l->faults > 1)
        error_hint(&l->fault, "and %d more in the inbox", l->faults - 1);
    pthread_mutex_lock(&b->lock);
    b->told.set_up = set_up;
    b->told.waiting = l->waiting;
    b->told.refused_there = l->refused_there;
    b->told.fault = l->fault;
    pthread_mutex_unlock(&b->lock);
    if (l->fault.code)
        error_format(&l->fault, text, sizeof text);
    if (*text && strcmp(text, b->logged) != 0)
        log_write(&b->app->log, LOG_LEVEL_WARNING, "inbox: %s", text);
    memcpy(b->logged, text, sizeof text);
}

/* ---- its mail ---- */

static int queue_mail(struct store *store, void *arg, struct error *err)
{
    return outbox_add(store, arg, err);
}

/* Under an id of the file's own: taken again after a crash, it is mailed once. */
static int mail(const struct look *l, const struct seen *s, const struct inbox_outcome *o,
                struct error *err)
{
    const struct app *app = l->inbox->app;
    const struct mail_settings settings = setup_mail(l->setup);
    json_t *to = mail_settings_to(&settings, "records");
    bool somebody = json_array_size(to) > 0 || *settings.hook_program;
    char id[128];
    json_decref(to);
    if (!somebody)
        return 0;
    struct text_buffer report = {0};
    text_appendf(&report, "%s/%s/%s" INBOX_FOLDER_REPORT, l->path, o->refused ? "refused" : "done",
                 s->away);
    const struct inbox_outcome_place place = {config_text(l->setup->config, "plant"), s->name,
                                              report.data};
    json_t *event = inbox_outcome_event(o, &place);
    char *payload = jsonx_dump(event);
    snprintf(id, sizeof id, "<inbox-%llx-%llx-%llx@%s>", (unsigned long long)s->st.st_ino,
             (unsigned long long)s->st.st_mtim.tv_sec * 1000000000ULL +
                 (unsigned long long)s->st.st_mtim.tv_nsec,
             (unsigned long long)s->st.st_size, l->setup->desk.mail_domain);
    struct outbox_new new = {
        .event = "records", .message_id = id, .payload = payload, .created_ms = app_now_ms(app)};
    int rc = writer_run(app->writer, queue_mail, &new, err);
    free(payload);
    json_decref(event);
    text_buffer_free(&report);
    return rc;
}

/* ---- one file ---- */

static bool is_locked(int fd)
{
    struct flock lock = {.l_type = F_RDLCK, .l_whence = SEEK_SET};
    if (flock(fd, LOCK_SH | LOCK_NB))
        return true;
    return fcntl(fd, F_OFD_GETLK, &lock) == 0 && lock.l_type != F_UNLCK;
}

static bool is_same(const struct stat *a, const struct stat *b)
{
    return a->st_ino == b->st_ino && a->st_dev == b->st_dev && a->st_size == b->st_size &&
           a->st_mtim.tv_sec == b->st_mtim.tv_sec && a->st_mtim.tv_nsec == b->st_mtim.tv_nsec;
}

/* Opened without waiting for anybody at the other end of it; -1: not now. */
static int open_file(struct look *l, const struct seen *s)
{
    struct stat st;
    int fd =
        openat(l->folder.at, s->name, O_RDONLY | O_NOFOLLOW | O_NONBLOCK | O_NOCTTY | O_CLOEXEC);
    if (fd < 0) {
        fault_says(l, s->name, "cannot be opened: %s", strerror(errno));
        return -1;
    }
    if (fstat(fd, &st) == 0 && S_ISREG(st.st_mode) && is_same(&st, &s->st) && !is_locked(fd))
        return fd;
    close(fd);
    return -1;
}

/* True: it was taken or refused; false: later. */
static bool load_file(struct look *l, const struct seen *s, int fd, struct inbox_outcome *o)
{
    struct app *app = l->inbox->app;
    const struct config *config = l->setup->config;
    const struct inbox_file file = {.name = s->name,
                                    .maps = l->maps,
                                    .fd = fd,
                                    .was = &s->st,
                                    .keep_good = config_number(config, "inbox/keep_good") == 1,
                                    .catalogue = triage_catalogue(l->setup->triage),
                                    .tz = l->setup->tz,
                                    .state_dir = app->state_dir,
                                    .clock = &app->clock,
                                    .read_store = l->store,
                                    .writer = app->writer};
    int64_t most = config_number(config, "limits/upload_mb") << 20;
    int rc = s->st.st_size > most
                 ? error_set(&o->why, ERROR_TOO_LARGE, "is larger than limits/upload_mb allows")
                 : inbox_file_take(&file, &o->loads, &o->refused, &o->why);
    bool later = rc == ERROR_BUSY || rc == ERROR_CONFLICT || (rc && error_is_ours(o->why.code));
    if (later)
        fault_of(l, s->name, &o->why);
    size_t i;
    const json_t *load;
    bool applied = false;
    json_array_foreach(o->loads, i, load) applied |= json_is_true(json_object_get(load, "applied"));
    if (rc)
        o->refused = true;
    else if (applied && file.keep_good)
        o->refused = false;
    return !later;
}

/* Its mail is queued, its report written, then it is moved. */
static int move_away(const struct look *l, struct seen *s, const struct inbox_outcome *o,
                     struct error *err)
{
    char at[40];
    struct text_buffer report = {0};
    int64_t now_ms = app_now_ms(l->inbox->app);
    struct civil now = tz_civil(l->setup->tz, now_ms);
    inbox_folder_name_away(o->refused ? l->folder.refused : l->folder.done, s->name, &now, s->away);
    inbox_outcome_report(o, s->name, when_format(l->setup->tz, now_ms, at), &report);
    int rc = mail(l, s, o, err);
    int failed =
        rc ? 0 : inbox_folder_move(&l->folder, o->refused, s->name, &s->st, s->away, &report);
    text_buffer_free(&report);
    return failed ? error_set(err, ERROR_IO, "is %s, and cannot be moved away: %s",
                              o->refused ? "refused" : "loaded", strerror(failed))
                  : rc;
}

static void put_away(struct look *l, struct seen *s, const struct inbox_outcome *o)
{
    struct inbox *b = l->inbox;
    error_clear(&s->stays);
    if (move_away(l, s, o, &s->stays)) {
        fault_of(l, s->name, &s->stays);
        s->wait_ms = s->wait_ms ? 2 * s->wait_ms : AGAIN_MS;
        s->wait_ms = s->wait_ms < AGAIN_MOST_MS ? s->wait_ms : AGAIN_MOST_MS;
        s->again_ms = clock_monotonic_ms() + s->wait_ms;
        return;
    }
    pthread_mutex_lock(&b->lock);
    b->told.done += !o->refused;
    b->told.refused += o->refused;
    b->told.last_ms = app_now_ms(b->app);
    text_clip(s->name, b->told.last, sizeof b->told.last);
    pthread_mutex_unlock(&b->lock);
    l->waiting--;
    l->refused_there += o->refused;
    log_write(&b->app->log, LOG_LEVEL_INFO, "inbox file=\"%s\" outcome=%s", s->name,
              o->refused ? "refused" : "done");
}

static void take(struct look *l, struct seen *s)
{
    struct inbox_outcome o = {0};
    int fd = open_file(l, s);
    if (fd < 0)
        return;
    if (load_file(l, s, fd, &o))
        put_away(l, s, &o);
    close(fd);
    json_decref(o.loads);
    app_wake(l->inbox->app);
}

/* ---- looking ---- */

static struct seen *seen_of(struct inbox *b, const char *name)
{
    for (int i = 0; i < b->seen_count; i++)
        if (strcmp(b->seen[i].name, name) == 0)
            return &b->seen[i];
    if (b->seen_count == FILES)
        return NULL;
    struct seen *s = &b->seen[b->seen_count++];
    *s = (struct seen){.since_ms = 0};
    memcpy(s->name, name, strlen(name) + 1); /* inbox_folder_name_fault() saw that it fits */
    return s;
}

static void look_at(struct look *l, const char *name)
{
    struct stat st;
    if (inbox_folder_passes_over(name))
        return;
    l->waiting++;
    const char *wrong = inbox_folder_name_fault(name);
    if (wrong) {
        fault_says(l, name, "is not taken: its name %s", wrong);
        return;
    }
    if (fstatat(l->folder.at, name, &st, AT_SYMLINK_NOFOLLOW))
        return; /* gone again */
    if (!S_ISREG(st.st_mode) || st.st_nlink != 1) {
        fault_says(l, name, "is not taken: it is %s",
                   S_ISLNK(st.st_mode)   ? "a link"
                   : S_ISREG(st.st_mode) ? "linked elsewhere, too"
                                         : "no file");
        return;
    }
    struct seen *s = seen_of(l->inbox, name);
    if (!s)
        return;
    s->still_there = true;
    if (!is_same(&s->st, &st)) {
        s->st = st;
        s->since_ms = clock_monotonic_ms();
        s->wait_ms = 0;
        s->away[0] = '\0';
        error_clear(&s->stays);
    }
}

static void forget_gone(struct inbox *b)
{
    int kept = 0;
    for (int i = 0; i < b->seen_count; i++)
        if (b->seen[i].still_there)
            b->seen[kept++] = b->seen[i];
    b->seen_count = kept;
    for (int i = 0; i < kept; i++)
        b->seen[i].still_there = false;
}

struct due {
    struct seen *file;
    int order;
};

static int by_order(const void *a, const void *b)
{
    const struct due *x = a, *y = b;
    return x->order != y->order ? x->order - y->order : strcmp(x->file->name, y->file->name);
}

static void take_due(struct look *l)
{
    struct inbox *b = l->inbox;
    int64_t steady_ms = config_number(l->setup->config, "inbox/steady_s") * 1000;
    struct due *due = xcalloc((size_t)b->seen_count + 1, sizeof *due);
    size_t count = 0;
    for (int i = 0; i < b->seen_count; i++) {
        struct seen *s = &b->seen[i];
        if (s->stays.code && clock_monotonic_ms() < s->again_ms)
            fault_of(l, s->name, &s->stays);
        else if (clock_monotonic_ms() - s->since_ms >= steady_ms)
            due[count++] = (struct due){s, inbox_file_order(s->name, l->maps)};
    }
    qsort(due, count, sizeof *due, by_order);
    for (size_t i = 0; i < count && !atomic_load(&b->stopping); i++)
        take(l, due[i].file);
    free(due);
}

static void look_around(struct look *l)
{
    DIR *folder = inbox_folder_list(l->folder.at);
    if (!folder)
        fault_says(l, l->path, "cannot be read: %s", strerror(errno));
    for (struct dirent *entry; folder && (entry = readdir(folder));)
        look_at(l, entry->d_name);
    if (folder)
        closedir(folder);
    forget_gone(l->inbox);
    l->refused_there = inbox_folder_refused(&l->folder);
    take_due(l);
}

static void inbox_round(struct store *store, void *arg)
{
    struct inbox *b = arg;
    struct error why = {0};
    struct look l = {.inbox = b, .store = store, .folder = INBOX_FOLDER_CLOSED};
    setpriority(PRIO_PROCESS, 0, INBOX_NICE); /* of this thread alone, on Linux */
    l.setup = app_setup(b->app);
    l.path = config_text(l.setup->config, "inbox/folder");
    l.maps = config_text(l.setup->config, "inbox/maps");
    if (*l.path && inbox_folder_open(l.path, &l.folder, &why))
        fault_of(&l, why.source, &why);
    else if (*l.path)
        look_around(&l);
    inbox_folder_close(&l.folder);
    tell(b, &l, *l.path != '\0');
    setup_unref(l.setup);
    atomic_store(&b->busy, false);
}

/* ---- outside ---- */

static void inbox_refused(void *arg)
{
    struct inbox *b = arg;
    atomic_store(&b->busy, false);
}

static void inbox_on_tick(evutil_socket_t fd, short what, void *arg)
{
    struct inbox *b = arg;
    (void)fd;
    (void)what;
    struct inbox_told told;
    inbox_tell(b, &told);
    bool looks = told.set_up || b->ticks++ % SLOWLY == 0;
    if (!looks || atomic_load(&b->stopping) || atomic_exchange(&b->busy, true))
        return;
    if (readers_submit(b->own, &(struct reader_job){inbox_round, inbox_refused, b}))
        inbox_refused(b);
}

int inbox_start(struct event_base *base, struct app *app, struct inbox **ret, struct error *err)
{
    struct inbox *b = xcalloc(1, sizeof *b);
    int rc = readers_start(app->state_dir, 1, 1, &b->own, err);
    if (rc) {
        free(b);
        return rc;
    }
    b->app = app;
    b->seen = xcalloc(FILES, sizeof *b->seen);
    b->told.last_ms = WHEN_UNKNOWN_MS;
    pthread_mutex_init(&b->lock, NULL);
    b->tick = event_new(base, -1, EV_PERSIST, inbox_on_tick, b);
    const struct timeval every = {0, (suseconds_t)LOOK_MS * 1000};
    event_add(b->tick, &every);
    event_active(b->tick, EV_TIMEOUT, 0);
    *ret = b;
    return 0;
}

void inbox_close(struct inbox *b)
{
    if (!b)
        return;
    atomic_store(&b->stopping, true);
    readers_close(b->own);
}

void inbox_free(struct inbox *b)
{
    if (!b)
        return;
    inbox_close(b);
    readers_free(b->own);
    event_free(b->tick);
    pthread_mutex_destroy(&b->lock);
    free(b->seen);
    free(b);
}

void inbox_tell(struct inbox *b, struct inbox_told *ret)
{
    pthread_mutex_lock(&b->lock);
    *ret = b->told;
    pthread_mutex_unlock(&b->lock);
}

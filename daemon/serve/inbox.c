#include "serve/inbox.h"
#include "base/text.h"
#include "notify/mime.h"
#include "records/inbox_file.h"
#include "store/outbox.h"
#include <assert.h>
#include <dirent.h>
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
    NAMES = 200,     /* bytes of a name */
    AGAIN_MS = 1000, /* what cannot be moved away is tried again, each time after twice as long … */
    AGAIN_MOST_MS = 60000, /* … since it is loaded anew each time: its rows change nothing */
    SHOWN = 20             /* refused rows in a mail */
};

/* A file as it was seen last. */
struct seen {
    char name[NAMES];
    struct stat st;
    int64_t since_ms; /* monotonic: it has been so */
    bool still_there;
    struct error stays; /* why it cannot be moved away, taken as it is; code 0: it was not tried */
    int64_t again_ms, wait_ms; /* of one that stays: not before, monotonic */
    char away[NAMES + 40];     /* its name there, which its mail tells: the same at each try */
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
    const char *folder, *maps;
    int at, done, refused; /* open folders; -1 not */
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

/* ---- folders ---- */

static int open_below(struct look *l, const char *name)
{
    if (mkdirat(l->at, name, 0770) && errno != EEXIST) {
        fault_says(l, name, "cannot be made: %s", strerror(errno));
        return -1;
    }
    int fd = openat(l->at, name, O_RDONLY | O_DIRECTORY | O_NOFOLLOW | O_CLOEXEC);
    if (fd < 0)
        fault_says(l, name, "cannot be opened: %s", strerror(errno));
    return fd;
}

static bool open_folders(struct look *l)
{
    l->at = open(l->folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (l->at < 0) {
        fault_says(l, l->folder, "cannot be opened: %s", strerror(errno));
        return false;
    }
    l->done = open_below(l, "done");
    l->refused = l->done < 0 ? -1 : open_below(l, "refused");
    return l->refused >= 0;
}

static void close_folders(struct look *l)
{
    const int all[] = {l->at, l->done, l->refused};
    for (size_t i = 0; i < sizeof all / sizeof *all; i++)
        if (all[i] >= 0)
            close(all[i]);
}

static DIR *list(int fd)
{
    int own = openat(fd, ".", O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    DIR *folder = own < 0 ? NULL : fdopendir(own);
    if (!folder && own >= 0)
        close(own);
    return folder;
}

static bool ends(const char *name, const char *end)
{
    size_t a = strlen(name), b = strlen(end);
    return a >= b && strcmp(name + a - b, end) == 0;
}

#define REPORT ".report.txt"

static void count_refused(struct look *l)
{
    DIR *folder = list(l->refused);
    for (struct dirent *entry; folder && (entry = readdir(folder));)
        l->refused_there += entry->d_name[0] != '.' && !ends(entry->d_name, REPORT);
    if (folder)
        closedir(folder);
}

/* ---- moving a file away, with a report ---- */

static bool is_free(int folder, const char *name)
{
    struct stat st;
    return fstatat(folder, name, &st, AT_SYMLINK_NOFOLLOW) && errno == ENOENT;
}

/* "20261121-091400-lots.csv", or with a number where that is there already. */
static void name_away(const struct look *l, int folder, struct seen *s)
{
    struct civil now = tz_civil(l->setup->tz, app_now_ms(l->inbox->app));
    for (int n = 1; n < 1000 && !(*s->away && is_free(folder, s->away)); n++) {
        char number[16] = "";
        if (n > 1)
            snprintf(number, sizeof number, "-%d", n);
        snprintf(s->away, sizeof s->away, "%04d%02d%02d-%02d%02d%02d%s-%s", now.year, now.month,
                 now.day, now.hour, now.minute, now.second, number, s->name);
    }
}

static int write_all(int fd, const char *text, size_t length)
{
    while (length > 0) {
        ssize_t n = write(fd, text, length);
        if (n < 0 && errno == EINTR)
            continue;
        if (n <= 0)
            return -1;
        text += n;
        length -= (size_t)n;
    }
    return 0;
}

/* Whole or not at all; for whoever may read the folder. */
static int write_report(int folder, const char *name, const struct text_buffer *text)
{
    static const char UNDER_WAY[] = ".report.tmp";
    unlinkat(folder, UNDER_WAY, 0);
    int fd = openat(folder, UNDER_WAY, O_WRONLY | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC, 0640);
    if (fd < 0)
        return errno;
    int failed =
        fchmod(fd, 0640) || write_all(fd, text->data, text->length) || fsync(fd) ? errno : 0;
    close(fd);
    if (!failed && renameat(folder, UNDER_WAY, folder, name))
        failed = errno;
    return failed;
}

/* Another file may have taken the name meanwhile: that one is none of ours. No report is left of
 * one that stays. */
static int move_file(const struct look *l, const struct seen *s, int folder, const char *report)
{
    struct stat st;
    if (fstatat(l->at, s->name, &st, AT_SYMLINK_NOFOLLOW) || st.st_ino != s->st.st_ino ||
        st.st_dev != s->st.st_dev)
        return 0;
    if (renameat2(l->at, s->name, folder, s->away, RENAME_NOREPLACE)) {
        int failed = errno;
        unlinkat(folder, report, 0);
        return failed;
    }
    return fsync(folder) || fsync(l->at) ? errno : 0;
}

/* ---- what became of it ---- */

struct outcome {
    json_t *loads; /* NULL: it could not be taken, see `why` */
    bool refused;
    struct error why;
};

static void load_says(const json_t *load, struct text_buffer *out)
{
    const bool applied = json_is_true(json_object_get(load, "applied"));
    static const char *const COUNTS[][2] = {{"read", "rows read"},
                                            {"new", "new"},
                                            {"changed", "changed"},
                                            {"same", "the same"},
                                            {"refused_total", "refused"}};
    for (size_t i = 0; i < sizeof COUNTS / sizeof *COUNTS; i++)
        text_appendf(out, "%s%lld %s", i ? ", " : "",
                     (long long)json_integer_value(json_object_get(load, COUNTS[i][0])),
                     COUNTS[i][1]);
    if (!applied)
        text_append(out, "; nothing of it was applied");
}

static void row_says(const char *source, const json_t *row, struct text_buffer *out)
{
    struct error err = {.code = ERROR_INVALID};
    char text[1024];
    error_at(&err, source, (long)json_integer_value(json_object_get(row, "line")), 0);
    error_field(&err, json_string_value(json_object_get(row, "column")),
                json_string_value(json_object_get(row, "value")));
    const char *reason = json_string_value(json_object_get(row, "reason"));
    text_clip(reason ? reason : "", err.text, sizeof err.text);
    text_append(out, error_format(&err, text, sizeof text));
}

static void make_report(const struct look *l, const struct seen *s, const struct outcome *o,
                        struct text_buffer *out)
{
    char at[40], why[1024];
    size_t i, k;
    const json_t *load, *row;
    text_appendf(out, "%s, %s: %s\n", s->name,
                 when_format(l->setup->tz, app_now_ms(l->inbox->app), at),
                 o->refused ? "refused" : "done");
    if (!o->loads)
        text_appendf(out, "%s\n", error_format(&o->why, why, sizeof why));
    json_array_foreach(o->loads, i, load)
    {
        text_appendf(out, "%s: ", json_string_value(json_object_get(load, "kind")));
        load_says(load, out);
        text_append(out, "\n");
    }
    json_array_foreach(o->loads, i, load)
    {
        json_array_foreach(json_object_get(load, "refused"), k, row)
        {
            row_says(s->name, row, out);
            text_append(out, "\n");
        }
    }
}

static json_t *make_event(const struct look *l, const struct seen *s, const struct outcome *o)
{
    json_t *loads = json_array(), *rows = json_array();
    size_t i, k;
    const json_t *load, *row;
    char why[1024];
    json_array_foreach(o->loads, i, load)
    {
        struct text_buffer text = {0};
        load_says(load, &text);
        json_array_append_new(
            loads, json_pack("{sO ss}", "kind", json_object_get(load, "kind"), "says", text.data));
        text_buffer_free(&text);
        json_array_foreach(json_object_get(load, "refused"), k, row)
        {
            struct text_buffer one = {0};
            if (json_array_size(rows) == SHOWN)
                break;
            row_says(s->name, row, &one);
            json_array_append_new(rows, json_string(one.data));
            text_buffer_free(&one);
        }
    }
    return json_pack(
        "{ss ss ss ss so* so so ss*}", "event", "records", "plant",
        config_text(l->setup->config, "plant"), "file", s->name, "outcome",
        o->refused ? "refused" : "done", "report",
        json_sprintf("%s/%s/%s" REPORT, l->folder, o->refused ? "refused" : "done", s->away),
        "loads", loads, "refused", rows, "why",
        o->loads ? NULL : error_format(&o->why, why, sizeof why));
}

static int queue_mail(struct store *store, void *arg, struct error *err)
{
    return outbox_add(store, arg, err);
}

/* Under an id of the file's own: taken again after a crash, it is mailed once. */
static int mail(const struct look *l, const struct seen *s, const struct outcome *o,
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
    json_t *event = make_event(l, s, o);
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
    int fd = openat(l->at, s->name, O_RDONLY | O_NOFOLLOW | O_NONBLOCK | O_NOCTTY | O_CLOEXEC);
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
static bool load_file(struct look *l, const struct seen *s, int fd, struct outcome *o)
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
static int move_away(const struct look *l, struct seen *s, const struct outcome *o,
                     struct error *err)
{
    struct text_buffer report = {0};
    char name[NAMES + 60];
    int folder = o->refused ? l->refused : l->done;
    name_away(l, folder, s);
    snprintf(name, sizeof name, "%s" REPORT, s->away);
    make_report(l, s, o, &report);
    int rc = mail(l, s, o, err);
    int failed = rc ? 0 : write_report(folder, name, &report);
    if (!rc && !failed)
        failed = move_file(l, s, folder, name);
    text_buffer_free(&report);
    return failed ? error_set(err, ERROR_IO, "is %s, and cannot be moved away: %s",
                              o->refused ? "refused" : "loaded", strerror(failed))
                  : rc;
}

static void put_away(struct look *l, struct seen *s, const struct outcome *o)
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
    struct outcome o = {0};
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

/* Names of what is still being written, by whoever writes it, and our own. */
static bool is_passed_over(const char *name)
{
    static const char *const ENDS[] = {".part", ".tmp", ".filepart", ".crdownload", "~"};
    for (size_t i = 0; i < sizeof ENDS / sizeof *ENDS; i++)
        if (ends(name, ENDS[i]))
            return true;
    return name[0] == '.' || strcmp(name, "done") == 0 || strcmp(name, "refused") == 0;
}

static struct seen *seen_of(struct inbox *b, const char *name)
{
    for (int i = 0; i < b->seen_count; i++)
        if (strcmp(b->seen[i].name, name) == 0)
            return &b->seen[i];
    if (b->seen_count == FILES)
        return NULL;
    struct seen *s = &b->seen[b->seen_count++];
    *s = (struct seen){.since_ms = 0};
    memcpy(s->name, name, strlen(name) + 1); /* name_fault() saw that it fits */
    return s;
}

/* NULL: a name that a report, a mail and a row can hold. */
static const char *name_fault(const char *name)
{
    return strlen(name) >= NAMES               ? "is longer than 199 bytes"
           : !name[strspn(name, " ")]          ? "is nothing but spaces"
           : !text_is_utf8(name, strlen(name)) ? "is not UTF-8"
           : !mime_is_one_line(name)           ? "holds a control character"
                                               : NULL;
}

static void look_at(struct look *l, const char *name)
{
    struct stat st;
    if (is_passed_over(name))
        return;
    l->waiting++;
    const char *wrong = name_fault(name);
    if (wrong) {
        fault_says(l, name, "is not taken: its name %s", wrong);
        return;
    }
    if (fstatat(l->at, name, &st, AT_SYMLINK_NOFOLLOW))
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
    DIR *folder = list(l->at);
    if (!folder)
        fault_says(l, l->folder, "cannot be read: %s", strerror(errno));
    for (struct dirent *entry; folder && (entry = readdir(folder));)
        look_at(l, entry->d_name);
    if (folder)
        closedir(folder);
    forget_gone(l->inbox);
    count_refused(l);
    take_due(l);
}

static void inbox_round(struct store *store, void *arg)
{
    struct inbox *b = arg;
    struct look l = {.inbox = b, .store = store, .at = -1, .done = -1, .refused = -1};
    setpriority(PRIO_PROCESS, 0, INBOX_NICE); /* of this thread alone, on Linux */
    l.setup = app_setup(b->app);
    l.folder = config_text(l.setup->config, "inbox/folder");
    l.maps = config_text(l.setup->config, "inbox/maps");
    if (*l.folder && open_folders(&l))
        look_around(&l);
    close_folders(&l);
    tell(b, &l, *l.folder != '\0');
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

/* ---- the settings ---- */

struct checking {
    const struct config *config;
    const struct log *log;
    struct error *err;
    int rc;
};

static void check_fault(void *arg, const struct error *fault)
{
    struct checking *c = arg;
    char text[1024];
    log_write(c->log, LOG_LEVEL_ERROR, "%s", error_format(fault, text, sizeof text));
    if (!c->rc && !c->err->code)
        *c->err = *fault;
    c->rc = ERROR_INVALID;
}

static void check_folder(struct checking *c, const char *key, int access_mode)
{
    struct error fault = {0};
    struct stat st;
    const char *path = config_text(c->config, key), *why = NULL;
    if (!*path)
        return;
    if (*path != '/')
        why = "must be a path from the root";
    else if (stat(path, &st) || (S_ISDIR(st.st_mode) && access(path, access_mode)))
        why = strerror(errno);
    else if (!S_ISDIR(st.st_mode))
        why = "is no folder";
    if (!why)
        return;
    error_field(&fault, key, path);
    error_set(&fault, ERROR_INVALID, "%s", why);
    error_hint(&fault, "make it for the user that the daemon runs as: oddloafd(8), INBOX");
    config_locate(c->config, &fault);
    check_fault(c, &fault);
}

int inbox_check(const struct setup *setup, const struct log *log, struct error *err)
{
    struct checking c = {setup->config, log, err, 0};
    check_folder(&c, "inbox/folder", R_OK | W_OK | X_OK);
    check_folder(&c, "inbox/maps", R_OK | X_OK);
    inbox_file_check(config_text(setup->config, "inbox/maps"), triage_catalogue(setup->triage),
                     check_fault, &c);
    return c.rc;
}

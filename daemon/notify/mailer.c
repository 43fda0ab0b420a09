#include "notify/mailer.h"
#include "base/jsonx.h"
#include "base/text.h"
#include "notify/message.h"
#include "notify/mime.h"
#include "notify/program.h"
#include "store/outbox.h"
#include <pthread.h>
#include <stdlib.h>
#include <string.h>

enum { AT_ONCE = 16, IDLE_S = 5, RETRY_MOST_S = 3600, HOURS_MS = 3600000 };

struct settings {
    char *program, *hook_program, *from, *tz_name;
    json_t *to, *urgent_to, *digest_to;
    int timeout_s, retry_s, park_h;
};

struct mailer {
    struct store *store;
    struct writer *writer;
    struct log log;
    struct clock clock;
    pthread_t thread;
    pthread_mutex_t lock;
    pthread_cond_t woken;
    bool stopping, kicked;
    struct settings settings; /* under lock; a round works on a copy */
};

/* ---- settings ---- */

static struct settings settings_copy(const struct mail_settings *s)
{
    return (struct settings){xstrdup(s->program),
                             xstrdup(s->hook_program),
                             xstrdup(s->from),
                             xstrdup(s->tz_name),
                             json_deep_copy(s->to),
                             json_deep_copy(s->urgent_to),
                             json_deep_copy(s->digest_to),
                             s->timeout_s,
                             s->retry_s,
                             s->park_h};
}

static void settings_free(struct settings *s)
{
    free(s->program);
    free(s->hook_program);
    free(s->from);
    free(s->tz_name);
    json_decref(s->to);
    json_decref(s->urgent_to);
    json_decref(s->digest_to);
}

static struct settings settings_now(struct mailer *m)
{
    pthread_mutex_lock(&m->lock);
    const struct mail_settings borrowed = {.program = m->settings.program,
                                           .hook_program = m->settings.hook_program,
                                           .from = m->settings.from,
                                           .tz_name = m->settings.tz_name,
                                           .to = m->settings.to,
                                           .urgent_to = m->settings.urgent_to,
                                           .digest_to = m->settings.digest_to,
                                           .timeout_s = m->settings.timeout_s,
                                           .retry_s = m->settings.retry_s,
                                           .park_h = m->settings.park_h};
    struct settings copy = settings_copy(&borrowed);
    pthread_mutex_unlock(&m->lock);
    return copy;
}

static const json_t *recipients(const struct settings *s, const char *event)
{
    const json_t *list = s->to;
    if (strcmp(event, "urgent") == 0)
        list = s->urgent_to;
    else if (strcmp(event, "digest") == 0)
        list = s->digest_to;
    return json_array_size(list) ? list : s->to;
}

/* ---- one row ---- */

/* sendmail -i -f sender -- recipients: no -t, so that the message's text cannot add any. */
static void send_message(const struct settings *s, const char *message, const json_t *to,
                         struct program_result *ret)
{
    size_t count = json_array_size(to), at = 0;
    char **argv = xcalloc(count + 6, sizeof *argv);
    static char dots[] = "-i", sender[] = "-f", end[] = "--";
    argv[at++] = s->program;
    argv[at++] = dots;
    argv[at++] = sender;
    argv[at++] = s->from;
    argv[at++] = end;
    for (size_t i = 0; i < count; i++)
        argv[at++] = (char *)json_string_value(json_array_get(to, i));
    program_run(argv, message, strlen(message), s->timeout_s, ret);
    free(argv);
}

static void mail_row(const struct settings *s, const struct outbox_row *row, const json_t *event,
                     struct program_result *ret)
{
    const json_t *to = recipients(s, row->event);
    struct error err = {0};
    struct tz *tz = NULL;
    char *message = NULL;
    *ret = (struct program_result){.done = true};
    if (!*s->program || json_array_size(to) == 0)
        return; /* the plant wants no mail of this kind */
    int rc = tz_open(s->tz_name, &tz, &err);
    const struct message_envelope envelope = {s->from, to, row->message_id, row->created_ms, tz};
    if (!rc)
        rc = message_compose(event, &envelope, &message, &err);
    if (rc) {
        *ret = (struct program_result){0};
        error_format(&err, ret->why, sizeof ret->why);
    } else {
        send_message(s, message, to, ret);
    }
    free(message);
    tz_close(tz);
}

static void hook_row(const struct settings *s, const struct outbox_row *row,
                     struct program_result *ret)
{
    char *const argv[] = {s->hook_program, (char *)row->event, NULL};
    *ret = (struct program_result){.done = true};
    if (*s->hook_program)
        program_run(argv, row->payload, strlen(row->payload), s->timeout_s, ret);
}

struct outcome {
    struct mailer *mailer;
    const struct outbox_row *row;
    const struct settings *settings;
    struct program_result result;
};

static int record(struct store *store, void *arg, struct error *err)
{
    const struct outcome *o = arg;
    int64_t now_ms = clock_now_ms(&o->mailer->clock);
    if (o->result.done)
        return outbox_sent(store, o->row->id, now_ms, err);
    int64_t wait_s = o->settings->retry_s;
    for (int i = 0; i < o->row->attempts && wait_s < RETRY_MOST_S; i++)
        wait_s *= 2;
    if (wait_s > RETRY_MOST_S)
        wait_s = RETRY_MOST_S;
    bool park = !o->result.try_again ||
                now_ms - o->row->created_ms >= o->settings->park_h * (int64_t)HOURS_MS;
    return outbox_failed(store, o->row->id, now_ms + wait_s * 1000, park, o->result.why, err);
}

static void handle_row(struct mailer *m, const struct settings *s, const struct outbox_row *row)
{
    struct outcome o = {.mailer = m, .row = row, .settings = s};
    struct error err = {0};
    json_t *event = NULL;
    if (jsonx_parse(row->payload, strlen(row->payload), &event, &err)) {
        snprintf(o.result.why, sizeof o.result.why, "its payload cannot be read: %.120s", err.text);
    } else {
        mail_row(s, row, event, &o.result);
        if (o.result.done)
            hook_row(s, row, &o.result);
    }
    json_decref(event);
    if (!o.result.done)
        log_write(&m->log, LOG_LEVEL_WARNING,
                  "mail not sent event=%s id=%lld attempt=%d why=\"%s\"", row->event,
                  (long long)row->id, row->attempts + 1, o.result.why);
    struct error write_err = {0};
    if (writer_run(m->writer, record, &o, &write_err))
        log_write(&m->log, LOG_LEVEL_ERROR, "cannot record a mail's outcome id=%lld why=\"%s\"",
                  (long long)row->id, write_err.text);
}

/* ---- the thread ---- */

static bool is_stopping(struct mailer *m)
{
    pthread_mutex_lock(&m->lock);
    bool stopping = m->stopping;
    pthread_mutex_unlock(&m->lock);
    return stopping;
}

/* Handles what is due. True if there may be more. */
static bool handle_due(struct mailer *m)
{
    struct outbox_row rows[AT_ONCE];
    struct error err = {0};
    int count = 0;
    if (outbox_due(m->store, clock_now_ms(&m->clock), rows, AT_ONCE, &count, &err))
        log_write(&m->log, LOG_LEVEL_ERROR, "cannot read the outbox why=\"%s\"", err.text);
    if (count == 0)
        return false;
    struct settings settings = settings_now(m);
    for (int i = 0; i < count; i++) {
        if (!is_stopping(m))
            handle_row(m, &settings, &rows[i]);
        outbox_row_free(&rows[i]);
    }
    settings_free(&settings);
    return count == AT_ONCE;
}

static void *mailer_main(void *arg)
{
    struct mailer *m = arg;
    for (;;) {
        while (!is_stopping(m) && handle_due(m)) {
        }
        pthread_mutex_lock(&m->lock);
        struct timespec until;
        clock_gettime(CLOCK_REALTIME, &until);
        until.tv_sec += IDLE_S;
        while (!m->stopping && !m->kicked &&
               pthread_cond_timedwait(&m->woken, &m->lock, &until) == 0) {
        }
        m->kicked = false;
        bool stopping = m->stopping;
        pthread_mutex_unlock(&m->lock);
        if (stopping)
            return NULL;
    }
}

int mailer_start(const char *state_dir, struct writer *writer, const struct log *log,
                 const struct clock *clock, const struct mail_settings *settings,
                 struct mailer **ret, struct error *err)
{
    struct mailer *m = xcalloc(1, sizeof *m);
    m->writer = writer;
    m->log = *log;
    m->clock = *clock;
    m->settings = settings_copy(settings);
    pthread_mutex_init(&m->lock, NULL);
    pthread_cond_init(&m->woken, NULL);
    int rc = store_open(state_dir, STORE_READ, &m->store, err);
    int failed = rc ? 0 : pthread_create(&m->thread, NULL, mailer_main, m);
    if (failed)
        rc = error_set(err, ERROR_IO, "cannot start the mailer thread: %s", strerror(failed));
    if (rc) {
        store_close(m->store);
        settings_free(&m->settings);
        free(m);
        return rc;
    }
    *ret = m;
    return 0;
}

void mailer_stop(struct mailer *m)
{
    if (!m)
        return;
    pthread_mutex_lock(&m->lock);
    m->stopping = true;
    pthread_cond_signal(&m->woken);
    pthread_mutex_unlock(&m->lock);
    pthread_join(m->thread, NULL);
    store_close(m->store);
    settings_free(&m->settings);
    pthread_cond_destroy(&m->woken);
    pthread_mutex_destroy(&m->lock);
    free(m);
}

void mailer_configure(struct mailer *m, const struct mail_settings *settings)
{
    struct settings fresh = settings_copy(settings);
    pthread_mutex_lock(&m->lock);
    struct settings old = m->settings;
    m->settings = fresh;
    pthread_mutex_unlock(&m->lock);
    settings_free(&old);
    mailer_wake(m);
}

void mailer_wake(struct mailer *m)
{
    pthread_mutex_lock(&m->lock);
    m->kicked = true;
    pthread_cond_signal(&m->woken);
    pthread_mutex_unlock(&m->lock);
}

#include "serve/sessions.h"
#include "base/text.h"
#include "base/uuid.h"
#include <pthread.h>
#include <stdlib.h>
#include <string.h>

enum { IDLE_MS = 600000 };

struct session {
    char id[UUID_TEXT];
    struct load *load; /* NULL: free slot */
    int64_t next_part, used_ms;
    bool busy;
};

struct sessions {
    pthread_mutex_t lock;
    struct session session[SESSIONS_MOST];
};

struct sessions *sessions_new(void)
{
    struct sessions *s = xcalloc(1, sizeof *s);
    pthread_mutex_init(&s->lock, NULL);
    return s;
}

void sessions_free(struct sessions *s)
{
    if (!s)
        return;
    for (int i = 0; i < SESSIONS_MOST; i++)
        load_abort(s->session[i].load);
    pthread_mutex_destroy(&s->lock);
    free(s);
}

static struct session *find(struct sessions *s, const char *id)
{
    for (int i = 0; i < SESSIONS_MOST; i++) {
        if (s->session[i].load && strcmp(s->session[i].id, id) == 0)
            return &s->session[i];
    }
    return NULL;
}

static struct session *find_free(struct sessions *s)
{
    for (int i = 0; i < SESSIONS_MOST; i++) {
        if (!s->session[i].load)
            return &s->session[i];
    }
    return NULL;
}

static int open_session(struct sessions *s, const char *id, const struct load_options *options,
                        struct session **ret, struct error *err)
{
    struct session *session = find_free(s);
    if (!session) {
        error_set(err, ERROR_BUSY, "%d uploads are under way", SESSIONS_MOST);
        error_hint(err, "try again when one has ended");
        return ERROR_BUSY;
    }
    int rc = load_open(options, &session->load, err);
    if (rc) {
        session->load = NULL;
        return rc;
    }
    text_clip(id, session->id, sizeof session->id);
    session->next_part = 0;
    session->busy = false;
    *ret = session;
    return 0;
}

static int take(struct sessions *s, const struct sessions_part *part,
                const struct load_options *options, struct load **ret, struct error *err)
{
    struct session *session = find(s, part->id);
    if (!session && part->number == 0) {
        int rc = open_session(s, part->id, options, &session, err);
        if (rc)
            return rc;
    }
    if (!session) {
        error_set(err, ERROR_NOT_FOUND, "the upload %s is not under way", part->id);
        error_hint(err, "send the file again from its start");
        return ERROR_NOT_FOUND;
    }
    if (session->busy || session->next_part != part->number)
        return error_set(err, ERROR_CONFLICT, "the upload %s expects part %lld, not %lld", part->id,
                         (long long)session->next_part, (long long)part->number);
    session->busy = true;
    session->next_part++;
    session->used_ms = part->at_ms;
    *ret = session->load;
    return 0;
}

int sessions_take(struct sessions *s, const struct sessions_part *part,
                  const struct load_options *options, struct load **ret, struct error *err)
{
    pthread_mutex_lock(&s->lock);
    int rc = take(s, part, options, ret, err);
    pthread_mutex_unlock(&s->lock);
    return rc;
}

void sessions_give(struct sessions *s, const char *id, bool ended, int64_t now_ms)
{
    pthread_mutex_lock(&s->lock);
    struct session *session = find(s, id);
    if (session) {
        session->busy = false;
        session->used_ms = now_ms;
        if (ended)
            session->load = NULL;
    }
    pthread_mutex_unlock(&s->lock);
}

void sessions_expire(struct sessions *s, int64_t now_ms)
{
    pthread_mutex_lock(&s->lock);
    for (int i = 0; i < SESSIONS_MOST; i++) {
        struct session *session = &s->session[i];
        if (session->load && !session->busy && now_ms - session->used_ms > IDLE_MS) {
            load_abort(session->load);
            session->load = NULL;
        }
    }
    pthread_mutex_unlock(&s->lock);
}

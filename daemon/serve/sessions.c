#include "serve/sessions.h"
#include "base/text.h"
#include "base/uuid.h"
#include <pthread.h>
#include <stdlib.h>
#include <string.h>

enum { IDLE_MS = 600000, LEFT_MS = 3000, USER = 64 };

struct session {
    char id[UUID_TEXT];
    struct load *load; /* NULL: free slot */
    char user[USER];
    uint64_t connection; /* of its last part */
    int64_t next_part, bytes, used_ms;
    int64_t left_ms; /* since when its client is gone; 0: it is there */
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

/* What the user has under way. */
static void count_of_user(const struct sessions *s, const char *user, int64_t *ret_count,
                          int64_t *ret_bytes)
{
    *ret_count = *ret_bytes = 0;
    for (int i = 0; i < SESSIONS_MOST; i++) {
        const struct session *session = &s->session[i];
        if (!session->load || strcmp(session->user, user) != 0)
            continue;
        ++*ret_count;
        *ret_bytes += session->bytes;
    }
}

static void drop(struct session *session)
{
    load_abort(session->load);
    session->load = NULL;
}

static int check_count(const struct sessions *s, const struct sessions_part *part,
                       struct error *err)
{
    int64_t count, bytes;
    count_of_user(s, part->user, &count, &bytes);
    if (count < part->most)
        return 0;
    error_set(err, ERROR_BUSY, "%lld uploads of %s are under way, and no more are allowed at once",
              (long long)count, part->user);
    error_hint(err, "try again when one has ended; limits/uploads says how many");
    return ERROR_BUSY;
}

static int open_session(struct sessions *s, const struct sessions_part *part,
                        const struct load_options *options, struct session **ret, struct error *err)
{
    struct session *session = find_free(s);
    if (!session) {
        error_set(err, ERROR_BUSY, "%d uploads are under way", SESSIONS_MOST);
        error_hint(err, "try again when one has ended");
        return ERROR_BUSY;
    }
    int rc = check_count(s, part, err);
    struct load *load = NULL;
    if (!rc)
        rc = load_open(options, &load, err);
    if (rc)
        return rc;
    *session = (struct session){.load = load};
    text_clip(part->id, session->id, sizeof session->id);
    text_clip(part->user, session->user, sizeof session->user);
    *ret = session;
    return 0;
}

/* A file that could never be ended is not kept. */
static int check_size(struct sessions *s, struct session *session, const struct sessions_part *part,
                      struct error *err)
{
    int64_t count, bytes;
    session->bytes += (int64_t)part->bytes;
    count_of_user(s, session->user, &count, &bytes);
    if (bytes <= part->most_bytes)
        return 0;
    drop(session);
    error_set(err, ERROR_TOO_LARGE, "what %s has under way is larger than %lld MB", part->user,
              (long long)(part->most_bytes >> 20));
    error_hint(err, "send the file in several, one after another, or have limits/upload_mb raised");
    return ERROR_TOO_LARGE;
}

static int find_open(struct sessions *s, const struct sessions_part *part,
                     const struct load_options *options, struct session **ret, struct error *err)
{
    *ret = find(s, part->id);
    if (*ret && strcmp((*ret)->user, part->user) != 0)
        return error_set(err, ERROR_CONFLICT, "the upload %s is another user's", part->id);
    if (*ret)
        return 0;
    if (part->number == 0)
        return open_session(s, part, options, ret, err);
    error_set(err, ERROR_NOT_FOUND, "the upload %s is not under way", part->id);
    error_hint(err, "send the file again from its start");
    return ERROR_NOT_FOUND;
}

static int take(struct sessions *s, const struct sessions_part *part,
                const struct load_options *options, struct load **ret, struct error *err)
{
    struct session *session;
    int rc = find_open(s, part, options, &session, err);
    if (rc)
        return rc;
    if (session->busy || session->next_part != part->number)
        return error_set(err, ERROR_CONFLICT, "the upload %s expects part %lld, not %lld", part->id,
                         (long long)session->next_part, (long long)part->number);
    rc = check_size(s, session, part, err);
    if (rc)
        return rc;
    session->busy = true;
    session->next_part++;
    session->used_ms = part->steady_ms;
    session->left_ms = 0;
    session->connection = part->connection;
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

void sessions_give(struct sessions *s, const char *id, bool ended, int64_t steady_ms)
{
    pthread_mutex_lock(&s->lock);
    struct session *session = find(s, id);
    if (session) {
        session->busy = false;
        session->used_ms = steady_ms;
        if (ended)
            session->load = NULL;
    }
    pthread_mutex_unlock(&s->lock);
}

void sessions_left(struct sessions *s, uint64_t connection, int64_t steady_ms)
{
    pthread_mutex_lock(&s->lock);
    for (int i = 0; i < SESSIONS_MOST; i++) {
        struct session *session = &s->session[i];
        if (session->load && session->connection == connection)
            session->left_ms = steady_ms;
    }
    pthread_mutex_unlock(&s->lock);
}

static bool is_left_alone(const struct session *session, int64_t steady_ms)
{
    return steady_ms - session->used_ms > IDLE_MS ||
           (session->left_ms && steady_ms - session->left_ms > LEFT_MS);
}

void sessions_expire(struct sessions *s, int64_t steady_ms)
{
    pthread_mutex_lock(&s->lock);
    for (int i = 0; i < SESSIONS_MOST; i++) {
        struct session *session = &s->session[i];
        if (session->load && !session->busy && is_left_alone(session, steady_ms))
            drop(session);
    }
    pthread_mutex_unlock(&s->lock);
}

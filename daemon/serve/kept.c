#include "serve/kept.h"
#include "base/text.h"
#include "base/when.h"
#include <pthread.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

/* As many as are asked for at once; together 32 MB at most. */
enum { KEPT_MOST = 8, KEPT_BYTES = 4 << 20, KEPT_MS = 60000, LOOK_MS = 50 };

struct answer {
    char *key; /* NULL: free */
    uint64_t written, turn;
    int64_t asked_ms;
    char *text; /* NULL: in the making */
};

struct kept {
    pthread_mutex_t lock;
    pthread_cond_t made;
    uint64_t turns;
    struct answer answer[KEPT_MOST];
};

struct kept *kept_new(void)
{
    struct kept *k = xcalloc(1, sizeof *k);
    pthread_mutex_init(&k->lock, NULL);
    pthread_condattr_t attributes;
    pthread_condattr_init(&attributes);
    pthread_condattr_setclock(&attributes, CLOCK_MONOTONIC);
    pthread_cond_init(&k->made, &attributes);
    pthread_condattr_destroy(&attributes);
    return k;
}

static void drop(struct answer *a)
{
    free(a->key);
    free(a->text);
    *a = (struct answer){0};
}

void kept_free(struct kept *k)
{
    if (!k)
        return;
    for (int i = 0; i < KEPT_MOST; i++)
        drop(&k->answer[i]);
    pthread_cond_destroy(&k->made);
    pthread_mutex_destroy(&k->lock);
    free(k);
}

/* However long it takes to make; a clock that was set back is no reason to keep it longer. */
static bool holds(const struct answer *a, const struct kept_asked *asked)
{
    bool young = llabs(asked->now_ms - a->asked_ms) < KEPT_MS;
    return a->written >= asked->written && (!a->text || young);
}

/* What was written after it was made goes out of memory, too. */
static struct answer *find(struct kept *k, const struct kept_asked *asked)
{
    struct answer *found = NULL;
    for (int i = 0; i < KEPT_MOST; i++) {
        struct answer *a = &k->answer[i];
        if (a->key && !holds(a, asked))
            drop(a);
        if (a->key && strcmp(a->key, asked->key) == 0)
            found = a;
    }
    return found;
}

/* A free place, else that of what was asked for first. */
static uint64_t begin(struct kept *k, const struct kept_asked *asked)
{
    struct answer *at = &k->answer[0];
    for (int i = 1; i < KEPT_MOST && at->key; i++) {
        if (!k->answer[i].key || k->answer[i].turn < at->turn)
            at = &k->answer[i];
    }
    drop(at);
    *at = (struct answer){.key = xstrdup(asked->key),
                          .written = asked->written,
                          .turn = ++k->turns,
                          .asked_ms = asked->now_ms};
    return at->turn;
}

static void wait_a_little(struct kept *k)
{
    struct timespec until;
    clock_gettime(CLOCK_MONOTONIC, &until);
    until.tv_nsec += LOOK_MS * 1000000L;
    until.tv_sec += until.tv_nsec / 1000000000L;
    until.tv_nsec %= 1000000000L;
    pthread_cond_timedwait(&k->made, &k->lock, &until);
}

char *kept_take(struct kept *k, const struct kept_asked *asked, const struct store *store,
                uint64_t *ret_turn)
{
    char *text = NULL;
    *ret_turn = 0;
    pthread_mutex_lock(&k->lock);
    struct answer *a;
    while ((a = find(k, asked)) && !a->text && !(store && store_is_dropped(store)))
        wait_a_little(k);
    if (a && a->text)
        text = xstrdup(a->text);
    else if (!a)
        *ret_turn = begin(k, asked);
    pthread_mutex_unlock(&k->lock);
    return text;
}

void kept_put(struct kept *k, uint64_t turn, const char *text)
{
    bool fits = text && strlen(text) <= KEPT_BYTES;
    pthread_mutex_lock(&k->lock);
    for (int i = 0; i < KEPT_MOST && turn; i++) {
        struct answer *a = &k->answer[i];
        if (!a->key || a->turn != turn)
            continue;
        if (fits)
            a->text = xstrdup(text);
        else
            drop(a);
    }
    pthread_cond_broadcast(&k->made);
    pthread_mutex_unlock(&k->lock);
}

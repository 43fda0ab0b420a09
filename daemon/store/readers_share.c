#include "store/readers_share.h"
#include "base/text.h"
#include "store/seen.h"
#include "store/store_inside.h"
#include <pthread.h>
#include <sched.h>
#include <stdatomic.h>
#include <stdlib.h>

enum { HELPERS_MOST = 3, FEW = 16 /* things that are not worth waking anybody */ };

/* Outlives the call where a helper's turn comes late. */
struct shared {
    struct readers_share work;
    struct seen_kept seen; /* whoever helps is told of no other plants */
    atomic_size_t next;
    pthread_mutex_t lock;
    pthread_cond_t left;
    int at_work, references; /* under lock */
    bool over;               /* likewise: who comes now comes too late */
};

static void do_some(struct shared *s, struct store *store)
{
    size_t i;
    while ((i = atomic_fetch_add(&s->next, 1)) < s->work.count)
        s->work.each(store, i, s->work.arg);
}

static void unref(struct shared *s)
{
    pthread_mutex_lock(&s->lock);
    int references = --s->references;
    pthread_mutex_unlock(&s->lock);
    if (references)
        return;
    pthread_cond_destroy(&s->left);
    pthread_mutex_destroy(&s->lock);
    free(s);
}

static bool enter(struct shared *s)
{
    pthread_mutex_lock(&s->lock);
    bool enters = !s->over;
    s->at_work += enters;
    pthread_mutex_unlock(&s->lock);
    return enters;
}

static void leave(struct shared *s)
{
    pthread_mutex_lock(&s->lock);
    s->at_work--;
    pthread_cond_signal(&s->left);
    pthread_mutex_unlock(&s->lock);
}

static void help(struct store *store, void *arg)
{
    struct shared *s = arg;
    if (enter(s)) {
        bool began = store_look(store);
        store->seen = s->seen;
        do_some(s, store);
        seen_set(store, NULL);
        store_unlook(store, began);
        leave(s);
    }
    unref(s);
}

static void refuse(void *arg)
{
    unref(arg);
}

/* This thread has a processor. */
static int other_processors(void)
{
    cpu_set_t allowed;
    return sched_getaffinity(0, sizeof allowed, &allowed) ? 0 : CPU_COUNT(&allowed) - 1;
}

static void ask_for_help(struct shared *s, struct readers *readers)
{
    int helpers = other_processors();
    helpers = helpers < HELPERS_MOST ? helpers : HELPERS_MOST;
    s->references += helpers; /* nobody else has it yet */
    for (int i = 0; i < helpers; i++) {
        /* each has a reference of its own */
        if (readers_submit(readers, &(struct reader_job){help, refuse, s}))
            unref(s); // NOLINT(clang-analyzer-unix.Malloc): not the last reference
    }
}

void readers_share(struct readers *readers, struct store *store, const struct readers_share *work)
{
    struct shared *s = xcalloc(1, sizeof *s);
    s->work = *work;
    s->seen = store->seen;
    s->references = 1;
    pthread_mutex_init(&s->lock, NULL);
    pthread_cond_init(&s->left, NULL);
    if (work->count > FEW)
        ask_for_help(s, readers);
    bool began = store_look(store);
    do_some(s, store); // NOLINT(clang-analyzer-unix.Malloc)
    store_unlook(store, began);
    pthread_mutex_lock(&s->lock);
    s->over = true;
    while (s->at_work)
        pthread_cond_wait(&s->left, &s->lock);
    pthread_mutex_unlock(&s->lock);
    unref(s);
}

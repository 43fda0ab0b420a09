#include "store/readers.h"
#include "base/text.h"
#include <pthread.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

struct task {
    void (*run)(struct store *, void *);
    void *arg;
    struct task *next;
};

struct queue {
    struct task *first, **last;
};

struct reader {
    struct readers *owner;
    struct store *store;
    pthread_t thread;
};

struct readers {
    pthread_mutex_t lock;
    pthread_cond_t arrived;
    struct queue urgent, rest;
    size_t queued, limit;
    bool stopping;
    int count;
    struct reader *all;
};

static struct task *queue_take(struct queue *q)
{
    struct task *task = q->first;
    if (task) {
        q->first = task->next;
        if (!q->first)
            q->last = &q->first;
    }
    return task;
}

static void queue_add(struct queue *q, struct task *task)
{
    *q->last = task;
    q->last = &task->next;
}

static struct task *next_task(struct readers *r)
{
    pthread_mutex_lock(&r->lock);
    struct task *task;
    while (!(task = queue_take(&r->urgent)) && !(task = queue_take(&r->rest)) && !r->stopping)
        pthread_cond_wait(&r->arrived, &r->lock);
    if (task)
        r->queued--;
    pthread_mutex_unlock(&r->lock);
    return task;
}

static void *reader_main(void *arg)
{
    struct reader *reader = arg;
    struct task *task;
    while ((task = next_task(reader->owner))) {
        task->run(reader->store, task->arg);
        free(task);
    }
    return NULL;
}

int readers_start(const char *state_dir, int threads, size_t queue_limit, struct readers **ret,
                  struct error *err)
{
    struct readers *r = xcalloc(1, sizeof *r);
    r->limit = queue_limit;
    r->urgent.last = &r->urgent.first;
    r->rest.last = &r->rest.first;
    r->all = xcalloc((size_t)threads, sizeof *r->all);
    pthread_mutex_init(&r->lock, NULL);
    pthread_cond_init(&r->arrived, NULL);
    int rc = 0;
    for (int i = 0; i < threads && !rc; i++) {
        struct reader *reader = &r->all[i];
        reader->owner = r;
        rc = store_open(state_dir, STORE_READ, &reader->store, err);
        if (rc)
            break;
        int failed = pthread_create(&reader->thread, NULL, reader_main, reader);
        if (failed) {
            store_close(reader->store);
            rc = error_set(err, ERROR_IO, "cannot start a reader thread: %s", strerror(failed));
        } else {
            r->count++;
        }
    }
    if (rc) {
        readers_stop(r);
        return rc;
    }
    *ret = r;
    return 0;
}

void readers_stop(struct readers *r)
{
    if (!r)
        return;
    pthread_mutex_lock(&r->lock);
    r->stopping = true;
    pthread_cond_broadcast(&r->arrived);
    pthread_mutex_unlock(&r->lock);
    for (int i = 0; i < r->count; i++) {
        pthread_join(r->all[i].thread, NULL);
        store_close(r->all[i].store);
    }
    pthread_cond_destroy(&r->arrived);
    pthread_mutex_destroy(&r->lock);
    free(r->all);
    free(r);
}

int readers_submit(struct readers *r, bool urgent, void (*run)(struct store *store, void *arg),
                   void *arg)
{
    struct task *task = xcalloc(1, sizeof *task);
    task->run = run;
    task->arg = arg;
    pthread_mutex_lock(&r->lock);
    bool refused = r->stopping || r->queued >= r->limit;
    if (!refused) {
        queue_add(urgent ? &r->urgent : &r->rest, task);
        r->queued++;
        pthread_cond_signal(&r->arrived);
    }
    pthread_mutex_unlock(&r->lock);
    if (refused)
        free(task);
    return refused ? ERROR_BUSY : 0;
}

size_t readers_queued(struct readers *r)
{
    pthread_mutex_lock(&r->lock);
    size_t queued = r->queued;
    pthread_mutex_unlock(&r->lock);
    return queued;
}

static bool urgent_waits(struct readers *r)
{
    pthread_mutex_lock(&r->lock);
    bool waits = r->urgent.first != NULL && !r->stopping;
    pthread_mutex_unlock(&r->lock);
    return waits;
}

void readers_give_way(struct readers *r, int most_ms)
{
    enum { STEP_MS = 2 };
    for (int waited = 0; waited < most_ms && urgent_waits(r); waited += STEP_MS)
        nanosleep(&(struct timespec){0, STEP_MS * INT64_C(1000000)}, NULL);
}

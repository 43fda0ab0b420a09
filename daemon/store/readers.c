#include "store/readers.h"
#include "base/text.h"
#include <pthread.h>
#include <stdlib.h>
#include <string.h>

struct task {
    struct reader_job job;
    struct task *next;
};

struct reader {
    struct readers *owner;
    struct store *store;
    pthread_t thread;
};

struct readers {
    pthread_mutex_t lock;
    pthread_cond_t arrived;
    struct task *first, **last;
    size_t queued, limit;
    bool closed;
    int count;
    struct reader *all;
};

static struct task *next_task(struct readers *r)
{
    pthread_mutex_lock(&r->lock);
    while (!r->first && !r->closed)
        pthread_cond_wait(&r->arrived, &r->lock);
    struct task *task = r->first;
    if (task) {
        r->first = task->next;
        if (!r->first)
            r->last = &r->first;
        r->queued--;
    }
    pthread_mutex_unlock(&r->lock);
    return task;
}

static void *reader_main(void *arg)
{
    struct reader *reader = arg;
    struct task *task;
    while ((task = next_task(reader->owner))) {
        task->job.run(reader->store, task->job.arg);
        free(task);
    }
    return NULL;
}

int readers_start(const char *state_dir, int threads, size_t queue_limit, struct readers **ret,
                  struct error *err)
{
    struct readers *r = xcalloc(1, sizeof *r);
    r->limit = queue_limit;
    r->last = &r->first;
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
        readers_free(r);
        return rc;
    }
    *ret = r;
    return 0;
}

void readers_close(struct readers *r)
{
    if (!r)
        return;
    pthread_mutex_lock(&r->lock);
    r->closed = true;
    struct task *task = r->first, *next;
    r->first = NULL;
    r->last = &r->first;
    r->queued = 0;
    pthread_cond_broadcast(&r->arrived);
    pthread_mutex_unlock(&r->lock);
    for (; task; task = next) {
        next = task->next;
        task->job.refuse(task->job.arg);
        free(task);
    }
    for (; r->count > 0; r->count--) {
        pthread_join(r->all[r->count - 1].thread, NULL);
        store_close(r->all[r->count - 1].store);
    }
}

void readers_free(struct readers *r)
{
    if (!r)
        return;
    readers_close(r);
    pthread_cond_destroy(&r->arrived);
    pthread_mutex_destroy(&r->lock);
    free(r->all);
    free(r);
}

int readers_submit(struct readers *r, const struct reader_job *job)
{
    struct task *task = xcalloc(1, sizeof *task);
    task->job = *job;
    pthread_mutex_lock(&r->lock);
    bool refused = r->closed || r->queued >= r->limit;
    if (!refused) {
        *r->last = task;
        r->last = &task->next;
        r->queued++;
        pthread_cond_signal(&r->arrived);
    }
    pthread_mutex_unlock(&r->lock);
    if (refused)
        free(task);
    return refused ? ERROR_BUSY : 0;
}

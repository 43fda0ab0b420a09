#include "store/readers.h"
#include "base/text.h"
#include <assert.h>
#include <pthread.h>
#include <stdlib.h>
#include <string.h>

enum { BRIEF_MOST = 64 }; /* done at a time by one thread */

struct task {
    struct reader_job job;
    bool brief;
    struct task *next;
};

struct reader {
    struct readers *owner;
    struct store *store;
    pthread_t thread;
    bool surplus; /* under lock: ends after what it does */
};

struct readers {
    pthread_mutex_t sizing; /* before `lock`: of whoever starts or ends threads */
    pthread_mutex_t lock;
    pthread_cond_t arrived;
    struct task *first, **last;
    size_t queued, limit, idle;
    bool closed;
    char *state_dir;
    int count;
    struct reader **all;
};

/* The first that waits and, if it is brief, those behind it that are: a list, ended by NULL. Under
 * the lock. */
static struct task *take_tasks(struct readers *r)
{
    struct task *first = r->first, *end = first;
    for (size_t more = BRIEF_MOST - 1; more && end->brief && end->next && end->next->brief;
         more--) {
        end = end->next;
        r->queued--;
    }
    assert(r->queued > 0);
    r->queued--;
    r->first = end->next;
    if (!r->first)
        r->last = &r->first;
    end->next = NULL;
    return first;
}

static struct task *next_tasks(struct reader *reader)
{
    struct readers *r = reader->owner;
    pthread_mutex_lock(&r->lock);
    while (!r->first && !r->closed && !reader->surplus) {
        r->idle++;
        pthread_cond_wait(&r->arrived, &r->lock);
        r->idle--;
    }
    struct task *tasks = reader->surplus || !r->first ? NULL : take_tasks(r);
    pthread_mutex_unlock(&r->lock);
    return tasks;
}

static void *reader_main(void *arg)
{
    struct reader *reader = arg;
    struct task *task, *next;
    while ((task = next_tasks(reader))) {
        bool began = task->next && store_look(reader->store);
        for (; task; task = next) {
            next = task->next;
            task->job.run(reader->store, task->job.arg);
            free(task);
        }
        store_unlook(reader->store, began);
    }
    return NULL;
}

static int add_reader(struct readers *r, struct error *err)
{
    struct reader *reader = xcalloc(1, sizeof *reader);
    reader->owner = r;
    int rc = store_open(r->state_dir, STORE_READ, &reader->store, err);
    int failed = rc ? 0 : pthread_create(&reader->thread, NULL, reader_main, reader);
    if (failed) {
        store_close(reader->store);
        rc = error_set(err, ERROR_IO, "cannot start a reader thread: %s", strerror(failed));
    }
    if (rc) {
        free(reader);
        return rc;
    }
    r->all = xrealloc(r->all, (size_t)(r->count + 1) * sizeof(struct reader *));
    r->all[r->count++] = reader;
    return 0;
}

/* Ends the readers from `keep` on, which have been told or will find the queue closed. */
static void join_readers(struct readers *r, int keep)
{
    assert(keep >= 0 && keep <= r->count);
    for (; r->count > keep; r->count--) {
        struct reader *reader = r->all[r->count - 1];
        pthread_join(reader->thread, NULL);
        store_close(reader->store);
        free(reader);
    }
}

static void shrink(struct readers *r, int threads)
{
    pthread_mutex_lock(&r->lock);
    for (int i = threads; i < r->count; i++)
        r->all[i]->surplus = true;
    pthread_cond_broadcast(&r->arrived);
    pthread_mutex_unlock(&r->lock);
    join_readers(r, threads);
}

static bool is_closed(struct readers *r)
{
    pthread_mutex_lock(&r->lock);
    bool closed = r->closed;
    pthread_mutex_unlock(&r->lock);
    return closed;
}

int readers_resize(struct readers *r, int threads, struct error *err)
{
    assert(threads >= 0);
    pthread_mutex_lock(&r->sizing);
    int before = r->count, rc = 0;
    if (is_closed(r))
        rc = error_set(err, ERROR_BUSY, "the readers are closed: the daemon stops");
    while (r->count < threads && !rc)
        rc = add_reader(r, err);
    shrink(r, rc ? before : threads);
    pthread_mutex_unlock(&r->sizing);
    return rc;
}

int readers_start(const char *state_dir, int threads, size_t queue_limit, struct readers **ret,
                  struct error *err)
{
    struct readers *r = xcalloc(1, sizeof *r);
    r->limit = queue_limit;
    r->last = &r->first;
    r->state_dir = xstrdup(state_dir);
    pthread_mutex_init(&r->sizing, NULL);
    pthread_mutex_init(&r->lock, NULL);
    pthread_cond_init(&r->arrived, NULL);
    int rc = readers_resize(r, threads, err);
    if (rc) {
        readers_free(r);
        return rc;
    }
    *ret = r;
    return 0;
}

void readers_set_limit(struct readers *r, size_t queue_limit)
{
    pthread_mutex_lock(&r->lock);
    r->limit = queue_limit;
    pthread_mutex_unlock(&r->lock);
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
    pthread_mutex_lock(&r->sizing);
    join_readers(r, 0);
    pthread_mutex_unlock(&r->sizing);
}

void readers_free(struct readers *r)
{
    assert(!r || r->last);
    if (!r)
        return;
    readers_close(r);
    pthread_cond_destroy(&r->arrived);
    pthread_mutex_destroy(&r->lock);
    pthread_mutex_destroy(&r->sizing);
    free(r->all);
    free(r->state_dir);
    free(r);
}

/* Behind the lock: who wakes wants it at once. */
static int submit(struct readers *r, const struct reader_job *job, bool brief, bool wakes)
{
    struct task *task = xcalloc(1, sizeof *task);
    task->job = *job;
    task->brief = brief;
    pthread_mutex_lock(&r->lock);
    bool refused = r->closed || r->queued >= r->limit;
    assert(refused || (job->run && job->refuse));
    if (!refused) {
        *r->last = task;
        r->last = &task->next;
        r->queued++;
    }
    pthread_mutex_unlock(&r->lock);
    if (refused)
        free(task);
    else if (wakes)
        pthread_cond_signal(&r->arrived);
    return refused ? ERROR_BUSY : 0;
}

int readers_submit(struct readers *r, const struct reader_job *job)
{
    return submit(r, job, false, true);
}

int readers_submit_brief(struct readers *r, const struct reader_job *job)
{
    return submit(r, job, true, true);
}

int readers_submit_soon(struct readers *r, const struct reader_job *job)
{
    return submit(r, job, false, false);
}

void readers_wake(struct readers *r)
{
    pthread_mutex_lock(&r->lock);
    size_t wanted = r->queued < r->idle ? r->queued : r->idle;
    pthread_mutex_unlock(&r->lock);
    for (; wanted; wanted--)
        pthread_cond_signal(&r->arrived);
}

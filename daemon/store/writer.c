#include "store/writer.h"
#include "base/text.h"
#include <assert.h>
#include <pthread.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { BUSY_WAIT_MS = 10, INSIST_MS = 30000 };
enum { GROUP_LIMIT = 512 };

struct queued {
    struct writer_job job;
    struct queued *next;
    int code;
    struct error err;
};

struct writer {
    struct store *store;
    pthread_t thread;
    pthread_mutex_t lock;
    pthread_cond_t arrived;
    struct queued *first, **last;
    size_t limit;
    bool hurried, stopping;
    struct writer_counts counts;
};

/* Are the files still there? Told without a write to notice it, too. Under the lock. */
static void look(struct writer *w)
{
    error_clear(&w->counts.lost);
    store_present(w->store, &w->counts.lost);
    w->counts.last_progress_ms = clock_monotonic_ms();
}

/* An idle writer still shows progress to the watchdog, and notices that its server is back, or is
 * another by now. Under the lock, which it lets go of: a server may take its time. */
static void look_idle(struct writer *w)
{
    pthread_mutex_unlock(&w->lock);
    store_revive(w->store);
    pthread_mutex_lock(&w->lock);
    look(w);
}

/* Takes the whole queue (up to the limit of a group); waits while it is empty. NULL: stop. */
static struct queued *take_group(struct writer *w, size_t *ret_count)
{
    pthread_mutex_lock(&w->lock);
    while (!w->first && !w->stopping) {
        struct timespec until;
        clock_gettime(CLOCK_MONOTONIC, &until); /* as its condition waits: init_condition() */
        until.tv_sec += 1;
        pthread_cond_timedwait(&w->arrived, &w->lock, &until);
        if (!w->first)
            look_idle(w);
        else
            look(w);
    }
    struct queued *group = w->first, *end = group;
    size_t count = group ? 1 : 0;
    for (; end && end->next && count < GROUP_LIMIT; count++)
        end = end->next;
    if (end) {
        w->first = end->next;
        if (!w->first)
            w->last = &w->first;
        end->next = NULL;
        assert(w->counts.queued >= count);
        w->counts.queued -= count;
    }
    pthread_mutex_unlock(&w->lock);
    assert(count <= GROUP_LIMIT && (count > 0) == (group != NULL));
    *ret_count = count;
    return group;
}

static int apply_one(struct store *store, struct queued *q)
{
    assert(q->job.apply);
    error_clear(&q->err);
    return q->code = q->job.apply(store, q->job.arg, &q->err);
}

/* A refused job is undone by itself. */
static int apply_nested(struct store *store, struct queued *q)
{
    error_clear(&q->err);
    q->code = store_nest(store, &q->err);
    if (q->code)
        return q->code;
    struct error err = {0};
    bool good = apply_one(store, q) == 0;
    int rc = store_unnest(store, good, &err);
    if (good && rc) {
        q->code = rc;
        q->err = err;
    }
    return q->code;
}

static void fail_all(struct queued *group, int code, const struct error *err)
{
    for (struct queued *q = group; q; q = q->next) {
        q->code = code;
        q->err = *err;
    }
}

/* One transaction over the list; if it is not kept, nothing of it is. Plain, the first refused job
 * ends it (a savepoint costs a copy of every page that a job touches); nested, only what no job
 * could help does, and then every job is told. */
static bool commit(struct store *store, struct queued *group, bool nested)
{
    struct error err = {0};
    int rc = store_begin(store, &err);
    for (struct queued *q = group; q && !rc; q = q->next) {
        int code = nested ? apply_nested(store, q) : apply_one(store, q);
        if (code && (!nested || code == ERROR_NO_SPACE || code == ERROR_IO)) {
            rc = code;
            err = q->err;
        }
    }
    if (!rc)
        rc = store_commit(store, &err);
    else
        store_rollback(store);
    /* a server that was lost at the end of it may have kept it: again might be twice */
    bool unknown = rc == ERROR_UNREACHABLE;
    if (unknown)
        err.code = ERROR_BUSY;
    if (rc && (nested || unknown || !group->next))
        fail_all(group, (int)err.code, &err);
    return rc == 0 || unknown;
}

/* Most groups have nothing to refuse. One that has is done again with a savepoint a job; one that
 * failed as a whole job by job: a disk with room for one complaint still takes one. */
static void commit_group(struct writer *w, struct queued *group, size_t count)
{
    assert(group && count > 0);
    if (commit(w->store, group, false) || count == 1 || commit(w->store, group, true))
        return;
    for (struct queued *q = group, *next; q; q = next) {
        next = q->next;
        q->next = NULL;
        commit(w->store, q, false);
        q->next = next;
    }
}

static void run_group(struct writer *w, struct queued *group, size_t count)
{
    assert(pthread_equal(pthread_self(), w->thread)); /* one thread writes */
    commit_group(w, group, count);
    /* counted before anybody is told: whoever was answered finds itself counted */
    pthread_mutex_lock(&w->lock);
    for (struct queued *q = group; q; q = q->next)
        w->counts.refused += q->code != 0;
    w->counts.groups++;
    w->counts.jobs += count;
    if (count > w->counts.largest_group)
        w->counts.largest_group = count;
    look(w);
    pthread_mutex_unlock(&w->lock);
    for (struct queued *q = group, *next; q; q = next) {
        next = q->next;
        q->job.done(q->job.arg, q->code, &q->err);
        free(q);
    }
}

static void *writer_main(void *arg)
{
    struct writer *w = arg;
    size_t count;
    struct queued *group;
    while ((group = take_group(w, &count)))
        run_group(w, group, count);
    return NULL;
}

/* The clock on the wall may jump; a wait must not become an hour longer by it. */
static void init_condition(pthread_cond_t *condition)
{
    pthread_condattr_t attributes;
    pthread_condattr_init(&attributes);
    pthread_condattr_setclock(&attributes, CLOCK_MONOTONIC);
    pthread_cond_init(condition, &attributes);
    pthread_condattr_destroy(&attributes);
}

int writer_start(const char *state_dir, size_t queue_limit, struct writer **ret, struct error *err)
{
    struct store *store;
    int rc = store_open(state_dir, STORE_WRITE, &store, err);
    if (rc)
        return rc;
    struct writer *w = xcalloc(1, sizeof *w);
    w->store = store;
    w->limit = queue_limit;
    w->last = &w->first;
    w->counts.last_progress_ms = clock_monotonic_ms();
    pthread_mutex_init(&w->lock, NULL);
    init_condition(&w->arrived);
    int failed = pthread_create(&w->thread, NULL, writer_main, w);
    if (failed) {
        store_close(store);
        free(w);
        return error_set(err, ERROR_IO, "cannot start the writer thread: %s", strerror(failed));
    }
    *ret = w;
    return 0;
}

const struct store_migration *writer_migration(const struct writer *w)
{
    return store_migration(w->store);
}

bool writer_is_on_server(const struct writer *w)
{
    return store_is_server(w->store);
}

bool writer_is_alone(const struct writer *w)
{
    return store_is_alone(w->store);
}

void writer_hurry(struct writer *w)
{
    pthread_mutex_lock(&w->lock);
    w->hurried = true;
    pthread_mutex_unlock(&w->lock);
}

bool writer_is_hurried(struct writer *w)
{
    pthread_mutex_lock(&w->lock);
    bool hurried = w->hurried;
    pthread_mutex_unlock(&w->lock);
    return hurried;
}

void writer_close(struct writer *w)
{
    if (!w || !w->store)
        return;
    pthread_mutex_lock(&w->lock);
    w->stopping = true;
    pthread_cond_signal(&w->arrived);
    pthread_mutex_unlock(&w->lock);
    pthread_join(w->thread, NULL);
    store_close(w->store);
    w->store = NULL;
}

void writer_free(struct writer *w)
{
    assert(!w || !w->stopping || !w->store);
    if (!w)
        return;
    writer_close(w);
    pthread_cond_destroy(&w->arrived);
    pthread_mutex_destroy(&w->lock);
    free(w);
}

int writer_submit(struct writer *w, const struct writer_job *job)
{
    assert(job->apply && job->done);
    struct queued *q = xcalloc(1, sizeof *q);
    q->job = *job;
    pthread_mutex_lock(&w->lock);
    bool refused = w->stopping || w->counts.queued >= w->limit;
    if (!refused) {
        *w->last = q;
        w->last = &q->next;
        w->counts.queued++;
        pthread_cond_signal(&w->arrived);
    }
    pthread_mutex_unlock(&w->lock);
    if (refused)
        free(q);
    return refused ? ERROR_BUSY : 0;
}

struct waiting {
    int (*apply)(struct store *, void *, struct error *);
    void *arg;
    pthread_mutex_t lock;
    pthread_cond_t finished;
    bool done;
    int code;
    struct error err;
};

static int waiting_apply(struct store *store, void *arg, struct error *err)
{
    struct waiting *wait = arg;
    return wait->apply(store, wait->arg, err);
}

static void waiting_done(void *arg, int code, const struct error *err)
{
    struct waiting *wait = arg;
    pthread_mutex_lock(&wait->lock);
    wait->code = code;
    wait->err = *err;
    wait->done = true;
    pthread_cond_signal(&wait->finished);
    pthread_mutex_unlock(&wait->lock);
}

int writer_run(struct writer *w, int (*apply)(struct store *, void *, struct error *), void *arg,
               struct error *err)
{
    assert(apply && !pthread_equal(pthread_self(), w->thread)); /* it would wait for itself */
    struct waiting wait = {.apply = apply, .arg = arg};
    pthread_mutex_init(&wait.lock, NULL);
    pthread_cond_init(&wait.finished, NULL);
    int rc = writer_submit(w, &(struct writer_job){waiting_apply, waiting_done, &wait});
    if (rc) {
        error_set(err, ERROR_BUSY, "too much is waiting to be written");
        error_hint(err, "try again in a moment");
    } else {
        pthread_mutex_lock(&wait.lock);
        while (!wait.done)
            pthread_cond_wait(&wait.finished, &wait.lock);
        pthread_mutex_unlock(&wait.lock);
        rc = wait.code;
        if (rc && err && !err->code)
            *err = wait.err;
    }
    pthread_cond_destroy(&wait.finished);
    pthread_mutex_destroy(&wait.lock);
    return rc;
}

int writer_insist(struct writer *w, int (*apply)(struct store *, void *, struct error *), void *arg,
                  struct error *err)
{
    struct error why = {0};
    /* by the clock: with another program's lock on it, SQLite waits for seconds in each try */
    const int64_t until_ms = clock_monotonic_ms() + INSIST_MS;
    int rc = writer_run(w, apply, arg, &why);
    while (rc == ERROR_BUSY && clock_monotonic_ms() < until_ms && !writer_is_hurried(w)) {
        usleep(BUSY_WAIT_MS * 1000);
        error_clear(&why);
        rc = writer_run(w, apply, arg, &why);
    }
    if (rc && err && !err->code)
        *err = why;
    return rc;
}

void writer_set_limit(struct writer *w, size_t queue_limit)
{
    pthread_mutex_lock(&w->lock);
    w->limit = queue_limit;
    pthread_mutex_unlock(&w->lock);
}

struct writer_counts writer_counts(struct writer *w)
{
    pthread_mutex_lock(&w->lock);
    struct writer_counts counts = w->counts;
    pthread_mutex_unlock(&w->lock);
    return counts;
}

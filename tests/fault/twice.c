/* A daemon of which every writer's job runs twice: it is undone and runs again, as after a group
 * whose commit failed. Linked into oddloafd_twice in place of the calls that queue a job
 * (-Wl,--wrap), so that no job there is can be left out. */
#include "base/text.h"
#include "store/writer.h"
#include <stdlib.h>

int __real_writer_submit(struct writer *writer, const struct writer_job *job);
int __wrap_writer_submit(struct writer *writer, const struct writer_job *job);
typedef int (*apply_function)(struct store *, void *, struct error *);
int __real_writer_run(struct writer *writer, apply_function apply, void *arg, struct error *err);
int __wrap_writer_run(struct writer *writer, apply_function apply, void *arg, struct error *err);
int __real_writer_insist(struct writer *writer, apply_function apply, void *arg, struct error *err);
int __wrap_writer_insist(struct writer *writer, apply_function apply, void *arg, struct error *err);

/* The first time nothing is kept of it, whatever it answers. */
static int twice(struct store *store, apply_function apply, void *arg, struct error *err)
{
    struct error first = {0};
    int rc = store_nest(store, err);
    if (rc)
        return rc;
    apply(store, arg, &first);
    rc = store_unnest(store, false, err);
    return rc ? rc : apply(store, arg, err);
}

static int apply_queued(struct store *store, void *arg, struct error *err)
{
    const struct writer_job *job = arg;
    return twice(store, job->apply, job->arg, err);
}

static void done_queued(void *arg, int code, const struct error *err)
{
    const struct writer_job job = *(struct writer_job *)arg;
    free(arg);
    job.done(job.arg, code, err);
}

int __wrap_writer_submit(struct writer *writer, const struct writer_job *job)
{
    struct writer_job *kept = xcalloc(1, sizeof *kept);
    *kept = *job;
    int rc = __real_writer_submit(writer, &(struct writer_job){apply_queued, done_queued, kept});
    if (rc)
        free(kept);
    return rc;
}

int __wrap_writer_run(struct writer *writer, apply_function apply, void *arg, struct error *err)
{
    struct writer_job job = {.apply = apply, .arg = arg};
    return __real_writer_run(writer, apply_queued, &job, err);
}

int __wrap_writer_insist(struct writer *writer, apply_function apply, void *arg, struct error *err)
{
    struct writer_job job = {.apply = apply, .arg = arg};
    return __real_writer_insist(writer, apply_queued, &job, err);
}

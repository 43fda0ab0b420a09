/* The writer commits in groups; one refused job does not undo its neighbours. */
#include "base/text.h"
#include "check.h"
#include "state.h"
#include "store/readers.h"
#include "store/store_inside.h"
#include "store/work.h"
#include "store/writer.h"
#include <pthread.h>
#include <semaphore.h>
#include <sqlite3.h>
#include <stdlib.h>
#include <string.h>
#include <sys/syscall.h>
#include <time.h>
#include <unistd.h>

/* The clock on the wall, for this whole program: two days ahead. */
int clock_gettime(clockid_t clock, struct timespec *ret)
{
    int rc = (int)syscall(SYS_clock_gettime, clock, ret);
    ret->tv_sec += clock == CLOCK_REALTIME ? 2 * 86400 : 0;
    return rc;
}

struct fixture {
    char dir[64];
    struct writer *writer;
};

static int setup(void **state)
{
    struct fixture *f = xcalloc(1, sizeof *f);
    struct error err = {0};
    strcpy(f->dir, "/tmp/oddloaf-writer-XXXXXX");
    assert_non_null(state_folder(f->dir));
    assert_int_equal(writer_start(f->dir, 1000, &f->writer, &err), 0);
    *state = f;
    return 0;
}

static int teardown(void **state)
{
    struct fixture *f = *state;
    struct text_buffer command = {0};
    writer_free(f->writer);
    text_appendf(&command, "rm -rf %s", f->dir);
    int rc = system(command.data);
    text_buffer_free(&command);
    free(f);
    return rc;
}

struct job {
    int64_t subject;
    int refuse; /* code to refuse with after writing */
    int code;
    pthread_mutex_t *lock;
    pthread_cond_t *finished;
    int *left;
};

static int apply(struct store *store, void *arg, struct error *err)
{
    struct job *job = arg;
    int rc = work_add(store, WORK_RANK, job->subject, 0, err);
    if (!rc && job->refuse)
        rc = error_set(err, (enum error_code)job->refuse, "refused on purpose");
    return rc;
}

static void done(void *arg, int code, const struct error *err)
{
    struct job *job = arg;
    (void)err;
    pthread_mutex_lock(job->lock);
    job->code = code;
    if (--*job->left == 0)
        pthread_cond_signal(job->finished);
    pthread_mutex_unlock(job->lock);
}

static int64_t stored(struct fixture *f)
{
    struct store *store;
    int64_t count = -1;
    assert_int_equal(store_open(f->dir, STORE_READ, &store, NULL), 0);
    assert_int_equal(work_count(store, WORK_RANK, &count, NULL), 0);
    store_close(store);
    return count;
}

static void a_refused_job_undoes_itself_only(void **state)
{
    enum { JOBS = 200 };
    struct fixture *f = *state;
    static struct job jobs[JOBS];
    pthread_mutex_t lock = PTHREAD_MUTEX_INITIALIZER;
    pthread_cond_t finished = PTHREAD_COND_INITIALIZER;
    int left = JOBS;
    for (int i = 0; i < JOBS; i++) {
        jobs[i] = (struct job){i + 1, i % 10 == 3 ? ERROR_CONFLICT : 0, 1, &lock, &finished, &left};
        assert_int_equal(writer_submit(f->writer, &(struct writer_job){apply, done, &jobs[i]}), 0);
    }
    pthread_mutex_lock(&lock);
    while (left)
        pthread_cond_wait(&finished, &lock);
    pthread_mutex_unlock(&lock);
    for (int i = 0; i < JOBS; i++)
        assert_int_equal(jobs[i].code, jobs[i].refuse);
    assert_int_equal(stored(f), JOBS - JOBS / 10);
    struct writer_counts counts = writer_counts(f->writer);
    assert_int_equal(counts.jobs, JOBS);
    assert_int_equal(counts.refused, JOBS / 10);
    assert_true(counts.groups < JOBS); /* it did group */
}

static int interrupt(void *arg)
{
    (void)arg;
    return 1;
}

/* Takes a read that failed for "none", and goes on. */
static int apply_unread(struct store *store, void *arg, struct error *err)
{
    char *text = NULL;
    sqlite3_progress_handler(store->db, 1, interrupt, NULL);
    store_setting_get(store, "any", &text, NULL);
    sqlite3_progress_handler(store->db, 0, NULL, NULL);
    free(text);
    return apply(store, arg, err);
}

static void what_was_written_on_a_failed_read_is_not_kept(void **state)
{
    if (state_on_server()) /* whose reads fail otherwise: test_server.c */
        skip();
    struct fixture *f = *state;
    struct job job = {.subject = 7};
    struct error err = {0};
    assert_int_equal(writer_run(f->writer, apply_unread, &job, &err), ERROR_IO);
    assert_non_null(strstr(err.text, "interrupted"));
    assert_int_equal(stored(f), 0);
    assert_int_equal(writer_run(f->writer, apply, &job, NULL), 0);
    assert_int_equal(stored(f), 1);
}

static int apply_nested(struct store *store, void *arg, struct error *err)
{
    bool keep = ((struct job *)arg)->refuse == 0;
    struct job job = {.subject = 8};
    assert_int_equal(store_nest(store, NULL), 0);
    assert_int_equal(apply_unread(store, &job, NULL), 0);
    int rc = store_unnest(store, keep, err);
    assert_int_equal(rc, keep ? ERROR_IO : 0);
    job.subject = 9;
    return apply(store, &job, err);
}

static void what_was_taken_back_takes_its_failure_with_it(void **state)
{
    if (state_on_server())
        skip();
    struct fixture *f = *state;
    struct job job = {.refuse = 1};
    assert_int_equal(writer_run(f->writer, apply_nested, &job, NULL), 0);
    assert_int_equal(stored(f), 1);
    job.refuse = 0;
    assert_int_equal(writer_run(f->writer, apply_nested, &job, NULL), 0);
    assert_int_equal(stored(f), 1);
}

static void what_was_told_on_a_failed_read_is_known(void **state)
{
    if (state_on_server()) /* whose reads fail otherwise: test_server.c */
        skip();
    struct fixture *f = *state;
    struct store *store;
    char *text = NULL;
    struct error err = {0};
    assert_int_equal(store_open(f->dir, STORE_READ, &store, NULL), 0);
    assert_true(store_look(store));
    sqlite3_progress_handler(store->db, 1, interrupt, NULL);
    store_setting_get(store, "any", &text, NULL);
    sqlite3_progress_handler(store->db, 0, NULL, NULL);
    assert_int_equal(store_failed(store, &err), ERROR_IO);
    assert_non_null(strstr(err.text, "interrupted"));
    store_unlook(store, true);
    assert_true(store_look(store));
    assert_int_equal(store_failed(store, NULL), 0);
    store_unlook(store, true);
    store_close(store);
}

static void what_was_answered_is_there_for_readers(void **state)
{
    struct fixture *f = *state;
    struct job job = {.subject = 7};
    assert_int_equal(writer_run(f->writer, apply, &job, NULL), 0);
    assert_int_equal(stored(f), 1);
}

static void a_full_queue_says_busy(void **state)
{
    struct fixture *f = *state;
    struct writer *small;
    char dir[64] = "/tmp/oddloaf-small-XXXXXX";
    assert_non_null(state_folder(dir));
    assert_int_equal(writer_start(dir, 0, &small, NULL), 0);
    struct job job = {.subject = 1};
    struct error err = {0};
    (void)f;
    assert_int_equal(writer_run(small, apply, &job, &err), ERROR_BUSY);
    assert_int_equal(err.code, ERROR_BUSY);
    writer_free(small);
    struct text_buffer command = {0};
    text_appendf(&command, "rm -rf %s", dir);
    assert_int_equal(system(command.data), 0);
    text_buffer_free(&command);
}

enum { SEEN = 50 };

struct seen {
    int order[SEEN], count;
    sem_t all;
};

struct read_task {
    struct seen *seen;
    int number;
};

static void note_task(struct store *store, void *arg)
{
    const struct read_task *task = arg;
    (void)store;
    task->seen->order[task->seen->count++] = task->number;
    if (task->number == SEEN - 1)
        sem_post(&task->seen->all);
}

static void must_not_be_refused(void *arg)
{
    (void)arg;
    abort();
}

/* One reader: so that the order can be seen. */
static void reads_run_in_order_and_none_is_lost(void **state)
{
    struct fixture *f = *state;
    struct readers *readers;
    struct seen seen = {.count = 0};
    static struct read_task tasks[SEEN];
    sem_init(&seen.all, 0, 0);
    assert_int_equal(readers_start(f->dir, 1, SEEN, &readers, NULL), 0);
    for (int i = 0; i < SEEN; i++) {
        tasks[i] = (struct read_task){&seen, i};
        const struct reader_job job = {note_task, must_not_be_refused, &tasks[i]};
        assert_int_equal(readers_submit(readers, &job), 0);
    }
    sem_wait(&seen.all);
    readers_free(readers);
    for (int i = 0; i < SEEN; i++)
        assert_int_equal(seen.order[i], i);
    sem_destroy(&seen.all);
}

/* Work that is under way while the readers close, and tries to give them more. */
struct closing {
    struct readers *readers;
    sem_t begun, refused;
    int run, refusals, answer;
};

static void run_until_refused(struct store *store, void *arg)
{
    struct closing *c = arg;
    (void)store;
    sem_post(&c->begun);
    sem_wait(&c->refused); /* closed, and this one still runs */
    c->answer = readers_submit(c->readers, &(struct reader_job){NULL, NULL, NULL});
    c->run++;
}

static void count_refusal(void *arg)
{
    struct closing *c = arg;
    c->refusals++;
    sem_post(&c->refused);
}

static void closed_readers_finish_what_has_begun_and_refuse_the_rest(void **state)
{
    struct fixture *f = *state;
    struct closing c = {.run = 0};
    sem_init(&c.begun, 0, 0);
    sem_init(&c.refused, 0, 0);
    assert_int_equal(readers_start(f->dir, 1, 10, &c.readers, NULL), 0);
    const struct reader_job job = {run_until_refused, count_refusal, &c};
    for (int i = 0; i < 3; i++)
        assert_int_equal(readers_submit(c.readers, &job), 0);
    sem_wait(&c.begun);
    readers_close(c.readers);
    assert_int_equal(c.run, 1);
    assert_int_equal(c.refusals, 2);
    assert_int_equal(c.answer, ERROR_BUSY);
    /* as the writer's thread does, which is stopped after them */
    assert_int_equal(readers_submit(c.readers, &job), ERROR_BUSY);
    assert_int_equal(c.refusals, 2);
    readers_close(c.readers);
    readers_free(c.readers);
    sem_destroy(&c.begun);
    sem_destroy(&c.refused);
}

/* It waits a second at a time and says so to the watchdog, whatever the clock on the wall does. */
static void an_idle_writer_shows_progress_by_a_clock_that_never_jumps(void **state)
{
    struct fixture *f = *state;
    const int64_t start_ms = clock_monotonic_ms(),
                  first_ms = writer_counts(f->writer).last_progress_ms;
    while (writer_counts(f->writer).last_progress_ms == first_ms) {
        assert_true(clock_monotonic_ms() - start_ms < 20000);
        usleep(10000);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(an_idle_writer_shows_progress_by_a_clock_that_never_jumps,
                                        setup, teardown),
        cmocka_unit_test_setup_teardown(a_refused_job_undoes_itself_only, setup, teardown),
        cmocka_unit_test_setup_teardown(what_was_written_on_a_failed_read_is_not_kept, setup,
                                        teardown),
        cmocka_unit_test_setup_teardown(what_was_taken_back_takes_its_failure_with_it, setup,
                                        teardown),
        cmocka_unit_test_setup_teardown(what_was_told_on_a_failed_read_is_known, setup, teardown),
        cmocka_unit_test_setup_teardown(what_was_answered_is_there_for_readers, setup, teardown),
        cmocka_unit_test_setup_teardown(a_full_queue_says_busy, setup, teardown),
        cmocka_unit_test_setup_teardown(reads_run_in_order_and_none_is_lost, setup, teardown),
        cmocka_unit_test_setup_teardown(closed_readers_finish_what_has_begun_and_refuse_the_rest,
                                        setup, teardown),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

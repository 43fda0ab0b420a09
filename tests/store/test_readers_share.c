/* Many things are done once each, whoever comes to them first. */
#include "base/text.h"
#include "check.h"
#include "state.h"
#include "store/db.h"
#include "store/readers_share.h"
#include "store/seen.h"
#include "store/writer.h"
#include <pthread.h>
#include <sched.h>
#include <semaphore.h>
#include <stdatomic.h>
#include <string.h>
#include <unistd.h>

enum { MANY = 500 };

struct fixture {
    char dir[64];
    struct writer *writer;
    struct readers *readers;
};

static int setup(void **state)
{
    static struct fixture f;
    strcpy(f.dir, "/tmp/oddloaf-share-XXXXXX");
    assert_non_null(state_folder(f.dir));
    assert_int_equal(writer_start(f.dir, 10, &f.writer, NULL), 0);
    assert_int_equal(readers_start(f.dir, 3, 10, &f.readers, NULL), 0);
    *state = &f;
    return 0;
}

static int teardown(void **state)
{
    struct fixture *f = *state;
    char command[128];
    readers_free(f->readers);
    writer_free(f->writer);
    snprintf(command, sizeof command, "rm -rf %s", f->dir);
    return system(command);
}

struct job {
    struct readers *readers;
    size_t count;
    atomic_int done[MANY];
    atomic_int wrong; /* things that were not read as they are */
    sem_t over, others;
    bool waits; /* for another thread to come */
    pthread_t first;
    atomic_int by_others;
    bool of_one_plant;
};

static void each(struct store *store, size_t index, void *arg)
{
    struct job *job = arg;
    int64_t number = 0;
    if (db_number(store, "SELECT count(*) FROM lot", NULL, &number, NULL) || number != 0)
        job->wrong++;
    if (seen_all(store) == job->of_one_plant || !seen_plant(store, "north") ||
        seen_plant(store, "south") == job->of_one_plant)
        job->wrong++;
    job->done[index]++;
    if (!pthread_equal(pthread_self(), job->first)) {
        job->by_others++;
        sem_post(&job->others);
    } else if (job->waits && index == 0) {
        sem_wait(&job->others);
    }
}

static void run(struct store *store, void *arg)
{
    struct job *job = arg;
    const struct seen_plants north = {1, {"north"}, "mira"};
    job->first = pthread_self();
    seen_set(store, job->of_one_plant ? &north : NULL);
    readers_share(job->readers, store, &(struct readers_share){job->count, each, job});
    seen_set(store, NULL);
    sem_post(&job->over);
}

static void refuse(void *arg)
{
    (void)arg;
    fail();
}

static void share(struct job *job)
{
    sem_init(&job->over, 0, 0);
    sem_init(&job->others, 0, 0);
    assert_int_equal(readers_submit(job->readers, &(struct reader_job){run, refuse, job}), 0);
    sem_wait(&job->over);
    for (size_t i = 0; i < MANY; i++)
        assert_int_equal(job->done[i], i < job->count);
    assert_int_equal(job->wrong, 0);
}

static void each_is_done_once(void **state)
{
    struct fixture *f = *state;
    static const size_t COUNTS[] = {0, 1, 16, 17, MANY};
    for (size_t i = 0; i < sizeof COUNTS / sizeof COUNTS[0]; i++) {
        struct job job = {.readers = f->readers, .count = COUNTS[i]};
        share(&job);
    }
}

/* As it is counted who may help: of a process that is kept to one there is nobody. */
static int processors(void)
{
    cpu_set_t allowed;
    return sched_getaffinity(0, sizeof allowed, &allowed) ? 1 : CPU_COUNT(&allowed);
}

static void others_help(void **state)
{
    struct fixture *f = *state;
    if (processors() < 2)
        skip();
    struct job job = {.readers = f->readers, .count = MANY, .waits = true};
    share(&job);
    assert_true(job.by_others > 0);
}

/* Whoever is asked for one plant is told of no other by whoever helps, and whoever helped is asked
 * for all again. */
static void others_are_told_of_no_other_plant(void **state)
{
    struct fixture *f = *state;
    if (processors() < 2)
        skip();
    for (int i = 0; i < 4; i++) {
        struct job job = {
            .readers = f->readers, .count = MANY, .waits = true, .of_one_plant = i % 2 == 0};
        share(&job);
        assert_true(job.by_others > 0);
    }
}

static void hold(struct store *store, void *arg)
{
    (void)store;
    sem_wait(arg);
}

/* Whoever asks for help and finds none does it alone, and who comes late finds nothing to do. */
static void nobody_has_to_come(void **state)
{
    struct fixture *f = *state;
    sem_t held;
    struct job job = {.readers = f->readers, .count = MANY};
    sem_init(&held, 0, 0);
    for (int i = 0; i < 2; i++)
        assert_int_equal(readers_submit(f->readers, &(struct reader_job){hold, refuse, &held}), 0);
    share(&job);
    assert_int_equal(job.by_others, 0);
    for (int i = 0; i < 2; i++)
        sem_post(&held);
}

static void a_full_queue_is_no_reason_to_wait(void **state)
{
    struct fixture *f = *state;
    struct job job = {.readers = f->readers, .count = MANY};
    sem_init(&job.over, 0, 0);
    sem_init(&job.others, 0, 0);
    assert_int_equal(readers_submit(f->readers, &(struct reader_job){run, refuse, &job}), 0);
    readers_set_limit(f->readers, 0);
    sem_wait(&job.over);
    for (size_t i = 0; i < MANY; i++)
        assert_int_equal(job.done[i], 1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(each_is_done_once, setup, teardown),
        cmocka_unit_test_setup_teardown(others_help, setup, teardown),
        cmocka_unit_test_setup_teardown(others_are_told_of_no_other_plant, setup, teardown),
        cmocka_unit_test_setup_teardown(nobody_has_to_come, setup, teardown),
        cmocka_unit_test_setup_teardown(a_full_queue_is_no_reason_to_wait, setup, teardown),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

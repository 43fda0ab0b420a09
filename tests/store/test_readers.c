/* Jobs of readers: in order, brief ones together on one state of the store, each once. */
#include "base/text.h"
#include "check.h"
#include "state.h"
#include "store/db.h"
#include "store/readers.h"
#include "store/writer.h"
#include <pthread.h>
#include <semaphore.h>
#include <stdatomic.h>
#include <string.h>

struct fixture {
    char dir[64];
    struct writer *writer;
    struct readers *readers; /* one thread: what is submitted while it is held waits */
    sem_t held, over;
};

static int setup(void **state)
{
    static struct fixture f;
    strcpy(f.dir, "/tmp/oddloaf-readers-XXXXXX");
    assert_non_null(state_folder(f.dir));
    assert_int_equal(writer_start(f.dir, 10, &f.writer, NULL), 0);
    assert_int_equal(readers_start(f.dir, 1, 200, &f.readers, NULL), 0);
    sem_init(&f.held, 0, 0);
    sem_init(&f.over, 0, 0);
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

/* What a job found: its place among all, and whether the store was looked at already. */
struct found {
    struct fixture *f;
    atomic_int *next;
    int place;
    bool shared;
    int64_t products;
};

static void find(struct store *store, void *arg)
{
    struct found *found = arg;
    bool began = store_look(store);
    found->place = atomic_fetch_add(found->next, 1);
    found->shared = !began;
    db_number(store, "SELECT count(*) FROM product", NULL, &found->products, NULL);
    store_unlook(store, began);
    sem_post(&found->f->over);
}

static void refuse(void *arg)
{
    (void)arg;
    fail();
}

static void hold(struct store *store, void *arg)
{
    struct fixture *f = arg;
    (void)store;
    sem_post(&f->over);
    sem_wait(&f->held);
}

static void hold_reader(struct fixture *f)
{
    assert_int_equal(readers_submit(f->readers, &(struct reader_job){hold, refuse, f}), 0);
    sem_wait(&f->over);
}

static void let_go(struct fixture *f, int jobs)
{
    sem_post(&f->held);
    while (jobs--)
        sem_wait(&f->over);
}

static int add_product(struct store *store, void *arg, struct error *err)
{
    (void)arg;
    return db_exec(store,
                   "INSERT INTO product(id, product, name, family, shelf_life_days, unit_g, gtin)"
                   " VALUES(1, 'W24', 'Wheat', 'pan-bread', 10, 680, NULL)",
                   err);
}

static void brief_ones_share_a_state(void **state)
{
    enum { JOBS = 7, PLAIN = 4 };
    struct fixture *f = *state;
    struct found found[JOBS];
    atomic_int next = 0;
    hold_reader(f);
    for (int i = 0; i < JOBS; i++) {
        found[i] = (struct found){.f = f, .next = &next};
        const struct reader_job job = {find, refuse, &found[i]};
        if (i == PLAIN - 1) /* committed before the last of them were submitted */
            assert_int_equal(writer_run(f->writer, add_product, NULL, NULL), 0);
        int rc =
            i == PLAIN ? readers_submit(f->readers, &job) : readers_submit_brief(f->readers, &job);
        assert_int_equal(rc, 0);
    }
    let_go(f, JOBS);
    for (int i = 0; i < JOBS; i++) {
        assert_int_equal(found[i].place, i);
        assert_int_equal(found[i].shared, i != PLAIN);
        assert_int_equal(found[i].products, 1);
    }
}

/* More than are done at a time, and one that comes alone. */
static void all_brief_ones_are_done(void **state)
{
    enum { JOBS = 150 };
    struct fixture *f = *state;
    struct found found[JOBS];
    atomic_int next = 0;
    hold_reader(f);
    for (int i = 0; i < JOBS; i++) {
        found[i] = (struct found){.f = f, .next = &next};
        assert_int_equal(
            readers_submit_brief(f->readers, &(struct reader_job){find, refuse, &found[i]}), 0);
    }
    let_go(f, JOBS);
    for (int i = 0; i < JOBS; i++)
        assert_int_equal(found[i].place, i);
    assert_int_equal(
        readers_submit_brief(f->readers, &(struct reader_job){find, refuse, &found[0]}), 0);
    sem_wait(&f->over);
    assert_int_equal(found[0].place, JOBS);
    assert_false(found[0].shared);
}

static void who_submits_several_wakes_for_all(void **state)
{
    enum { JOBS = 5 };
    struct fixture *f = *state;
    struct found found[JOBS];
    atomic_int next = 0;
    for (int i = 0; i < JOBS; i++) {
        found[i] = (struct found){.f = f, .next = &next};
        assert_int_equal(
            readers_submit_soon(f->readers, &(struct reader_job){find, refuse, &found[i]}), 0);
    }
    readers_wake(f->readers);
    for (int i = 0; i < JOBS; i++)
        sem_wait(&f->over);
    for (int i = 0; i < JOBS; i++)
        assert_int_equal(found[i].place, i);
    readers_close(f->readers);
    readers_wake(f->readers); /* in vain */
    assert_int_not_equal(
        readers_submit_soon(f->readers, &(struct reader_job){find, refuse, &found[0]}), 0);
}

/* ---- more of them, and fewer ---- */

static void *shrink_to_one(void *arg)
{
    struct fixture *f = arg;
    return readers_resize(f->readers, 1, NULL) ? f : NULL;
}

/* As many jobs are under way at once as there are threads; those that end finish theirs. */
static void more_and_fewer_threads_do_all_jobs(void **state)
{
    struct fixture *f = *state;
    pthread_t thread;
    void *failed;
    atomic_int next = 0;
    struct found found[60];
    assert_int_equal(readers_resize(f->readers, 3, NULL), 0);
    for (int i = 0; i < 3; i++)
        hold_reader(f); /* each begins though the others are held */
    for (int i = 0; i < 60; i++) {
        found[i] = (struct found){.f = f, .next = &next, .place = -1};
        assert_int_equal(readers_submit(f->readers, &(struct reader_job){find, refuse, found + i}),
                         0);
    }
    assert_int_equal(readers_resize(f->readers, 5, NULL), 0); /* under load */
    for (int i = 0; i < 60; i++)
        sem_wait(&f->over); /* by the two that are not held */
    assert_int_equal(atomic_load(&next), 60);
    assert_int_equal(pthread_create(&thread, NULL, shrink_to_one, f), 0);
    for (int i = 0; i < 3; i++)
        sem_post(&f->held);
    pthread_join(thread, &failed);
    assert_null(failed);
    found[0].place = -1;
    assert_int_equal(readers_submit(f->readers, &(struct reader_job){find, refuse, found}), 0);
    sem_wait(&f->over);
    assert_int_equal(found[0].place, 60);
}

static void *resize_until_closed(void *arg)
{
    struct fixture *f = arg;
    int rc = 0;
    for (int threads = 1; !rc; threads = threads % 4 + 1) {
        rc = readers_resize(f->readers, threads, NULL);
        sem_post(&f->over);
    }
    return rc == ERROR_BUSY ? NULL : f;
}

/* A reload is under way while the daemon stops. */
static void once_closed_there_are_no_more(void **state)
{
    struct fixture *f = *state;
    pthread_t thread;
    void *failed;
    struct error err = {0};
    assert_int_equal(pthread_create(&thread, NULL, resize_until_closed, f), 0);
    for (int i = 0; i < 5; i++)
        sem_wait(&f->over);
    readers_close(f->readers);
    pthread_join(thread, &failed);
    assert_null(failed);
    assert_int_equal(readers_resize(f->readers, 2, &err), ERROR_BUSY);
    assert_non_null(strstr(err.text, "closed"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(brief_ones_share_a_state, setup, teardown),
        cmocka_unit_test_setup_teardown(all_brief_ones_are_done, setup, teardown),
        cmocka_unit_test_setup_teardown(who_submits_several_wakes_for_all, setup, teardown),
        cmocka_unit_test_setup_teardown(more_and_fewer_threads_do_all_jobs, setup, teardown),
        cmocka_unit_test_setup_teardown(once_closed_there_are_no_more, setup, teardown),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

#include "notify/sheet_maker.h"
#include "base/text.h"
#include <assert.h>
#include <pthread.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum state { IDLE, ASKED, MADE, STOPPING };

struct sheet_maker {
    struct sheet_maker_how how;
    struct store *store;
    pthread_t thread;
    pthread_mutex_t lock;
    pthread_cond_t changed;
    /* under the lock */
    enum state state;
    int64_t case_id; /* ASKED */
    char *sheet;     /* MADE */
};

static bool is_asked(struct sheet_maker *m, int64_t *ret_case)
{
    pthread_mutex_lock(&m->lock);
    while (m->state == IDLE || m->state == MADE)
        pthread_cond_wait(&m->changed, &m->lock);
    bool asked = m->state == ASKED;
    *ret_case = m->case_id;
    pthread_mutex_unlock(&m->lock);
    return asked;
}

static void hand_over(struct sheet_maker *m, char *sheet)
{
    const uint64_t once = 1;
    pthread_mutex_lock(&m->lock);
    m->sheet = sheet;
    if (m->state == ASKED)
        m->state = MADE;
    pthread_mutex_unlock(&m->lock);
    if (write(m->how.woken, &once, sizeof once) < 0)
        return; /* its counter is full: its reader is awake */
}

static void *sheet_maker_main(void *arg)
{
    struct sheet_maker *m = arg;
    int64_t case_id;
    while (is_asked(m, &case_id))
        hand_over(m, m->how.make(m->how.arg, m->store, case_id));
    return NULL;
}

static void sheet_maker_free(struct sheet_maker *m)
{
    free(m->sheet);
    store_close(m->store);
    pthread_cond_destroy(&m->changed);
    pthread_mutex_destroy(&m->lock);
    free(m);
}

int sheet_maker_start(const char *state_dir, const struct sheet_maker_how *how,
                      struct sheet_maker **ret, struct error *err)
{
    assert(how->make);
    struct sheet_maker *m = xcalloc(1, sizeof *m);
    m->how = *how;
    pthread_mutex_init(&m->lock, NULL);
    pthread_cond_init(&m->changed, NULL);
    int rc = store_open(state_dir, STORE_READ, &m->store, err);
    int failed = rc ? 0 : pthread_create(&m->thread, NULL, sheet_maker_main, m);
    if (failed)
        rc = error_set(err, ERROR_IO, "cannot start the thread that makes case sheets: %s",
                       strerror(failed));
    if (rc) {
        sheet_maker_free(m);
        return rc;
    }
    *ret = m;
    return 0;
}

static void enter(struct sheet_maker *m, enum state state)
{
    m->state = state;
    pthread_cond_signal(&m->changed);
}

void sheet_maker_ask(struct sheet_maker *m, int64_t case_id)
{
    pthread_mutex_lock(&m->lock);
    assert(m->state == IDLE);
    m->case_id = case_id;
    enter(m, ASKED);
    pthread_mutex_unlock(&m->lock);
}

bool sheet_maker_take(struct sheet_maker *m, char **ret)
{
    pthread_mutex_lock(&m->lock);
    bool made = m->state == MADE;
    if (made) {
        *ret = m->sheet;
        m->sheet = NULL;
        enter(m, IDLE);
    }
    pthread_mutex_unlock(&m->lock);
    return made;
}

void sheet_maker_stop(struct sheet_maker *m)
{
    if (!m)
        return;
    pthread_mutex_lock(&m->lock);
    enter(m, STOPPING);
    pthread_mutex_unlock(&m->lock);
    pthread_join(m->thread, NULL);
    sheet_maker_free(m);
}

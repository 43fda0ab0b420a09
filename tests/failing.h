/* A store that cannot do one statement, as on a disk that fails: what is asked of it then must say
 * so, whichever statement that is. */
#ifndef ODDLOAF_TESTS_FAILING_H
#define ODDLOAF_TESTS_FAILING_H

#include "check.h"
#include "store/store_inside.h"
#include <string.h>

#define FAILING_WORDS "the test's disk is broken"

struct failing {
    const struct engine *real;
    struct engine engine;
    int begun, at; /* statements, from 0; the one that cannot be done */
    bool fresh, failed;
};

static inline struct failing *failing_now(void)
{
    static struct failing now;
    return &now;
}

static inline int failing_step(struct store *store, void *statement)
{
    struct failing *f = failing_now();
    bool fails = f->fresh && f->begun++ == f->at;
    f->fresh = false;
    f->failed |= fails;
    return fails ? -1 : f->real->step(store, statement);
}

static inline void failing_reset(void *statement)
{
    failing_now()->fresh = true;
    failing_now()->real->reset(statement);
}

static inline int failing_fail(struct store *store, struct error *err, const char *doing)
{
    int (*const say)(struct store *, struct error *, const char *) = failing_now()->real->fail;
    if (!failing_now()->failed)
        return say(store, err, doing);
    return error_set(err, ERROR_INTERNAL, "%s: " FAILING_WORDS, doing);
}

static inline void failing_begin(struct store *store, int at)
{
    struct failing *f = failing_now();
    *f = (struct failing){store->engine, *store->engine, 0, at, true, false};
    f->engine.step = failing_step;
    f->engine.reset = failing_reset;
    f->engine.fail = failing_fail;
    store->engine = &f->engine;
}

static inline void failing_end(struct store *store)
{
    store->engine = failing_now()->real;
}

struct failing_told {
    int statements; /* that it takes */
    int unsaid;     /* of these, after which the store alone says that one failed */
};

/* Of many statements the first so many fail one by one, and some of the others. */
#ifndef FAILING_FIRST
#define FAILING_FIRST 6
#endif

/* Asks until every statement has failed once (of many: FAILING_FIRST), of
 * one state of the store: what is written is taken back. `ask` gives back all that it takes, also
 * where it is answered 0. */
static inline struct failing_told failing_each(struct store *store,
                                               int (*ask)(void *arg, struct error *err), void *arg)
{
    struct failing_told told = {0, 0};
    bool writing = store_writing(store);
    for (;; told.statements += 1 + told.statements / FAILING_FIRST) {
        struct error err = {0}, kept = {0};
        bool began = !writing && store_look(store);
        assert_true(!writing || store_nest(store, NULL) == 0);
        failing_begin(store, told.statements);
        int rc = ask(arg, &err);
        failing_end(store);
        int failed = store_failed(store, &kept);
        assert_true(!writing || store_unnest(store, false, NULL) == 0);
        store_unlook(store, began);
        if (!failing_now()->failed) {
            if (rc)
                fail_msg("unasked, it says %d %s", rc, err.text);
            return told;
        }
        if (!failed && !strstr(err.text, FAILING_WORDS))
            fail_msg("statement %d failed: %d '%s'", told.statements, rc, err.text);
        told.unsaid += !rc || !strstr(err.text, FAILING_WORDS);
    }
}

/* No more of them than these are left to the store to say. */
static inline void failing_check(struct store *store, int (*ask)(void *arg, struct error *err),
                                 void *arg, const char *what, int unsaid)
{
    struct failing_told told = failing_each(store, ask, arg);
    if (told.statements < 1 || told.unsaid != unsaid)
        fail_msg("%s: of %d failures %d are not said", what, told.statements, told.unsaid);
}

#endif

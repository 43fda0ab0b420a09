/* Readers: threads that each own a read-only connection and run queries and rankings, so that
 * nothing slow runs on the event loop. */
#ifndef ODDLOAF_STORE_READERS_H
#define ODDLOAF_STORE_READERS_H

#include "store/store.h"
#include <stddef.h>

struct readers;

/* One thing to do. Exactly one of the two is called, once. */
struct reader_job {
    void (*run)(struct store *store, void *arg); /* on a reader thread */
    /* The readers closed before its turn came; on the closing thread. */
    void (*refuse)(void *arg);
    void *arg;
};

/* The store must exist (start the writer first). */
int readers_start(const char *state_dir, int threads, size_t queue_limit, struct readers **ret,
                  struct error *err);
/* As many threads as that from now on; some that end finish their work first, which is waited for.
 * On failure there are as many as before; ERROR_BUSY once closed, as when the daemon stops while it
 * is asked to reload. Thread-safe, but not from one of these readers. */
int readers_resize(struct readers *readers, int threads, struct error *err);
/* At most so many jobs wait from now on. Thread-safe. */
void readers_set_limit(struct readers *readers, size_t queue_limit);
/* Refuses what comes from now on and what has not begun, waits for what has, ends the threads.
 * Whoever still holds the readers may submit to them, in vain, until they are freed. NULL is fine;
 * so is a second time. */
void readers_close(struct readers *readers);
void readers_free(struct readers *readers); /* closes them first. NULL is fine */
/* Thread-safe; in the order of submission. ERROR_BUSY when the queue is full or closed; then
 * neither function of the job is called. */
int readers_submit(struct readers *readers, const struct reader_job *job);
/* The same of one that is soon done and asks only: of those that wait one behind the other, one
 * thread does several on one state of the store, which holds what was committed before each of them
 * was submitted. */
int readers_submit_brief(struct readers *readers, const struct reader_job *job);
/* The same as readers_submit() for whoever submits several at once: a thread that sleeps is woken
 * for them by readers_wake() only, which must follow. One woken for each would take the processor
 * of whoever submits, do the one, and sleep again. */
int readers_submit_soon(struct readers *readers, const struct reader_job *job);
void readers_wake(struct readers *readers);

#endif

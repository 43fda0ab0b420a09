/* The writer: one thread that owns the one writing connection and commits in groups. Everything
 * that queued while the last commit ran goes into the next transaction. One refused job does not
 * undo its neighbours: the group is done again, each job in a savepoint of its own. A job is
 * answered only after the commit that holds it is on disk. */
#ifndef ODDLOAF_STORE_WRITER_H
#define ODDLOAF_STORE_WRITER_H

#include "store/store.h"

struct writer;

struct writer_job {
    /* Runs on the writer thread inside the transaction. Non-zero: undone, and `done` gets the
     * error. Runs again if a job of its group was refused or the group failed to commit: what it
     * writes outside the store must not depend on how often it ran. */
    int (*apply)(struct store *store, void *arg, struct error *err);
    /* Runs on the writer thread after the commit (code 0) or the refusal. Owns `arg` from here.
     * Must be quick: it holds up the next group. */
    void (*done)(void *arg, int code, const struct error *err);
    void *arg;
};

struct writer_counts {
    uint64_t jobs, groups, refused;
    size_t queued, largest_group;
    int64_t last_progress_ms; /* monotonic; for the watchdog */
    struct error lost; /* code 0, or what became of the files under the store: nothing is written */
};

/* Opens (creates, migrates) the store in `state_dir`. At most `queue_limit` jobs wait. */
int writer_start(const char *state_dir, size_t queue_limit, struct writer **ret, struct error *err);
/* The conversion that opening the store took; NULL: none. Borrowed. */
const struct store_migration *writer_migration(const struct writer *writer);
/* store_is_server() of its connection. */
bool writer_is_on_server(const struct writer *writer);
/* store_is_alone() of its connection. */
bool writer_is_alone(const struct writer *writer);
/* The daemon will stop: work done in many jobs ends between two of them. Thread-safe. */
void writer_hurry(struct writer *writer);
bool writer_is_hurried(struct writer *writer);
/* Finishes what is queued, ends the thread, closes the store. Whoever still holds the writer may
 * submit, in vain, and read its counts until it is freed. NULL is fine; so is a second time. */
void writer_close(struct writer *writer);
void writer_free(struct writer *writer); /* closes it first. NULL is fine */
/* Thread-safe. ERROR_BUSY when the queue is full or stopping; then `done` is not called. */
int writer_submit(struct writer *writer, const struct writer_job *job);
/* Submits and waits for the commit. Not from the loop thread, nor from inside a job. */
int writer_run(struct writer *writer, int (*apply)(struct store *, void *, struct error *),
               void *arg, struct error *err);
/* writer_run() that is tried again for half a minute while the queue is full or another program
 * does not let go of the database; not once the writer is hurried. */
int writer_insist(struct writer *writer, int (*apply)(struct store *, void *, struct error *),
                  void *arg, struct error *err);
/* At most so many jobs wait from now on. */
void writer_set_limit(struct writer *writer, size_t queue_limit);
struct writer_counts writer_counts(struct writer *writer);

#endif

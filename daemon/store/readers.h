/* Readers: threads that each own a read-only connection and run queries and rankings, so that
 * nothing slow runs on the event loop. */
#ifndef ODDLOAF_STORE_READERS_H
#define ODDLOAF_STORE_READERS_H

#include "store/store.h"
#include <stddef.h>

struct readers;

/* The store must exist (start the writer first). */
int readers_start(const char *state_dir, int threads, size_t queue_limit, struct readers **ret,
                  struct error *err);
void readers_stop(struct readers *readers); /* runs what is queued, joins. NULL is fine. */
/* Thread-safe; in the order of submission. ERROR_BUSY when the queue is full or stopping; then
 * `run` is not called. */
int readers_submit(struct readers *readers, void (*run)(struct store *store, void *arg), void *arg);

#endif

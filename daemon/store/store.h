/* The store behind domain functions: one SQLite file in the state's folder or, where the settings
 * name it (place.h), a PostgreSQL server. No SQL and no type of either leaves this folder.
 *
 * A `struct store` is one connection, used by one thread at a time. There is one writing
 * connection (owned by the writer thread, writer.h) and any number of read-only ones (readers.h).
 * A server may have those of several daemons: whoever begins to write waits until no other writes,
 * so that a transaction sees all that was committed before it, and nobody else changes what it
 * sees. What one of them is at outside a transaction it claims (claim.h).
 * WAL, synchronous=FULL: what store_commit() answered is on disk.
 *
 * Compatibility: the schema is an append-only list of numbered migrations (schema.c); a file of a
 * newer number than this program knows is refused, never changed. */
#ifndef ODDLOAF_STORE_STORE_H
#define ODDLOAF_STORE_STORE_H

#include "base/error.h"
#include "base/when.h"
#include <stdatomic.h>
#include <stdbool.h>
#include <stdint.h>

enum store_mode { STORE_READ, STORE_WRITE };

struct store;

/* A caller's array of ids that a look-up fills from its beginning, up to the capacity. */
struct store_ids {
    int64_t *id;
    int count, capacity;
};

/* Opens (STORE_WRITE: creates and migrates, a verified copy kept before) DIR/oddloaf.db. A state
 * folder has one writer: STORE_WRITE is ERROR_CONFLICT while another process (the text names it,
 * where that is known: owner.h) or another store has it. ERROR_LOST, and nothing is touched, if the
 * database is empty or gone where its log or backups say that it was there. */
int store_open(const char *state_dir, enum store_mode mode, struct store **ret, struct error *err);
void store_close(struct store *store); /* NULL is fine */

/* Transactions. On the writing connection both ends look first whether the files are still those
 * it opened: ERROR_LOST if not, from store_commit() too, whose transaction is then not to be
 * relied on. store_nest() opens a savepoint inside one, so that one refused job does not undo
 * its neighbours in a group commit.
 * A transaction or savepoint in which the database failed at anything but a constraint is not kept:
 * store_commit(), store_nest() and store_unnest(keep) answer that failure, and undo it, even if
 * whoever asked took it for "none". A savepoint that is taken back takes its failures with it.
 * ERROR_UNREACHABLE of store_commit(): a server was lost meanwhile, and may have kept it. */
int store_begin(struct store *store, struct error *err);
int store_commit(struct store *store, struct error *err);
void store_rollback(struct store *store);
/* In a transaction of the connection that writes: what every function that changes anything asks of
 * its caller, "in the writer's transaction". */
bool store_writing(const struct store *store);
int store_nest(struct store *store, struct error *err);
int store_unnest(struct store *store, bool keep, struct error *err);
/* Brackets reads that must see one state, whatever is committed meanwhile. Inside another bracket
 * or a transaction they see its state, and this does nothing. What store_look() returns goes to
 * store_unlook(). */
bool store_look(struct store *store);
void store_unlook(struct store *store, bool began);
/* What the database failed at since the bracket or transaction began, even if whoever asked took it
 * for "none"; 0 nothing. What is told from many reads asks this at its end. */
int store_failed(const struct store *store, struct error *err);
/* The same, and it is forgotten: whoever asks tells it. */
int store_take_failed(struct store *store, struct error *err);

/* ERROR_LOST if a file of the writing connection was removed, replaced or cut short. Outside a
 * transaction. */
int store_present(const struct store *store, struct error *err);

/* A lost connection to a server is made anew, if none was tried just now. Outside a transaction. */
void store_revive(struct store *store);
/* What any later commit of anybody changes. "": of a file, whose one writer knows (writer.h), or it
 * cannot be told now. */
enum { STORE_MARK = 40 };
void store_mark(const struct store *store, char out[STORE_MARK]);

/* Truncates the WAL after the commit of the transaction under way (after an erasure), or after the
 * first later one that finds no reader holding it. */
void store_checkpoint_soon(struct store *store);

/* It is on a server, whose own tools back it up and check it. */
bool store_is_server(const struct store *store);

/* The conversion that opening it took. */
struct store_migration {
    int from, to;   /* schemas */
    char copy[512]; /* of the database before; "": on a server, where nobody made one */
};
const struct store_migration *store_migration(const struct store *store); /* NULL: none */
/* The writing connection was opened on a full disk: no other program reads the database until it
 * is closed. */
bool store_is_alone(const struct store *store);

/* What this connection is asked fails (ERROR_IO) once *dropped is true, in the middle of a
 * statement too: nobody waits for it any more. Borrowed until it is told otherwise; NULL: never. */
void store_drop_if(struct store *store, const atomic_bool *dropped);
/* For what takes long between two statements. */
bool store_is_dropped(const struct store *store);

struct store_size {
    int64_t db_bytes, wal_bytes;
    bool elsewhere; /* on a server: not on the disk of the state's folder */
};
struct store_size store_size(const struct store *store);
int store_schema_version(void);

/* Small named values (calibrations, counters of loads): `value` NULL deletes. */
int store_setting_set(struct store *store, const char *key, const char *value, struct error *err);
/* *ret is malloc'd or NULL if unset. */
int store_setting_get(struct store *store, const char *key, char **ret, struct error *err);

#endif

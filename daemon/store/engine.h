/* Inside store/ only: what an engine of databases does for one connection. db.h and store.h are
 * made of it, and nothing above asks which one it is but for what a server does by itself
 * (store.h).
 *
 * All statements are written so that both engines take them, as SQLite has them; what PostgreSQL
 * has another word for is put into it in one place (dialect.h). */
#ifndef ODDLOAF_STORE_ENGINE_H
#define ODDLOAF_STORE_ENGINE_H

#include "store/db.h"

struct engine {
    const char *tables;                   /* the schema that has them: "main" */
    const char *begin_write, *begin_read; /* commands */
    bool is_server;

    /* Opens the store's database; one that writes creates and converts it. */
    int (*open)(struct store *store, struct error *err);
    void (*close)(struct store *store); /* what was not opened, too */

    /* Any commands, not kept. */
    int (*exec)(struct store *store, const char *sql, struct error *err);
    bool (*in_transaction)(const struct store *store);
    void (*undo)(struct store *store); /* the transaction under way */
    /* Before a transaction that writes: is the database what was opened? Negative codes. */
    int (*present)(const struct store *store, struct error *err);
    int (*committed)(struct store *store, struct error *err);              /* after one */
    int (*allow_writing)(struct store *store, bool on, struct error *err); /* on one that reads */
    void (*heed)(struct store *store); /* store->dropped is another */
    struct store_size (*size)(const struct store *store);

    /* Of a server alone; NULL of a file. */
    void (*revive)(struct store *store); /* makes a lost connection anew, if it may be now */
    void (*mark)(const struct store *store, char out[STORE_MARK]); /* store_mark() */
    bool (*claim)(struct store *store, int64_t key);               /* claim.h */
    void (*unclaim)(struct store *store, int64_t key);
    unsigned (*connection_number)(const struct store *store);

    /* A statement is one at a time: bound, stepped to its end, reset. */
    int (*prepare)(struct store *store, const char *sql, void **ret);
    void (*forget)(void *statement);
    bool (*only_reads)(const void *statement);
    int (*bind)(void *statement, int at, const struct db_value *value); /* from 1 */
    int (*step)(struct store *store, void *statement); /* 1 a row, 0 the end, negative: fail() */
    void (*reset)(void *statement);
    int (*changes)(const struct store *store);
    int64_t (*last_id)(const struct store *store);

    /* Columns of the row it stands on, from 0. */
    int (*columns)(void *statement);
    struct record_cell (*cell)(void *statement, int at);
    bool (*integer)(void *statement, int at, int64_t *ret); /* false: it is none */
    const char *(*text)(void *statement, int at);           /* NULL: it is none */
    const void *(*bytes)(void *statement, int at, size_t *ret_length);

    /* Says what the connection's last call failed at; answers its code: ERROR_NO_SPACE,
     * ERROR_CONFLICT (a constraint), ERROR_BUSY (another has it, or the server is away), … */
    int (*fail)(struct store *store, struct error *err, const char *doing);
};

extern const struct engine ENGINE_SQLITE;

/* Of a state that is kept there, NULL: in its folder. NULL, and ERROR_INVALID said: this build has
 * none. */
const struct engine *engine_of(const char *address, struct error *err);

#endif

/* Inside store/ only, where SQLite itself is called: the connection. */
#ifndef ODDLOAF_STORE_STORE_INSIDE_H
#define ODDLOAF_STORE_STORE_INSIDE_H

#include "store/files.h"
#include "store/store.h"
#include <sqlite3.h>

enum { DB_CACHE_SLOTS = 512, DB_MEMOS = 4 };

struct store {
    sqlite3 *db;
    char *path;
    enum store_mode mode;
    struct owner *owner; /* of the state, if this store writes */
    struct files files;  /* as this store left them, if it writes */
    int64_t page_bytes;
    int64_t log_bytes; /* what its last commit left in the log, at least */
    struct {
        const char *sql; /* the address is the key */
        sqlite3_stmt *statement;
    } cache[DB_CACHE_SLOTS];
    struct {
        const void *key;
        void *memo;
    } memos[DB_MEMOS];
    int open; /* statements that have begun and not ended: one at most */
    struct store_migration migration;
    bool checkpoint_soon;
    bool alone;                 /* no other process may read it */
    bool opened, ready;         /* ready: its cache has the size it is to have */
    const atomic_bool *dropped; /* nobody waits for what is asked; NULL: not told */
    struct error failed; /* what failed in the transaction, whether its asker looked or not */
};

/* ERROR_INVALID if the file is another program's, or of a schema to come; 0: a new one. */
int store_identify(struct store *store, int *ret_version, struct error *err);
/* Says what SQLite's last call on the connection failed at; answers its code. */
int db_fail(struct store *store, struct error *err, const char *doing);
int db_code(int sqlite_code);
/* Finalizes what is kept. */
void db_forget(struct store *store);

#endif

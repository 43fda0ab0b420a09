/* Inside store/ only: the connection. */
#ifndef ODDLOAF_STORE_STORE_INSIDE_H
#define ODDLOAF_STORE_STORE_INSIDE_H

#include "base/length.h"
#include "base/text.h"
#include "store/engine.h"
#include "store/files.h"
#include "store/seen.h"
#include "store/store.h"

enum { DB_CACHE_SLOTS = 512, DB_MEMOS = 4 };

struct sqlite3;
struct session;

struct seen_kept {
    bool some; /* else all */
    int count;
    char plant[SEEN_PLANTS][LENGTH_CODE + 1], user[64];
    char list[SEEN_PLANTS * (LENGTH_CODE + 1) + 2]; /* store/seen_inside.h */
};

struct store {
    const struct engine *engine;
    struct sqlite3 *db;      /* of SQLite */
    struct session *session; /* of a server */
    char *path, *state_dir;  /* path: of the file or the server, as people are told */
    char *address;           /* of the server */
    enum store_mode mode;
    struct owner *owner; /* of the state, if this store writes */
    struct files files;  /* as this store left them, if it writes */
    int64_t page_bytes;
    int64_t log_bytes; /* what its last commit left in the log, at least */
    struct {
        const char *sql; /* the address is the key */
        void *statement;
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
    struct seen_kept seen;      /* whose plants alone are told of */
    const atomic_bool *dropped; /* nobody waits for what is asked; NULL: not told */
    int (*owed)(struct store *store, const char *list, struct error *err);
    struct text_buffer owed_list; /* store_owe() */
    struct error failed; /* what failed in the transaction, whether its asker looked or not */
};

/* Before the transaction is kept, or at store_pay(), `pay` is called once with all `what` of it
 * (one such function's), a comma behind each; what a savepoint undid meanwhile is among them. */
void store_owe(struct store *store,
               int (*pay)(struct store *store, const char *list, struct error *err),
               const char *what);
/* For whoever asks within the transaction. */
int store_pay(struct store *store, struct error *err);
/* Forgets what is kept of statements, and the memos. */
void db_forget(struct store *store);

#endif

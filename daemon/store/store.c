#include "store/store.h"
#include "base/text.h"
#include "store/db.h"
#include "store/owner.h"
#include "store/place.h"
#include "store/schema.h"
#include "store/store_inside.h"
#include <assert.h>
#include <stdlib.h>

/* ---- opening ---- */

int store_schema_version(void)
{
    return schema_version();
}

/* On a server if the state's folder says so. */
static int find_place(struct store *store, struct error *err)
{
    struct text_buffer path = {0};
    int rc = place_get(store->state_dir, &store->address, err);
    if (rc)
        return rc;
    text_appendf(&path, "%s/oddloaf.db", store->state_dir);
    store->path = store->address ? place_name(store->address) : text_take(&path);
    store->engine = engine_of(store->address, err);
    text_buffer_free(&path);
    return store->engine ? 0 : ERROR_INVALID;
}

int store_open(const char *state_dir, enum store_mode mode, struct store **ret, struct error *err)
{
    struct store *store = xcalloc(1, sizeof *store);
    store->state_dir = xstrdup(state_dir);
    store->mode = mode;
    int rc = find_place(store, err);
    if (!rc && mode == STORE_WRITE)
        rc = owner_take(state_dir, &store->owner, err);
    if (!rc)
        rc = store->engine->open(store, err);
    if (rc) {
        store_close(store);
        return rc;
    }
    store->opened = true;
    *ret = store;
    return 0;
}

void store_close(struct store *store)
{
    assert(!store || store->open == 0);
    if (!store)
        return;
    if (store->engine)
        store->engine->close(store);
    owner_free(store->owner);
    free(store->path);
    free(store->state_dir);
    free(store->address);
    text_buffer_free(&store->owed_list);
    free(store);
}

/* ---- transactions ---- */

int store_begin(struct store *store, struct error *err)
{
    assert(!store->engine->in_transaction(store)); /* one does not hold another */
    /* a server that was away is asked again by what begins */
    int rc = store->engine->is_server ? 0 : store_present(store, err);
    error_clear(&store->failed);
    if (rc)
        return rc;
    const struct engine *engine = store->engine;
    return db_run(store, store->mode == STORE_WRITE ? engine->begin_write : engine->begin_read,
                  NULL, err);
}

int store_failed(const struct store *store, struct error *err)
{
    if (store->failed.code && err && !err->code)
        *err = store->failed;
    return (int)store->failed.code;
}

int store_take_failed(struct store *store, struct error *err)
{
    int rc = store_failed(store, err);
    error_clear(&store->failed);
    return rc;
}

void store_owe(struct store *store,
               int (*pay)(struct store *store, const char *list, struct error *err),
               const char *what)
{
    assert(store_writing(store) && (!store->owed || store->owed == pay));
    store->owed = pay;
    text_appendf(&store->owed_list, "%s,", what);
}

static void owe_nothing(struct store *store)
{
    store->owed = NULL;
    text_reset(&store->owed_list);
}

int store_pay(struct store *store, struct error *err)
{
    int rc = store->owed ? store->owed(store, store->owed_list.data, err) : 0;
    owe_nothing(store);
    return rc;
}

int store_commit(struct store *store, struct error *err)
{
    static const char SQL[] = "COMMIT";
    int rc = store_failed(store, err);
    if (!rc)
        rc = store_pay(store, err);
    if (!rc)
        rc = db_run(store, SQL, NULL, err);
    if (rc) {
        store_rollback(store);
        return rc;
    }
    return store->engine->committed(store, err);
}

int store_present(const struct store *store, struct error *err)
{
    return store->mode == STORE_WRITE ? store->engine->present(store, err) : 0;
}

void store_revive(struct store *store)
{
    if (store->engine->revive && !store->engine->in_transaction(store))
        store->engine->revive(store);
}

void store_mark(const struct store *store, char out[STORE_MARK])
{
    *out = '\0';
    if (store->engine->mark)
        store->engine->mark(store, out);
}

void store_rollback(struct store *store)
{
    store->engine->undo(store);
    owe_nothing(store);
}

bool store_look(struct store *store)
{
    if (store->engine->in_transaction(store))
        return false;
    error_clear(&store->failed);
    return db_run(store, store->engine->begin_read, NULL, NULL) == 0;
}

void store_unlook(struct store *store, bool began)
{
    static const char SQL[] = "COMMIT"; /* of nothing, by a statement that is kept */
    if (began && db_run(store, SQL, NULL, NULL))
        store_rollback(store);
}

int store_nest(struct store *store, struct error *err)
{
    assert(store_writing(store));
    static const char SQL[] = "SAVEPOINT job";
    int rc = store_failed(store, err); /* so that what failed later failed inside */
    return rc ? rc : db_run(store, SQL, NULL, err);
}

int store_unnest(struct store *store, bool keep, struct error *err)
{
    static const char SQL_BACK[] = "ROLLBACK TO job", SQL_RELEASE[] = "RELEASE job";
    /* a full disk rolls the whole transaction back by itself; then there is nothing to release */
    if (!store->engine->in_transaction(store))
        return error_set(err, ERROR_IO, "the transaction was undone");
    int rc = keep ? store_failed(store, err) : 0;
    error_clear(&store->failed);
    int back = keep && !rc ? 0 : db_run(store, SQL_BACK, NULL, err);
    int released = db_run(store, SQL_RELEASE, NULL, err);
    rc = rc ? rc : back;
    return rc ? rc : released;
}

/* ---- care ---- */

void store_checkpoint_soon(struct store *store)
{
    store->checkpoint_soon = true;
}

const struct store_migration *store_migration(const struct store *store)
{
    return store->migration.to ? &store->migration : NULL;
}

bool store_is_server(const struct store *store)
{
    return store->engine->is_server;
}

bool store_is_alone(const struct store *store)
{
    return store->alone;
}

bool store_is_dropped(const struct store *store)
{
    return store->dropped && atomic_load_explicit(store->dropped, memory_order_relaxed);
}

void store_drop_if(struct store *store, const atomic_bool *dropped)
{
    store->dropped = dropped;
    store->engine->heed(store);
}

struct store_size store_size(const struct store *store)
{
    return store->engine->size(store);
}

/* ---- settings ---- */

int store_setting_set(struct store *store, const char *key, const char *value, struct error *err)
{
    static const char SQL_SET[] = "INSERT INTO setting(key, value) VALUES(?1, ?2)"
                                  " ON CONFLICT(key) DO UPDATE SET value = excluded.value";
    static const char SQL_DELETE[] = "DELETE FROM setting WHERE key = ?1";
    return value ? db_run(store, SQL_SET, DB(DB_TEXT(key), DB_TEXT(value)), err)
                 : db_run(store, SQL_DELETE, DB(DB_TEXT(key)), err);
}

int store_setting_get(struct store *store, const char *key, char **ret, struct error *err)
{
    static const char SQL[] = "SELECT value FROM setting WHERE key = ?1";
    struct db_query q = db_query(store, SQL, DB(DB_TEXT(key)), err);
    *ret = db_next(&q) ? xstrdup(db_text(&q, 0)) : NULL;
    return db_end(&q, 0);
}

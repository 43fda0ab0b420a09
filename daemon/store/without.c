#include "store/without.h"
#include "base/text.h"
#include "store/db.h"
#include "store/store_inside.h"
#include <assert.h>
#include <stdlib.h>
#include <string.h>

/* A connection's temporary views come before the tables of the same name. %Q: what. */
static const char *const VIEWS[RECORD_KINDS] = {
    [RECORD_MIXES] = "CREATE TEMP VIEW mix AS SELECT * FROM main.mix WHERE 0",
    [RECORD_USES] = "CREATE TEMP VIEW material_use AS SELECT * FROM main.material_use"
                    " WHERE material <> %Q;"
                    "CREATE TEMP VIEW material_first AS SELECT * FROM main.material_first"
                    " WHERE material <> %Q",
    [RECORD_READINGS] = "CREATE TEMP VIEW reading AS SELECT * FROM main.reading WHERE quantity_id"
                        " NOT IN (SELECT id FROM main.quantity WHERE name = %Q)",
    [RECORD_DISPATCH] = "CREATE TEMP VIEW dispatch AS SELECT * FROM main.dispatch WHERE 0",
};

static int hide(struct store *store, const struct without *hidden, struct error *err)
{
    int rc = db_exec(store, "PRAGMA query_only=OFF", err);
    char *sql = sqlite3_mprintf(VIEWS[hidden->kind], hidden->what, hidden->what);
    if (!rc)
        rc = db_exec(store, sql, err);
    sqlite3_free(sql);
    return rc ? rc : db_exec(store, "PRAGMA query_only=ON", err);
}

int without_open(const struct store *store, const struct without *hidden, struct store **ret,
                 struct error *err)
{
    assert(VIEWS[hidden->kind]);
    struct store *opened;
    char *folder = xstrdup(store->path);
    *strrchr(folder, '/') = '\0'; /* a store's path is FOLDER/oddloaf.db */
    int rc = store_open(folder, STORE_READ, &opened, err);
    free(folder);
    if (rc)
        return rc;
    rc = hide(opened, hidden, err);
    if (rc)
        store_close(opened);
    else
        *ret = opened;
    return rc;
}

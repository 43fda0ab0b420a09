#include "store/without.h"
#include "base/text.h"
#include "store/db.h"
#include "store/store_inside.h"
#include <assert.h>

/* A connection's temporary views come before the tables of the same name. @: the schema of those,
 * #: what. */
static const char *const VIEWS[RECORD_KINDS] = {
    [RECORD_MIXES] = "CREATE TEMP VIEW mix AS SELECT * FROM @.mix WHERE false",
    [RECORD_USES] = "CREATE TEMP VIEW material_use AS SELECT * FROM @.material_use"
                    " WHERE material <> #;"
                    "CREATE TEMP VIEW material_first AS SELECT * FROM @.material_first"
                    " WHERE material <> #",
    [RECORD_READINGS] = "CREATE TEMP VIEW reading AS SELECT * FROM @.reading WHERE quantity_id"
                        " NOT IN (SELECT id FROM @.quantity WHERE name = #)",
    [RECORD_DISPATCH] = "CREATE TEMP VIEW dispatch AS SELECT * FROM @.dispatch WHERE false",
};

static void append_quoted(struct text_buffer *sql, const char *text)
{
    text_append(sql, "'");
    for (const char *at = text; *at; at++)
        text_append_bytes(sql, *at == '\'' ? "''" : at, *at == '\'' ? 2 : 1);
    text_append(sql, "'");
}

static void append_view(struct text_buffer *sql, const char *view, const char *tables,
                        const char *what)
{
    for (const char *at = view; *at; at++) {
        if (*at == '@')
            text_append(sql, tables);
        else if (*at == '#')
            append_quoted(sql, what);
        else
            text_append_bytes(sql, at, 1);
    }
}

static int hide(struct store *store, const struct without *hidden, struct error *err)
{
    struct text_buffer sql = {0};
    append_view(&sql, VIEWS[hidden->kind], store->engine->tables, hidden->what);
    int rc = store->engine->allow_writing(store, true, err);
    if (!rc)
        rc = db_exec(store, sql.data, err);
    text_buffer_free(&sql);
    return rc ? rc : store->engine->allow_writing(store, false, err);
}

int without_open(const struct store *store, const struct without *hidden, struct store **ret,
                 struct error *err)
{
    assert(VIEWS[hidden->kind]);
    struct store *opened;
    int rc = store_open(store->state_dir, STORE_READ, &opened, err);
    if (rc)
        return rc;
    rc = hide(opened, hidden, err);
    if (rc)
        store_close(opened);
    else
        *ret = opened;
    return rc;
}

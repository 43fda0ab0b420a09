#include "store/action.h"
#include "base/text.h"
#include "store/db.h"
#include <string.h>

int action_add(struct store *store, const struct action_row *action, int64_t *ret_id,
               struct error *err)
{
    static const char SQL[] =
        "INSERT INTO corrective_action(cause, line, place, symptom, at_ms, note, by_name, "
        "logged_ms)"
        " VALUES(nullif(?1,''), nullif(?2,''), nullif(?3,''), nullif(?4,''), ?5, ?6, ?7, ?8)";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_text(st, 1, action->cause);
    db_bind_text(st, 2, action->line);
    db_bind_text(st, 3, action->place);
    db_bind_text(st, 4, action->symptom);
    db_bind_ms(st, 5, action->at_ms);
    db_bind_text(st, 6, action->note);
    db_bind_text(st, 7, action->by_name);
    db_bind_ms(st, 8, action->logged_ms);
    int rc = db_run(store, st, err);
    if (!rc)
        *ret_id = sqlite3_last_insert_rowid(db_handle(store));
    return rc;
}

static void action_read(sqlite3_stmt *st, struct action_row *row)
{
    row->id = sqlite3_column_int64(st, 0);
    text_clip(db_text(st, 1), row->cause, sizeof row->cause);
    text_clip(db_text(st, 2), row->line, sizeof row->line);
    text_clip(db_text(st, 3), row->place, sizeof row->place);
    text_clip(db_text(st, 4), row->symptom, sizeof row->symptom);
    row->at_ms = db_ms(st, 5);
    text_clip(db_text(st, 6), row->note, sizeof row->note);
    text_clip(db_text(st, 7), row->by_name, sizeof row->by_name);
    row->logged_ms = db_ms(st, 8);
}

#define ACTION_COLUMNS                                                                             \
    "SELECT id, cause, line, place, symptom, at_ms, note, by_name, logged_ms FROM "                \
    "corrective_action "

int action_get(struct store *store, int64_t id, struct action_row *ret, struct error *err)
{
    static const char SQL[] = ACTION_COLUMNS "WHERE id = ?1";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, id);
    int rc = db_step(store, st, err);
    if (rc == 1)
        action_read(st, ret);
    db_reset(st);
    if (rc == 0)
        return error_set(err, ERROR_NOT_FOUND, "there is no action %lld", (long long)id);
    return rc < 0 ? rc : 0;
}

int action_list(struct store *store, action_each each, void *arg, struct error *err)
{
    static const char SQL[] = ACTION_COLUMNS "ORDER BY at_ms DESC, id DESC";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    int rc;
    while ((rc = db_step(store, st, err)) == 1) {
        struct action_row row;
        action_read(st, &row);
        rc = each(arg, &row);
        if (rc)
            break;
    }
    db_reset(st);
    return rc;
}

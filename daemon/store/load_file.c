#include "store/load_file.h"
#include "base/text.h"
#include "store/db.h"
#include <string.h>

static const char *const STATES[] = {"waiting", "done", "failed"};

int load_file_accept(struct store *store, const struct load_file *file, struct error *err)
{
    static const char SQL[] = "INSERT INTO load_file(id, kind, source, path, applied, new, changed,"
                              " same, state, accepted_ms)"
                              " VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_text(st, 1, file->id);
    db_bind_text(st, 2, record_table(file->kind)->kind);
    db_bind_text(st, 3, file->source);
    db_bind_text(st, 4, file->path);
    db_bind_int(st, 5, file->applied);
    db_bind_int(st, 6, file->new_rows);
    db_bind_int(st, 7, file->changed_rows);
    db_bind_int(st, 8, file->same_rows);
    db_bind_text(st, 9, STATES[file->state]);
    db_bind_ms(st, 10, file->accepted_ms);
    return db_run(store, st, err);
}

static int read_row(sqlite3_stmt *st, struct load_file *ret, struct error *err)
{
    struct load_file file = {.state = LOAD_FAILED};
    text_clip(db_text(st, 0), file.id, sizeof file.id);
    if (!record_kind_parse(db_text(st, 1), &file.kind))
        return error_set(err, ERROR_INTERNAL, "load %s has the unknown kind '%s'", file.id,
                         db_text(st, 1));
    text_clip(db_text(st, 2), file.source, sizeof file.source);
    text_clip(db_text(st, 3), file.path, sizeof file.path);
    file.applied = sqlite3_column_int64(st, 4);
    file.new_rows = sqlite3_column_int64(st, 5);
    file.changed_rows = sqlite3_column_int64(st, 6);
    file.same_rows = sqlite3_column_int64(st, 7);
    for (int state = LOAD_WAITING; state <= LOAD_FAILED; state++)
        if (strcmp(STATES[state], db_text(st, 8)) == 0)
            file.state = (enum load_state)state;
    file.accepted_ms = db_ms(st, 9);
    *ret = file;
    return 0;
}

#define COLUMNS "id, kind, source, path, applied, new, changed, same, state, accepted_ms"

int load_file_next(struct store *store, struct load_file *ret, bool *ret_found, struct error *err)
{
    static const char SQL[] = "SELECT " COLUMNS " FROM load_file WHERE state = 'waiting'"
                              " ORDER BY rowid LIMIT 1";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    int rc = db_step(store, st, err);
    if (rc >= 0)
        *ret_found = rc == 1;
    if (rc == 1)
        rc = read_row(st, ret, err);
    db_reset(st);
    return rc < 0 ? rc : 0;
}

int load_file_get(struct store *store, const char *id, struct load_file *ret, struct error *err)
{
    static const char SQL[] = "SELECT " COLUMNS " FROM load_file WHERE id = ?1";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_text(st, 1, id);
    int rc = db_step(store, st, err);
    if (rc == 1)
        rc = read_row(st, ret, err);
    else if (rc == 0)
        rc = error_set(err, ERROR_NOT_FOUND, "there is no load %s", id);
    db_reset(st);
    return rc < 0 ? rc : 0;
}

int load_file_progress(struct store *store, const struct load_file *file, struct error *err)
{
    static const char SQL[] = "UPDATE load_file SET applied = ?2, new = ?3, changed = ?4,"
                              " same = ?5, state = ?6 WHERE id = ?1";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_text(st, 1, file->id);
    db_bind_int(st, 2, file->applied);
    db_bind_int(st, 3, file->new_rows);
    db_bind_int(st, 4, file->changed_rows);
    db_bind_int(st, 5, file->same_rows);
    db_bind_text(st, 6, STATES[file->state]);
    return db_run(store, st, err);
}

#include "store/load_file.h"
#include "store/db.h"
#include <assert.h>
#include <string.h>

static const char *const STATES[] = {"waiting", "done", "failed"};

int load_file_accept(struct store *store, const struct load_file *file, struct error *err)
{
    assert(store_writing(store));
    static const char SQL[] = "INSERT INTO load_file(id, kind, source, path, applied, new, changed,"
                              " same, state, accepted_ms)"
                              " VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)";
    return db_run(store, SQL,
                  DB(DB_TEXT(file->id), DB_TEXT(record_kind_table(file->kind)->kind),
                     DB_TEXT(file->source), DB_TEXT(file->path), DB_INT(file->applied),
                     DB_INT(file->new_rows), DB_INT(file->changed_rows), DB_INT(file->same_rows),
                     DB_TEXT(STATES[file->state]), DB_MS(file->accepted_ms)),
                  err);
}

static int read_file(struct db_query *q, struct load_file *ret)
{
    struct load_file file = {.state = LOAD_FAILED};
    db_copy(q, 0, file.id, sizeof file.id);
    if (!record_kind_parse(db_text(q, 1), &file.kind))
        return error_set(q->err, ERROR_INTERNAL, "load %s has the unknown kind '%s'", file.id,
                         db_text(q, 1));
    db_copy(q, 2, file.source, sizeof file.source);
    db_copy(q, 3, file.path, sizeof file.path);
    file.applied = db_int64(q, 4);
    file.new_rows = db_int64(q, 5);
    file.changed_rows = db_int64(q, 6);
    file.same_rows = db_int64(q, 7);
    for (int state = LOAD_WAITING; state <= LOAD_FAILED; state++)
        if (strcmp(STATES[state], db_text(q, 8)) == 0)
            file.state = (enum load_state)state;
    file.accepted_ms = db_ms(q, 9);
    file.new_records = db_int64(q, 10);
    *ret = file;
    return 0;
}

#define COLUMNS "id, kind, source, path, applied, new, changed, same, state, accepted_ms, records"

int load_file_next(struct store *store, struct load_file *ret, bool *ret_found, struct error *err)
{
    static const char SQL[] = "SELECT " COLUMNS " FROM load_file WHERE state = 'waiting'"
                              " ORDER BY rowid LIMIT 1";
    struct db_query q = db_query(store, SQL, NULL, err);
    int rc = db_next(&q) ? read_file(&q, ret) : 0;
    *ret_found = q.rows > 0;
    return db_end(&q, rc);
}

int load_file_get(struct store *store, const char *id, struct load_file *ret, struct error *err)
{
    static const char SQL[] = "SELECT " COLUMNS " FROM load_file WHERE id = ?1";
    struct db_query q = db_query(store, SQL, DB(DB_TEXT(id)), err);
    int rc = db_next(&q) ? read_file(&q, ret) : 0;
    int found = db_found(&q, "there is no load %s", id);
    return found ? found : rc;
}

int load_file_failed(struct store *store, struct load_file *ret, int64_t *ret_count,
                     struct error *err)
{
    static const char SQL[] =
        "SELECT " COLUMNS " FROM load_file f WHERE state = 'failed' AND NOT EXISTS (SELECT 1 FROM"
        " load_file d WHERE d.kind = f.kind AND d.source = f.source AND d.state = 'done'"
        " AND d.accepted_ms > f.accepted_ms) ORDER BY accepted_ms DESC, id";
    struct db_query q = db_query(store, SQL, NULL, err);
    int rc = db_next(&q) ? read_file(&q, ret) : 0;
    while (!rc && db_next(&q))
        continue;
    *ret_count = q.rows;
    return db_end(&q, rc);
}

int load_file_progress(struct store *store, const struct load_file *file, struct error *err)
{
    assert(file->applied >= 0 && file->state >= LOAD_WAITING && file->state <= LOAD_FAILED);
    assert(store_writing(store));
    static const char SQL[] = "UPDATE load_file SET applied = ?2, new = ?3, changed = ?4,"
                              " same = ?5, state = ?6, records = ?7 WHERE id = ?1";
    return db_run(store, SQL,
                  DB(DB_TEXT(file->id), DB_INT(file->applied), DB_INT(file->new_rows),
                     DB_INT(file->changed_rows), DB_INT(file->same_rows),
                     DB_TEXT(STATES[file->state]), DB_INT(file->new_records)),
                  err);
}

#include "store/outbox.h"
#include "base/text.h"
#include "store/db.h"
#include <stdlib.h>
#include <string.h>

void outbox_row_free(struct outbox_row *row)
{
    free(row->payload);
    row->payload = NULL;
}

int outbox_add(struct store *store, const char *event, int64_t case_id, int revision,
               const char *message_id, const char *payload, int64_t now_ms, struct error *err)
{
    static const char SQL[] =
        "INSERT INTO outbox(event, case_id, revision, message_id, payload, created_ms, due_ms)"
        " VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?6) ON CONFLICT(message_id) DO NOTHING";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_text(st, 1, event);
    db_bind_id(st, 2, case_id);
    db_bind_int(st, 3, revision);
    db_bind_text(st, 4, message_id);
    db_bind_text(st, 5, payload);
    db_bind_ms(st, 6, now_ms);
    return db_run(store, st, err);
}

int outbox_due(struct store *store, int64_t now_ms, struct outbox_row *rows, int limit,
               int *ret_count, struct error *err)
{
    static const char SQL[] =
        "SELECT id, case_id, created_ms, due_ms, revision, attempts, event, message_id, payload"
        " FROM outbox WHERE state = 'waiting' AND due_ms <= ?1"
        " ORDER BY event = 'urgent' DESC, due_ms LIMIT ?2";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_ms(st, 1, now_ms);
    db_bind_int(st, 2, limit);
    int rc, count = 0;
    while ((rc = db_step(store, st, err)) == 1) {
        struct outbox_row *row = &rows[count++];
        *row = (struct outbox_row){.id = sqlite3_column_int64(st, 0),
                                   .case_id = sqlite3_column_int64(st, 1),
                                   .created_ms = db_ms(st, 2),
                                   .due_ms = db_ms(st, 3),
                                   .revision = sqlite3_column_int(st, 4),
                                   .attempts = sqlite3_column_int(st, 5),
                                   .payload = xstrdup(db_text(st, 8))};
        text_clip(db_text(st, 6), row->event, sizeof row->event);
        text_clip(db_text(st, 7), row->message_id, sizeof row->message_id);
    }
    db_reset(st);
    *ret_count = count;
    return rc;
}

int outbox_sent(struct store *store, int64_t id, int64_t now_ms, struct error *err)
{
    static const char SQL[] = "UPDATE outbox SET state = 'sent', sent_ms = ?2, last_error = NULL"
                              " WHERE id = ?1";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, id);
    db_bind_ms(st, 2, now_ms);
    return db_run(store, st, err);
}

int outbox_failed(struct store *store, int64_t id, int64_t due_ms, bool park, const char *why,
                  struct error *err)
{
    static const char SQL[] = "UPDATE outbox SET attempts = attempts + 1, due_ms = ?2,"
                              " state = CASE WHEN ?3 THEN 'parked' ELSE 'waiting' END,"
                              " last_error = ?4 WHERE id = ?1";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, id);
    db_bind_ms(st, 2, due_ms);
    db_bind_int(st, 3, park);
    db_bind_text(st, 4, why);
    return db_run(store, st, err);
}

int outbox_unpark(struct store *store, int64_t now_ms, int *ret_count, struct error *err)
{
    static const char SQL[] = "UPDATE outbox SET state = 'waiting', due_ms = ?1, created_ms = ?1"
                              " WHERE state = 'parked'";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_ms(st, 1, now_ms);
    int rc = db_run(store, st, err);
    if (!rc)
        *ret_count = sqlite3_changes(db_handle(store));
    return rc;
}

int outbox_count(struct store *store, struct outbox_counts *ret, struct error *err)
{
    static const char SQL[] =
        "SELECT count(*) FILTER (WHERE state = 'waiting'), count(*) FILTER (WHERE state = "
        "'parked'),"
        " count(*) FILTER (WHERE state = 'sent'), (SELECT last_error FROM outbox WHERE last_error"
        " IS NOT NULL AND state <> 'sent' ORDER BY due_ms DESC LIMIT 1) FROM outbox";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    int rc = db_step(store, st, err);
    if (rc == 1) {
        ret->waiting = sqlite3_column_int64(st, 0);
        ret->parked = sqlite3_column_int64(st, 1);
        ret->sent = sqlite3_column_int64(st, 2);
        text_clip(db_text(st, 3), ret->last_error, sizeof ret->last_error);
    }
    db_reset(st);
    return rc < 0 ? rc : 0;
}

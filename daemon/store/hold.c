#include "store/hold.h"
#include "base/text.h"
#include "store/db.h"
#include <string.h>

int hold_add(struct store *store, int64_t lot_id, const char *what, const char *disposition,
             const char *reason, const char *by_name, int64_t now_ms, struct error *err)
{
    static const char SQL[] = "INSERT INTO hold(lot_id, what, disposition, reason, by_name, at_ms)"
                              " VALUES(?1, ?2, ?3, ?4, ?5, ?6)";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, lot_id);
    db_bind_text(st, 2, what);
    db_bind_text(st, 3, disposition);
    db_bind_text(st, 4, reason);
    db_bind_text(st, 5, by_name);
    db_bind_ms(st, 6, now_ms);
    return db_run(store, st, err);
}

int hold_of_lot(struct store *store, int64_t lot_id, struct hold_row *ret, struct error *err)
{
    static const char SQL[] = "SELECT what, disposition, reason, by_name, at_ms FROM hold"
                              " WHERE lot_id = ?1 ORDER BY at_ms DESC, id DESC LIMIT 1";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, lot_id);
    int rc = db_step(store, st, err);
    if (rc == 1) {
        text_clip(db_text(st, 0), ret->what, sizeof ret->what);
        text_clip(db_text(st, 1), ret->disposition, sizeof ret->disposition);
        text_clip(db_text(st, 2), ret->reason, sizeof ret->reason);
        text_clip(db_text(st, 3), ret->by_name, sizeof ret->by_name);
        ret->at_ms = db_ms(st, 4);
    }
    db_reset(st);
    if (rc == 0)
        return ERROR_NOT_FOUND;
    return rc < 0 ? rc : 0;
}

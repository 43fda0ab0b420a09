#include "store/change.h"
#include "store/db.h"
#include <string.h>

int change_add(struct store *store, const struct change_row *change, const char *field,
               const char *was, const char *now, struct error *err)
{
    static const char SQL[] = "INSERT INTO complaint_change(complaint, at_ms, by_name, reason,"
                              " field, was, now) VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7)";
    if (strcmp(was, now) == 0)
        return 0;
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_text(st, 1, change->complaint);
    db_bind_ms(st, 2, change->at_ms);
    db_bind_text(st, 3, change->by);
    db_bind_text(st, 4, change->reason);
    db_bind_text(st, 5, field);
    db_bind_text(st, 6, was);
    db_bind_text(st, 7, now);
    return db_run(store, st, err);
}

int change_of(struct store *store, const char *complaint, change_each each, void *arg,
              struct error *err)
{
    static const char SQL[] = "SELECT complaint, at_ms, by_name, reason, field, was, now"
                              " FROM complaint_change WHERE complaint = ?1 ORDER BY id";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_text(st, 1, complaint);
    int rc;
    while ((rc = db_step(store, st, err)) == 1) {
        const struct change_row row = {.complaint = db_text(st, 0),
                                       .at_ms = db_ms(st, 1),
                                       .by = db_text(st, 2),
                                       .reason = db_text(st, 3),
                                       .field = db_text(st, 4),
                                       .was = db_text(st, 5),
                                       .now = db_text(st, 6)};
        rc = each(arg, &row);
        if (rc)
            break;
    }
    db_reset(st);
    return rc;
}

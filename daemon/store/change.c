#include "store/change.h"
#include "store/db.h"
#include <assert.h>
#include <string.h>

int change_add(struct store *store, const struct change_row *change, const char *field,
               const char *was, const char *now, struct error *err)
{
    assert(store_writing(store));
    static const char SQL[] = "INSERT INTO complaint_change(complaint, at_ms, by_name, reason,"
                              " field, was, now) VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7)";
    if (strcmp(was, now) == 0)
        return 0;
    return db_run(store, SQL,
                  DB(DB_TEXT(change->complaint), DB_MS(change->at_ms), DB_TEXT(change->by),
                     DB_TEXT(change->reason), DB_TEXT(field), DB_TEXT(was), DB_TEXT(now)),
                  err);
}

int change_newest(struct store *store, int64_t *ret, struct error *err)
{
    static const char SQL[] = "SELECT max(id) FROM complaint_change";
    return db_number(store, SQL, NULL, ret, err);
}

int change_rewrite(struct store *store, const struct change_row *change, struct error *err)
{
    assert(store_writing(store));
    static const char SQL[] =
        "UPDATE complaint_change SET reason = ?2, was = ?3, now = ?4 WHERE id = ?1";
    return db_run(
        store, SQL,
        DB(DB_INT(change->id), DB_TEXT(change->reason), DB_TEXT(change->was), DB_TEXT(change->now)),
        err);
}

int change_of(struct store *store, const char *complaint, change_each each, void *arg,
              struct error *err)
{
    static const char SQL[] = "SELECT complaint, at_ms, by_name, reason, field, was, now, id"
                              " FROM complaint_change WHERE complaint = ?1 ORDER BY id";
    struct db_query q = db_query(store, SQL, DB(DB_TEXT(complaint)), err);
    int rc = 0;
    db_keep(&q); /* callbacks write what they read */
    while (!rc && db_next(&q)) {
        const struct change_row row = {.complaint = db_text(&q, 0),
                                       .at_ms = db_ms(&q, 1),
                                       .by = db_text(&q, 2),
                                       .reason = db_text(&q, 3),
                                       .field = db_text(&q, 4),
                                       .was = db_text(&q, 5),
                                       .now = db_text(&q, 6),
                                       .id = db_int64(&q, 7)};
        rc = each(arg, &row);
    }
    return db_end(&q, rc);
}

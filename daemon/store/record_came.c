#include "store/record_came.h"
#include "store/db.h"
#include <assert.h>

int record_came_note(struct store *store, int64_t lot_id, enum record_kind kind, int64_t now_ms,
                     struct error *err)
{
    assert(store_writing(store));
    return db_run(
        store,
        "INSERT INTO record_came(lot_id, kind, came_ms) SELECT ?1, ?2, ?3 WHERE NOT EXISTS"
        " (SELECT 1 FROM record_came WHERE lot_id = ?1 AND kind = ?2)",
        DB(DB_INT(lot_id), DB_TEXT(record_kind_table(kind)->kind), DB_MS(now_ms)), err);
}

int record_came_list(struct store *store, struct when_span packed, record_came_each each, void *arg,
                     struct error *err)
{
    static const char SQL[] =
        "SELECT l.plant, l.line, r.kind, l.packed_to_ms, r.came_ms, (SELECT min(c.logged_ms) FROM "
        "complaint"
        " c WHERE c.lot_id = l.id) FROM lot l JOIN record_came r ON r.lot_id = l.id WHERE"
        " l.packed_from_ms >= ?1 AND l.packed_from_ms < ?2 AND r.came_ms IS NOT NULL"
        " ORDER BY 1, 2, 3, 4";
    struct db_query q = db_query(store, SQL, DB(DB_INT(packed.from_ms), DB_INT(packed.to_ms)), err);
    int rc = 0;
    while (!rc && db_next(&q)) {
        const struct record_came one = {db_text(&q, 0), db_text(&q, 1), db_text(&q, 2),
                                        db_ms(&q, 3),   db_ms(&q, 4),   db_ms(&q, 5)};
        rc = each(arg, &one);
    }
    return db_end(&q, rc);
}

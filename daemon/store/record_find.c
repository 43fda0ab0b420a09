#include "store/record_find.h"
#include "base/text.h"
#include "store/db.h"
#include <assert.h>

int record_find_lot(struct store *store, const char *lot, int64_t *ret_id, int64_t *ret_packed_ms,
                    struct error *err)
{
    static const char SQL_LOT[] = "SELECT id, packed_to_ms FROM lot WHERE lot = ?1";
    struct db_query q = db_query(store, SQL_LOT, DB(DB_TEXT(lot)), err);
    bool found = db_next(&q);
    *ret_id = found ? db_int64(&q, 0) : 0;
    *ret_packed_ms = found ? db_int64(&q, 1) : WHEN_UNKNOWN_MS;
    return db_end(&q, 0);
}

int record_find_plant(struct store *store, const char *lot, char *ret_plant, size_t size,
                      struct error *err)
{
    static const char SQL_PLANT[] = "SELECT plant FROM lot WHERE lot = ?1";
    struct db_query q = db_query(store, SQL_PLANT, DB(DB_TEXT(lot)), err);
    text_clip(db_next(&q) ? db_text(&q, 0) : "", ret_plant, size);
    return db_end(&q, 0);
}

int record_find_product(struct store *store, const char *product, int64_t *ret_id,
                        struct error *err)
{
    static const char SQL_PRODUCT[] = "SELECT id FROM product WHERE product = ?1";
    return db_number(store, SQL_PRODUCT, DB(DB_TEXT(product)), ret_id, err);
}

#define CASES_OF_LOT(columns)                                                                      \
    " SELECT " columns " FROM complaint_case WHERE lot_id = ?1 AND state = 'open'"                 \
    " UNION SELECT " columns " FROM complaint_case WHERE state = 'open' AND id IN"                 \
    " (SELECT c.case_id FROM complaint_lot l JOIN complaint c ON c.id = l.complaint_id"            \
    " WHERE l.lot_id = ?1 AND c.lot_id IS NULL AND c.withdrawn_ms IS NULL)"

int record_find_cases(struct store *store, int64_t lot_id, record_find_case each, void *arg,
                      struct error *err)
{
    static const char SQL[] =
        CASES_OF_LOT("id, CASE WHEN lot_id = ?1 THEN 0 ELSE 1 END AS other") " ORDER BY other, id";
    struct db_query q = db_query(store, SQL, DB(DB_INT(lot_id)), err);
    int rc = 0;
    db_keep(&q);
    while (!rc && db_next(&q))
        rc = each(arg, db_int64(&q, 0), db_int(&q, 1) == 0);
    return db_end(&q, rc);
}

int record_find_touch_lot(struct store *store, int64_t lot_id, int64_t due_ms, struct error *err)
{
    assert(store_writing(store));
    static const char SQL_TOUCH[] = "INSERT INTO work(kind, subject_id, due_ms)" CASES_OF_LOT(
        "'rank', id, ?2") " ON CONFLICT(kind, subject_id) DO UPDATE SET seq = work.seq + 1,"
                          " due_ms = excluded.due_ms";
    return db_run(store, SQL_TOUCH, DB(DB_ID(lot_id), DB_MS(due_ms)), err);
}

int record_find_replaced(struct store *store, enum record_kind kind, const char *key,
                         record_replaced_each each, void *arg, struct error *err)
{
    static const char SQL_LIST[] = "SELECT replaced_ms, was, source FROM replaced_row"
                                   " WHERE kind = ?1 AND substr(row_key, 1, length(?2)) = ?2"
                                   " ORDER BY id";
    struct db_query q =
        db_query(store, SQL_LIST, DB(DB_TEXT(record_kind_table(kind)->kind), DB_TEXT(key)), err);
    int rc = 0;
    while (!rc && db_next(&q))
        rc = each(arg, &(struct record_replaced){db_int64(&q, 0), db_text(&q, 1), db_text(&q, 2)});
    return db_end(&q, rc);
}

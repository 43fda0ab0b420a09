#include "store/lot_around.h"
#include "store/db.h"

#define BESIDE                                                                                     \
    "SELECT n.id, n.packed_from_ms, n.packed_to_ms, (SELECT coalesce(sum(k.complaints), 0) FROM"   \
    " complaint_case k WHERE k.lot_id = n.id), n.lot, p.product FROM lot l JOIN lot n"             \
    " ON n.line = l.line AND n.plant = l.plant JOIN product p ON p.id = n.product_id"              \
    " WHERE l.id = ?1 AND (n.packed_from_ms, n.id) "

struct asking {
    struct store *store;
    const struct db_value *with;
    lot_around_each each;
    void *arg;
    struct error *err;
};

static int each_beside(const struct asking *a, const char *sql, bool before)
{
    struct db_query q = db_query(a->store, sql, a->with, a->err);
    int rc = 0;
    db_keep(&q); /* callbacks ask for holds */
    while (!rc && db_next(&q)) {
        const struct lot_around_row row = {.lot_id = db_int64(&q, 0),
                                           .packed_from_ms = db_ms(&q, 1),
                                           .packed_to_ms = db_ms(&q, 2),
                                           .complaints = db_int(&q, 3),
                                           .lot = db_text(&q, 4),
                                           .product = db_text(&q, 5),
                                           .before = before};
        rc = a->each(a->arg, &row);
    }
    return db_end(&q, rc);
}

int lot_around_line(struct store *store, int64_t lot_id, int most, lot_around_each each, void *arg,
                    struct error *err)
{
    static const char SQL_BEFORE[] =
        "SELECT * FROM (" BESIDE "< (l.packed_from_ms, l.id) ORDER BY n.packed_from_ms DESC, n.id"
        " DESC LIMIT ?2) b ORDER BY 2, 1";
    static const char SQL_AFTER[] =
        BESIDE "> (l.packed_from_ms, l.id) ORDER BY n.packed_from_ms, n.id LIMIT ?2";
    const struct asking asking = {store, DB(DB_INT(lot_id), DB_INT(most)), each, arg, err};
    int rc = each_beside(&asking, SQL_BEFORE, true);
    return rc ? rc : each_beside(&asking, SQL_AFTER, false);
}

int lot_around_samples(struct store *store, int64_t lot_id, const char *quantity,
                       lot_around_sample_each each, void *arg, struct error *err)
{
    static const char SQL[] = "SELECT q.name, coalesce(r.note, ''), r.value, r.at_ms FROM reading r"
                              " JOIN quantity q ON q.id = r.quantity_id WHERE r.lot_id = ?1"
                              " AND q.name = ?2 ORDER BY r.at_ms, r.mix, r.point LIMIT 100";
    struct db_query q = db_query(store, SQL, DB(DB_INT(lot_id), DB_TEXT(quantity)), err);
    int rc = 0;
    while (!rc && db_next(&q)) {
        const struct lot_around_sample row = {.quantity = db_text(&q, 0),
                                              .note = db_text(&q, 1),
                                              .value = db_real(&q, 2),
                                              .at_ms = db_ms(&q, 3)};
        rc = each(arg, &row);
    }
    return db_end(&q, rc);
}

int lot_around_may_be(struct store *store, int64_t lot_id, int64_t *ret_count, struct error *err)
{
    static const char SQL[] =
        "SELECT count(*) FROM complaint_lot w JOIN complaint c ON c.id = w.complaint_id"
        " WHERE w.lot_id = ?1 AND c.lot_id IS NULL AND c.withdrawn_ms IS NULL";
    return db_number(store, SQL, DB(DB_INT(lot_id)), ret_count, err);
}

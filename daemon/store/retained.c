#include "store/retained.h"
#include "store/db.h"

/* Lots first: readings and results are kept by lot, so each costs one look. */
#define NONE_YET "coalesce(lower(r.note) LIKE '%none yet%', false)"
#define SAMPLES(from, but)                                                                         \
    "SELECT l.id, r.value, " NONE_YET " AS none_yet,"                                              \
    " EXISTS(SELECT 1 FROM complaint c WHERE c.lot_id = l.id AND c.withdrawn_ms IS NULL)"          \
    " OR EXISTS(SELECT 1 FROM complaint_lot w JOIN complaint c ON c.id = w.complaint_id"           \
    " AND c.withdrawn_ms IS NULL WHERE w.lot_id = l.id AND w.weight >= 0.5)"                       \
    " OR EXISTS(SELECT 1 FROM complaint_case k JOIN verdict v ON v.case_id = k.id"                 \
    " AND v.reopened_ms IS NULL WHERE k.lot_id = l.id) AS blamed"                                  \
    " FROM lot l CROSS JOIN " from " WHERE l.packed_from_ms >= ?2 AND l.packed_from_ms < ?3" but   \
    " ORDER BY l.packed_from_ms DESC, l.fold DESC, l.id DESC, r.at_ms"

/* What the records have, and what was entered by hand, where a later look took the place of one
 * before. */
static const char SQL_READINGS[] =
    SAMPLES("reading r ON r.lot_id = l.id"
            " AND r.quantity_id = (SELECT id FROM quantity WHERE name = ?1)",
            " AND NOT (" NONE_YET " AND EXISTS("
            "SELECT 1 FROM reading o WHERE o.lot_id = r.lot_id AND o.quantity_id = r.quantity_id"
            " AND o.mix = r.mix AND o.point = r.point AND o.at_ms > r.at_ms))");
static const char SQL_RESULTS[] = SAMPLES("measured r ON r.lot_id = l.id AND r.quantity = ?1"
                                          " AND r.ended_ms IS NULL AND r.value IS NOT NULL",
                                          "");

struct giving {
    const struct retained_scope *scope;
    retained_each each;
    void *arg;
    int given, blamed;
};

static int give(struct store *store, const char *sql, struct giving *g, struct error *err)
{
    const struct retained_scope *scope = g->scope;
    struct db_query q = db_query(
        store, sql,
        DB(DB_TEXT(scope->quantity), DB_INT(scope->packed.from_ms), DB_INT(scope->packed.to_ms)),
        err);
    int rc = 0;
    while (!rc && g->given < scope->limit && db_next(&q)) {
        if (db_int(&q, 3)) {
            g->blamed++;
            continue;
        }
        g->given++;
        rc = g->each(
            g->arg, &(struct retained_sample){db_int64(&q, 0), db_real(&q, 1), db_int(&q, 2) != 0});
    }
    return db_end(&q, rc);
}

int retained_samples(struct store *store, const struct retained_scope *scope, retained_each each,
                     void *arg, int *ret_blamed, struct error *err)
{
    struct giving g = {scope, each, arg, 0, 0};
    int rc = give(store, SQL_READINGS, &g, err);
    if (!rc)
        rc = give(store, SQL_RESULTS, &g, err);
    *ret_blamed = g.blamed;
    return rc;
}

int retained_newest(struct store *store, int64_t *ret_ms, struct error *err)
{
    static const char SQL[] = "SELECT max(packed_from_ms) FROM lot";
    struct db_query q = db_query(store, SQL, NULL, err);
    if (db_next(&q))
        *ret_ms = db_ms(&q, 0);
    return db_end(&q, 0);
}

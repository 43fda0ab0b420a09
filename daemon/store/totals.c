#include "store/totals.h"
#include "store/db.h"

/* Without a scan: row ids of lots are given in order and rows never deleted, the highest is the
 * count; readings are never deleted either, and each load has counted its new ones; complaints are
 * counted by week already (a joined one is a row no more). */
int totals_get(struct store *store, struct totals *ret, struct error *err)
{
    static const char SQL[] =
        "SELECT (SELECT count(*) FROM product), (SELECT max(id) FROM lot),"
        " (SELECT sum(records) FROM load_file WHERE kind = 'readings'),"
        " (SELECT sum(n) FROM pattern_made WHERE series_id IN (SELECT id FROM"
        " pattern_series WHERE factor = '' AND level = '' AND symptom <> '')),"
        " (SELECT count(*) FROM complaint_case WHERE state = 'open'),"
        " (SELECT count(*) FROM complaint_case WHERE state = 'settled')";
    struct db_query q = db_query(store, SQL, NULL, err);
    if (db_next(&q))
        *ret = (struct totals){
            .products = db_int64(&q, 0),
            .lots = db_int64(&q, 1),
            .readings = db_int64(&q, 2),
            .complaints = db_int64(&q, 3),
            .cases_open = db_int64(&q, 4),
            .cases_settled = db_int64(&q, 5),
        };
    return db_end(&q, 0);
}

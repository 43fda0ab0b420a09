#include "store/totals.h"
#include "store/db.h"

/* Without a scan: row ids of lots are given in order and rows never deleted, the highest is the
 * count; complaints are counted by week already (a joined one is a row no more). */
int store_totals(struct store *store, struct store_totals *ret, struct error *err)
{
    static const char SQL[] =
        "SELECT (SELECT count(*) FROM product), (SELECT coalesce(max(id), 0) FROM lot),"
        " (SELECT coalesce(sum(new), 0) FROM load_file WHERE kind = 'readings'),"
        " (SELECT coalesce(sum(n), 0) FROM pattern_made WHERE series_id IN (SELECT id FROM"
        " pattern_series WHERE factor = '' AND level = '' AND symptom <> '')),"
        " (SELECT count(*) FROM complaint_case WHERE state = 'open'),"
        " (SELECT count(*) FROM complaint_case WHERE state = 'settled')";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    int rc = db_step(store, st, err);
    if (rc == 1) {
        *ret = (struct store_totals){
            .products = sqlite3_column_int64(st, 0),
            .lots = sqlite3_column_int64(st, 1),
            .readings = sqlite3_column_int64(st, 2),
            .complaints = sqlite3_column_int64(st, 3),
            .cases_open = sqlite3_column_int64(st, 4),
            .cases_settled = sqlite3_column_int64(st, 5),
        };
    }
    db_reset(st);
    return rc < 0 ? rc : 0;
}

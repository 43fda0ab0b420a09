#include "store/open_harm.h"
#include "store/db.h"
#include "store/lot_find.h"
#include <string.h>

#define ROWS                                                                                       \
    "SELECT c.case_id, c.lot_id, c.received_ms, c.harm, k.symptom, c.uuid, c.body, c.lot_text"     \
    " FROM complaint c JOIN complaint_case k ON k.id = c.case_id LEFT JOIN case_follow f"          \
    " ON f.case_id = k.id WHERE c.withdrawn_ms IS NULL AND (k.state = 'open' OR k.harm_unseen = "  \
    "1)"                                                                                           \
    " AND (c.harm <> 0 OR (f.may_harm = 1 AND k.harm = 0)) AND "
#define NEWEST_FIRST " ORDER BY c.received_ms DESC, c.id DESC"

/* `fold`: only complaints that name this code; NULL: all. */
static int each_row(struct db_query *q, const char *fold, open_harm_each each, void *arg)
{
    int rc = 0;
    char own[LOT_FIND_CODE];
    db_keep(q);
    while (!rc && db_next(q)) {
        const struct open_harm_row row = {.case_id = db_int64(q, 0),
                                          .lot_id = db_int64(q, 1),
                                          .received_ms = db_ms(q, 2),
                                          .possible = !db_int(q, 3),
                                          .symptom = db_text(q, 4),
                                          .uuid = db_text(q, 5),
                                          .body = db_text(q, 6)};
        if (!fold || strcmp(lot_find_fold(db_text(q, 7), own, sizeof own), fold) == 0)
            rc = each(arg, &row);
    }
    return db_end(q, rc);
}

static int of_code(struct store *store, const char *code, open_harm_each each, void *arg,
                   struct error *err)
{
    static const char SQL[] = ROWS "c.lot_id IS NULL AND c.lot_text IS NOT NULL" NEWEST_FIRST;
    char fold[LOT_FIND_CODE];
    struct db_query q = db_query(store, SQL, NULL, err);
    return each_row(&q, lot_find_fold(code, fold, sizeof fold), each, arg);
}

int open_harm_of_lot(struct store *store, const struct hold_of *of, open_harm_each each, void *arg,
                     struct error *err)
{
    /* a candidate that is less likely than this is named nowhere else either */
    static const double LEAST_WEIGHT = 0.05;
    static const char SQL[] =
        ROWS "(c.lot_id = ?1 OR (c.lot_id IS NULL AND c.id IN (SELECT complaint_id FROM"
             " complaint_lot WHERE lot_id = ?1 AND weight >= ?2)))" NEWEST_FIRST;
    if (!of->lot_id)
        return of_code(store, of->code, each, arg, err);
    struct db_query q = db_query(store, SQL, DB(DB_INT(of->lot_id), DB_REAL(LEAST_WEIGHT)), err);
    return each_row(&q, NULL, each, arg);
}

int open_harm_of_case(struct store *store, int64_t case_id, open_harm_each each, void *arg,
                      struct error *err)
{
    static const char SQL[] = ROWS "c.case_id = ?1" NEWEST_FIRST;
    struct db_query q = db_query(store, SQL, DB(DB_INT(case_id)), err);
    return each_row(&q, NULL, each, arg);
}

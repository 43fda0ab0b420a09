#include "store/open_harm.h"
#include "store/case_inside.h"
#include "store/db.h"
#include "store/lot_find.h"
#include "store/seen_inside.h"
#include <string.h>

#define ROWS                                                                                       \
    "SELECT c.case_id, c.lot_id, c.received_ms, c.harm, k.symptom, c.uuid, c.body, c.lot_text"     \
    " FROM complaint c JOIN complaint_case k ON k.id = c.case_id LEFT JOIN case_follow f"          \
    " ON f.case_id = k.id WHERE c.withdrawn_ms IS NULL AND (k.state = 'open' OR k.harm_unseen = "  \
    "1)"                                                                                           \
    " AND (c.harm <> 0 OR (k.harm = 0 AND (f.may_harm = 1 OR " CASE_COMPLAINT_MAY_HARM(            \
        "c") "))) AND "
#define NEWEST_FIRST " ORDER BY c.received_ms DESC, c.id DESC"

/* Cases that a lot, or a code, was held for: it is guarded by their harm, though no complaint of
 * theirs may be about it. */
#define HELD_FOR                                                                                   \
    "c.case_id IN (SELECT coalesce(m.moved_to, h.case_id) FROM hold h JOIN complaint_case m ON"    \
    " m.id = h.case_id WHERE "

/* `fold`: only complaints that name this code, or, where not `naming`, only the others; NULL: all.
 */
static int each_row(struct db_query *q, const char *fold, bool naming, open_harm_each each,
                    void *arg)
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
        const char *text = db_text(q, 7);
        bool named =
            fold && !row.lot_id && text && strcmp(lot_find_fold(text, own, sizeof own), fold) == 0;
        if (!fold || named == naming)
            rc = each(arg, &row);
    }
    return db_end(q, rc);
}

static int of_code(struct store *store, const char *code, open_harm_each each, void *arg,
                   struct error *err)
{
    static const char SQL[] = ROWS "c.lot_id IS NULL AND c.lot_text IS NOT NULL" NEWEST_FIRST;
    static const char SQL_HELD[] = ROWS HELD_FOR "h.lot_id IS NULL AND h.fold = ?1)" NEWEST_FIRST;
    char fold[LOT_FIND_CODE];
    lot_find_fold(code, fold, sizeof fold);
    struct db_query q = db_query(store, SQL, NULL, err);
    int rc = each_row(&q, fold, true, each, arg);
    if (rc)
        return rc;
    q = db_query(store, SQL_HELD, DB(DB_TEXT(fold)), err);
    return each_row(&q, fold, false, each, arg);
}

int open_harm_of_lot(struct store *store, const struct hold_of *of, open_harm_each each, void *arg,
                     struct error *err)
{
    static const char SQL[] =
        ROWS "(c.lot_id = ?1 OR (c.lot_id IS NULL AND c.id IN (SELECT complaint_id FROM"
             " complaint_lot WHERE lot_id = ?1)) OR " HELD_FOR "h.lot_id = ?1))" NEWEST_FIRST;
    if (!of->lot_id)
        return of_code(store, of->code, each, arg, err);
    struct db_query q = db_query(store, SQL, DB(DB_INT(of->lot_id)), err);
    return each_row(&q, NULL, true, each, arg);
}

int open_harm_of_case(struct store *store, int64_t case_id, open_harm_each each, void *arg,
                      struct error *err)
{
    static const char SQL[] = ROWS "c.case_id = ?1" NEWEST_FIRST;
    struct db_query q = db_query(store, SQL, DB(DB_INT(case_id)), err);
    return each_row(&q, NULL, true, each, arg);
}

#define OPEN(list)                                                                                 \
    "(k.state = 'open' OR k.harm_unseen = 1) AND k.complaints > 0 AND " SEEN_IN(list, "k.plant")

/* What waits to be weighed is read as its complaints say now, all else as it was weighed last.
 * CROSS JOIN: in this order, of many open cases the few that it is about. */
int open_harm_count(struct store *store, struct open_harm_counts *ret, struct error *err)
{
    static const char SQL[] =
        "SELECT (SELECT count(*) FROM complaint_case k LEFT JOIN case_follow f ON f.case_id = k.id"
        " WHERE k.harm > 0 AND coalesce(f.owner, '') = '' AND " OPEN(
            "?1") "),"
                  " (SELECT count(*) FROM case_follow f CROSS JOIN complaint_case k WHERE "
                  "f.may_harm = 1"
                  " AND k.id = f.case_id AND k.harm = 0 AND " OPEN(
                      "?1") " AND NOT EXISTS(SELECT 1 FROM work w"
                            " WHERE w.kind IN ('rank', 'bulk') AND w.subject_id = k.id)),"
                            " (SELECT count(*) FROM (SELECT a.subject_id AS id FROM work a WHERE "
                            "a.kind IN ('rank', 'bulk')"
                            " UNION SELECT b.subject_id FROM work b WHERE b.kind = 'again' AND NOT "
                            "EXISTS(SELECT 1"
                            " FROM case_follow f WHERE f.case_id = b.subject_id)) w CROSS JOIN "
                            "complaint_case k"
                            " WHERE k.id = w.id AND k.harm = 0 AND " OPEN(
                                "?1") " AND EXISTS(SELECT 1 FROM complaint c WHERE c.case_id = "
                                      "k.id AND c.withdrawn_ms IS NULL"
                                      " AND " CASE_COMPLAINT_MAY_HARM("c") "))";
    struct db_query q = db_query(store, SQL, DB(DB_TEXT(seen_list(store))), err);
    if (db_next(&q))
        *ret = (struct open_harm_counts){db_int64(&q, 0), db_int64(&q, 1) + db_int64(&q, 2)};
    return db_end(&q, 0);
}

#include "store/stage.h"
#include "store/call_back.h"
#include "store/db.h"

#define FIRST_OWNER(case_id)                                                                       \
    "(SELECT min(o.at_ms) FROM follow_entry o WHERE o.case_id = " case_id " AND o.what = 'owner'"  \
    " AND o.now <> '')"
#define IN_SPAN(ms) ms " >= ?1 AND " ms " < ?2"
/* of the asked plant, or all: `case_id` is SQL */
#define OF_PLANT(case_id)                                                                          \
    " AND (?3 IS NULL OR ?3 = (SELECT p.plant FROM complaint_case p WHERE p.id = " case_id "))"

int stage_took(struct store *store, enum stage stage, const struct stage_of *of, stage_each each,
               void *arg, struct error *err)
{
    static const char TAKEN_IN[] =
        "SELECT logged_ms - received_ms FROM complaint WHERE "
        "withdrawn_ms IS NULL AND " IN_SPAN("received_ms") " AND (?3 IS NULL OR plant = ?3)";
    static const char OWNED[] =
        "SELECT e.at_ms - f.since_ms FROM follow_entry e JOIN case_follow f ON f.case_id ="
        " e.case_id WHERE e.what = 'owner' AND e.now <> '' AND " IN_SPAN(
            "e.at_ms") " AND e.at_ms = " FIRST_OWNER("e.case_id") OF_PLANT("e.case_id");
    static const char FOUND[] = "SELECT v.at_ms - " FIRST_OWNER(
        "v.case_id") " FROM verdict v WHERE v.reopened_ms IS NULL"
                     " AND " IN_SPAN("v.at_ms") " AND v.at_ms >= " FIRST_OWNER("v.case_id")
                         OF_PLANT("v.case_id");
    static const char ANSWERED[] =
        "SELECT e.at_ms - coalesce((SELECT c.logged_ms FROM complaint c WHERE c.uuid = e.report),"
        " (SELECT j.logged_ms FROM joined j WHERE j.uuid = e.report), e.at_ms) FROM follow_entry e"
        " WHERE e.what = 'answered' AND " IN_SPAN(
            "e.at_ms") " AND NOT EXISTS (SELECT 1 FROM follow_entry b WHERE b.report = e.report AND"
                       " b.what = 'answered' AND b.id < e.id)" OF_PLANT("e.case_id");
    static const char SETTLED[] =
        "SELECT v.at_ms - c.opened_ms FROM verdict v JOIN complaint_case c ON c.id = v.case_id"
        " WHERE v.reopened_ms IS NULL AND " IN_SPAN("v.at_ms") " AND (?3 IS NULL OR c.plant = ?3)";
    static const char *const SQL[STAGES] = {[STAGE_TAKEN_IN] = TAKEN_IN,
                                            [STAGE_OWNED] = OWNED,
                                            [STAGE_FOUND] = FOUND,
                                            [STAGE_ANSWERED] = ANSWERED,
                                            [STAGE_SETTLED] = SETTLED};
    struct db_query q =
        db_query(store, SQL[stage],
                 DB(DB_MS(of->span.from_ms), DB_MS(of->span.to_ms), DB_SAID(of->plant)), err);
    int rc = 0;
    while (!rc && db_next(&q))
        rc = each(arg, db_int64(&q, 0));
    return db_end(&q, rc);
}

#define IS_OPEN                                                                                    \
    "c.complaints > 0 AND (c.state = 'open' OR c.harm_unseen = 1) AND (?1 IS NULL OR c.plant = "   \
    "?1)"
#define OPEN "SELECT count(*) FROM complaint_case c WHERE " IS_OPEN
/* From the few that have an owner to their cases, not from every open case to its owner. */
#define OPEN_OWNED                                                                                 \
    "SELECT count(*) FROM case_follow f JOIN complaint_case c ON c.id = f.case_id"                 \
    " WHERE f.owner IS NOT NULL AND " IS_OPEN

int stage_waiting(struct store *store, enum stage stage, const char *plant, int64_t *ret,
                  struct error *err)
{
    static const char UNOWNED[] = "SELECT (" OPEN ") - (" OPEN_OWNED ")";
    static const char OWNED[] = OPEN_OWNED;
    static const char ALL[] = OPEN;
    switch (stage) {
    case STAGE_OWNED:
        return db_number(store, UNOWNED, DB(DB_SAID(plant)), ret, err);
    case STAGE_FOUND:
        return db_number(store, OWNED, DB(DB_SAID(plant)), ret, err);
    case STAGE_ANSWERED:
        return call_back_count(store, WHEN_UNKNOWN_DAY, plant, ret, err);
    case STAGE_SETTLED:
        return db_number(store, ALL, DB(DB_SAID(plant)), ret, err);
    case STAGE_TAKEN_IN:
    case STAGES:
        break;
    }
    *ret = -1; /* what nobody logged nobody knows of */
    return 0;
}

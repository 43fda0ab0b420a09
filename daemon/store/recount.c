#include "store/recount.h"
#include "store/db.h"
#include "store/pattern.h"

int recount(struct store *store, struct recount *ret, struct error *err)
{
    static const char CASES[] =
        "SELECT count(*) FROM complaint_case c WHERE (c.complaints, c.packs, c.harm) <>"
        " (SELECT count(*), coalesce(sum(packs), 0), coalesce(max(harm), 0) FROM complaint"
        " WHERE case_id = c.id)";
    /* by lot, not by day: a lot whose packing time was corrected keeps its old rows' day */
    static const char COMPANY[] =
        "SELECT count(*) FROM (SELECT lot_id, symptom, received_ms FROM (SELECT lot_id, symptom,"
        " received_ms, n FROM company_count UNION ALL SELECT lot_id, symptom, received_ms, -1"
        " FROM complaint WHERE lot_id IS NOT NULL) GROUP BY lot_id, symptom, received_ms"
        " HAVING sum(n) <> 0)";
    int rc = pattern_differences(store, &ret->weeks, err);
    if (!rc)
        rc = db_number(store, CASES, NULL, &ret->cases, err);
    return rc ? rc : db_number(store, COMPANY, NULL, &ret->company, err);
}

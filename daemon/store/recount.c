#include "store/recount.h"
#include "store/db.h"
#include "store/material_first.h"
#include "store/pattern.h"

int recount(struct store *store, struct recount *ret, struct error *err)
{
    static const char CASES[] =
        "SELECT count(*) FROM complaint_case c WHERE (c.complaints, c.packs, c.harm) <>"
        " (SELECT count(*), coalesce(sum(packs), 0), coalesce(max(harm), 0) FROM complaint"
        " WHERE case_id = c.id AND withdrawn_ms IS NULL) OR (c.complaints > 0) <>"
        " (c.state IN ('open', 'settled'))";
    static const char COMPANY[] =
        "SELECT count(*) FROM (SELECT lot_id, symptom, received_ms, day FROM (SELECT lot_id,"
        " symptom, received_ms, packed_day AS day, n FROM company_count UNION ALL SELECT c.lot_id,"
        " c.symptom, c.received_ms, (l.packed_from_ms - (l.packed_from_ms % 86400000 + 86400000) %"
        " 86400000) / 86400000, -1 FROM complaint c JOIN lot l ON l.id = c.lot_id"
        " WHERE c.withdrawn_ms IS NULL) a GROUP BY 1, 2, 3, 4 HAVING sum(n) <> 0) b";
    int rc = pattern_differences(store, &ret->weeks, err);
    if (!rc)
        rc = db_number(store, CASES, NULL, &ret->cases, err);
    if (!rc)
        rc = db_number(store, COMPANY, NULL, &ret->company, err);
    return rc ? rc : material_first_differences(store, &ret->materials, err);
}

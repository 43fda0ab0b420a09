#include "store/retention.h"
#include "store/db.h"
#include <assert.h>

/* ?1: older than that; ?2: so many at most; ?3: now, where a row says when it ended. A ranking is
 * as old as the complaints it was made of.
 */
static const char SQL_RANKINGS[] =
    "DELETE FROM ranking WHERE (case_id, revision) IN (SELECT r.case_id, r.revision FROM ranking r"
    " WHERE r.why IS NOT NULL AND r.as_of_ms < ?1"
    " AND EXISTS (SELECT 1 FROM ranking n WHERE n.case_id = r.case_id AND n.why IS NOT NULL"
    " AND n.revision > r.revision)"
    " AND NOT EXISTS (SELECT 1 FROM verdict v WHERE v.case_id = r.case_id"
    " AND v.revision = r.revision) LIMIT ?2)";
/* Of a mail about harm the row stays. */
static const char SQL_TEXTS[] =
    "DELETE FROM outbox_text WHERE mail_id IN (SELECT id FROM outbox WHERE state = 'sent'"
    " AND sent_ms < ?1 AND event = 'urgent' AND id IN (SELECT mail_id FROM outbox_text) LIMIT ?2)";
#define SENT_LONG_AGO                                                                              \
    "(SELECT id FROM outbox WHERE state = 'sent' AND sent_ms < ?1 AND event <> 'urgent'"           \
    " ORDER BY sent_ms LIMIT ?2)"
static const char SQL_DELIVERIES[] = "DELETE FROM outbox_delivery WHERE mail_id IN " SENT_LONG_AGO;
static const char SQL_MAILS[] = "DELETE FROM outbox WHERE id IN " SENT_LONG_AGO;
static const char SQL_REPLACED[] = "DELETE FROM replaced_row WHERE id IN (SELECT id FROM"
                                   " replaced_row WHERE replaced_ms < ?1 LIMIT ?2)";
/* The count of readings is what their loads say (totals.h): those stay. */
static const char SQL_LOADS[] =
    "DELETE FROM load_file WHERE id IN (SELECT id FROM load_file WHERE state <> 'waiting'"
    " AND kind <> 'readings' AND accepted_ms < ?1 LIMIT ?2)";

static const char SQL_PHOTOS[] =
    "UPDATE attached SET file_id = NULL, end_reason = 'kept long enough', ended_by = '', ended_ms ="
    " ?3 WHERE id IN (SELECT id FROM attached WHERE complaint_id IS NOT NULL AND file_id IS NOT"
    " NULL AND at_ms < ?1 LIMIT ?2)";
static const char SQL_FILES[] =
    "DELETE FROM attached_file WHERE ?1 IS NOT NULL AND id IN (SELECT f.id FROM attached_file f "
    "WHERE"
    " NOT EXISTS (SELECT 1 FROM attached a WHERE a.file_id = f.id) LIMIT ?2)";

int retention_round(struct store *store, const struct retention *rule, int64_t now_ms, int limit,
                    int *ret_dropped, struct error *err)
{
    assert(limit > 0 && rule->rankings_days >= 0 && rule->mail_days >= 0);
    assert(store_writing(store));
    const struct {
        const char *sql;
        int64_t days;
        bool tells_now, frees_bytes; /* it has ?3; what it drops is in the log, too */
    } kinds[] = {{SQL_RANKINGS, rule->rankings_days, false, false},
                 {SQL_TEXTS, rule->mail_days, false, false},
                 {SQL_DELIVERIES, rule->mail_days, false, false},
                 {SQL_MAILS, rule->mail_days, false, false},
                 {SQL_REPLACED, rule->replaced_days, false, false},
                 {SQL_LOADS, rule->loads_days, false, false},
                 {SQL_PHOTOS, rule->photos_days, true, false},
                 {SQL_FILES, rule->photos_days, false, true}};
    const struct db_value now = DB_MS(now_ms), no_more = {.form = DB_IS_END};
    int rc = 0, dropped = 0;
    for (size_t i = 0; i < sizeof kinds / sizeof kinds[0] && !rc; i++) {
        if (kinds[i].days == 0)
            continue;
        rc = db_run(store, kinds[i].sql,
                    DB(DB_MS(now_ms - kinds[i].days * WHEN_DAY_MS), DB_INT(limit),
                       kinds[i].tells_now ? now : no_more),
                    err);
        int count = rc ? 0 : db_changes(store);
        if (count && kinds[i].frees_bytes)
            store_checkpoint_soon(store);
        dropped += count;
    }
    if (!rc)
        *ret_dropped = dropped;
    return rc;
}

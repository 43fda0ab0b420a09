#include "store/restore_missing.h"
#include "store/db.h"

/* A row is the same row by its number and its time: texts are rewritten when contact data go. */
#define ABSENT(table, time, more)                                                                  \
    " NOT EXISTS (SELECT 1 FROM " table " t WHERE t.id = p.id AND t." time " = p." time more ")"
#define UNHEARD                                                                                    \
    " NOT EXISTS (SELECT 1 FROM complaint c WHERE c.uuid = p.uuid) AND NOT EXISTS"                 \
    " (SELECT 1 FROM joined j WHERE j.uuid = p.uuid)"
/* One that changes several members has a row for each. */
#define CHANGES                                                                                    \
    "SELECT count(*) FROM (SELECT DISTINCT complaint, at_ms FROM past.complaint_change p"

static const struct {
    const char *what, *sql;
} COUNTS[] = {
    {"complaints", "SELECT count(*) FROM past.complaint p WHERE" UNHEARD},
    {"joined_reports", "SELECT count(*) FROM past.joined p WHERE" UNHEARD},
    {"corrections",
     CHANGES " WHERE field <> 'withdrawn' AND" ABSENT("complaint_change", "at_ms", "") ")"},
    {"withdrawals",
     CHANGES " WHERE field = 'withdrawn' AND" ABSENT("complaint_change", "at_ms", "") ")"},
    {"holds", "SELECT count(*) FROM past.hold p WHERE" ABSENT("hold", "at_ms", "")},
    {"ended_holds", "SELECT count(*) FROM past.hold p WHERE ended_ms IS NOT NULL AND" ABSENT(
                        "hold", "at_ms", " AND t.ended_ms IS NOT NULL")},
    {"verdicts", "SELECT count(*) FROM past.verdict p WHERE" ABSENT("verdict", "at_ms", "")},
    {"reopened_verdicts",
     "SELECT count(*) FROM past.verdict p WHERE reopened_ms IS NOT NULL AND" ABSENT(
         "verdict", "at_ms", " AND t.reopened_ms IS NOT NULL")},
    {"follow_notes", "SELECT count(*) FROM past.follow_entry p WHERE by_user <> '' AND" ABSENT(
                         "follow_entry", "at_ms", "")},
    {"actions", "SELECT count(*) FROM past.corrective_action p WHERE" ABSENT("corrective_action",
                                                                             "logged_ms", "")},
    {"loaded_files", "SELECT count(*) FROM past.load_file p WHERE NOT EXISTS"
                     " (SELECT 1 FROM load_file t WHERE t.id = p.id)"},
};
_Static_assert(sizeof COUNTS / sizeof COUNTS[0] == RESTORE_KINDS, "each kind is counted");

int restore_missing_count(struct store *store, struct restored *restored, struct error *err)
{
    int rc = 0;
    for (size_t i = 0; i < RESTORE_KINDS && !rc; i++) {
        restored->missing[i].what = COUNTS[i].what;
        rc = db_number(store, COUNTS[i].sql, NULL, &restored->missing[i].count, err);
    }
    return rc;
}

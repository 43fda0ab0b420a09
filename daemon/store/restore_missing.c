#include "store/restore_missing.h"
#include "store/clock_mark.h"
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
    {"complaints_of_harm",
     "SELECT count(*) FROM past.complaint p WHERE p.harm = 1 AND p.withdrawn_ms IS NULL AND NOT"
     " EXISTS (SELECT 1 FROM complaint c WHERE c.uuid = p.uuid AND c.harm = 1) AND NOT EXISTS"
     " (SELECT 1 FROM joined j WHERE j.uuid = p.uuid)"},
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

/* The time at which it was last written; a daemon notes it every few minutes. */
static int read_until(struct store *store, int64_t *ret, struct error *err)
{
    static const char SQL[] =
        "SELECT max(coalesce((SELECT max(logged_ms) FROM main.complaint), 0),"
        " coalesce((SELECT CAST(value AS INTEGER) FROM main.setting WHERE key ="
        " '" CLOCK_MARK_SEEN "'), 0))";
    int64_t until_ms = 0;
    int rc = db_number(store, SQL, NULL, &until_ms, err);
    *ret = !rc && until_ms ? until_ms : WHEN_UNKNOWN_MS;
    return rc;
}

/* Reports that were joined to one came with a later version. */
static int read_complaints(struct store *store, struct restore_foreseen *f, struct error *err)
{
    static const char SQL[] =
        "SELECT count(*), min(p.logged_ms) FROM past.complaint p WHERE NOT EXISTS (SELECT 1 FROM"
        " main.complaint c WHERE c.uuid = p.uuid)";
    struct db_query q = db_query(store, SQL, NULL, err);
    if (db_next(&q)) {
        f->of.missing[0].what = COUNTS[0].what;
        f->of.missing[0].count = db_int64(&q, 0);
        f->since_ms = db_ms(&q, 1);
    }
    return db_end(&q, 0);
}

int restore_missing_foresee(struct store *store, struct restore_foreseen *foreseen,
                            struct error *err)
{
    int rc = read_until(store, &foreseen->until_ms, err);
    if (!rc)
        rc = read_complaints(store, foreseen, err);
    if (!rc && restore_missing_count(store, &foreseen->of, NULL))
        for (size_t i = 1; i < RESTORE_KINDS; i++)
            foreseen->of.missing[i].what = NULL;
    return rc;
}

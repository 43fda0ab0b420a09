#include "store/contact.h"
#include "base/text.h"
#include "store/db.h"
#include <string.h>

/* The lines of a fold that say something: name, phone digits, mail. */
enum { KEYS = 3 };
struct keys {
    struct db_value of[KEYS]; /* borrowed from the fold; NULL where there is none */
    int count;
};

static struct keys keys_of(const char *fold)
{
    struct keys keys = {{DB_NULL(), DB_NULL(), DB_NULL()}, 0};
    for (const char *line = fold; line[0] == '\n' && line[1] && keys.count < KEYS;) {
        size_t length = strcspn(line + 1, "\n");
        if (length > 0)
            keys.of[keys.count++] = DB_PIECE(line + 1, length);
        line += length + 1;
    }
    return keys;
}

int contact_add(struct store *store, int64_t complaint_id, const char *report, const char *body,
                const char *fold, int64_t purge_after_ms, struct error *err)
{
    static const char SQL[] = "INSERT INTO contact(complaint_id, report, body, purge_after_ms)"
                              " VALUES(?1, ?2, ?3, ?4)";
    static const char SQL_KEY[] =
        "INSERT INTO contact_key(key, contact_id) VALUES(?1, ?2) ON CONFLICT DO NOTHING";
    if (!body)
        return 0;
    const struct keys keys = keys_of(fold);
    int rc = db_run(store, SQL,
                    DB(DB_INT(complaint_id), DB_TEXT(report), DB_TEXT(body), DB_MS(purge_after_ms)),
                    err);
    int64_t contact_id = db_last_id(store);
    for (int i = 0; i < keys.count && !rc; i++)
        rc = db_run(store, SQL_KEY, DB(keys.of[i], DB_INT(contact_id)), err);
    return rc;
}

int contact_get(struct store *store, int64_t complaint_id, const char *report, char **ret_json,
                struct error *err)
{
    static const char SQL[] = "SELECT body FROM contact WHERE complaint_id = ?1 AND report = ?2";
    struct db_query q = db_query(store, SQL, DB(DB_INT(complaint_id), DB_TEXT(report)), err);
    *ret_json = db_next(&q) ? xstrdup(db_text(&q, 0)) : NULL;
    return db_end(&q, 0);
}

int contact_move(struct store *store, int64_t complaint_id, const char *report,
                 int64_t to_complaint_id, const char *to_report, struct error *err)
{
    static const char SQL[] = "UPDATE contact SET complaint_id = ?3, report = ?4"
                              " WHERE complaint_id = ?1 AND report = ?2";
    return db_run(
        store, SQL,
        DB(DB_INT(complaint_id), DB_TEXT(report), DB_INT(to_complaint_id), DB_TEXT(to_report)),
        err);
}

/* ---- erasure ---- */

/* All four statements have the same parameters: now, basis, fold. */
#define TOMBSTONES                                                                                 \
    "INSERT INTO erasure(complaint_id, at_ms, basis) SELECT complaint_id, ?1, ?2 FROM contact"
#define WITH_KEY "(SELECT contact_id FROM contact_key WHERE key = ?3)"
#define BOUND "?1 IS NOT NULL AND ?2 IS NOT NULL"

/* Leaves a tombstone for each, so that a restored backup can be purged again. */
static int remove_contacts(struct store *store, const char *basis, const char *sql_tombstone,
                           const char *sql_delete, const char *fold, int64_t now_ms, int *ret_count,
                           struct error *err)
{
    int rc = db_run(store, sql_tombstone, DB(DB_MS(now_ms), DB_TEXT(basis), DB_TEXT(fold)), err);
    if (!rc)
        rc = db_run(store, sql_delete, DB(DB_MS(now_ms), DB_TEXT(basis), DB_TEXT(fold)), err);
    if (!rc)
        *ret_count = db_changes(store);
    return rc;
}

int contact_erase(struct store *store, const char *fold, int64_t now_ms, int *ret_erased,
                  struct error *err)
{
    static const char SQL_TOMB[] = TOMBSTONES " WHERE id IN " WITH_KEY;
    static const char SQL_DELETE[] = "DELETE FROM contact WHERE " BOUND " AND id IN " WITH_KEY;
    return remove_contacts(store, "request", SQL_TOMB, SQL_DELETE, fold, now_ms, ret_erased, err);
}

int contact_purge(struct store *store, int64_t now_ms, int *ret_purged, struct error *err)
{
    static const char SQL_TOMB[] = TOMBSTONES " WHERE purge_after_ms <= ?1 AND ?3 IS NULL";
    static const char SQL_DELETE[] =
        "DELETE FROM contact WHERE purge_after_ms <= ?1 AND " BOUND " AND ?3 IS NULL";
    return remove_contacts(store, "date", SQL_TOMB, SQL_DELETE, NULL, now_ms, ret_purged, err);
}

/* ---- the same person ---- */

/* Of a name or number that very many gave, the newest. */
#define NEWEST_WITH(key)                                                                           \
    "SELECT contact_id FROM (SELECT contact_id FROM contact_key WHERE key = " key                  \
    " ORDER BY contact_id DESC LIMIT 500)"

int contact_same_person(struct store *store, const struct contact_query *query, int limit,
                        contact_each each, void *arg, struct error *err)
{
    /* CROSS JOIN: in this order, the few that share a key first */
    static const char SQL[] =
        "SELECT DISTINCT p.uuid, p.received_ms, coalesce(p.lot_id = ?4, 0) FROM"
        " (" NEWEST_WITH("?8") " UNION " NEWEST_WITH("?9") " UNION " NEWEST_WITH(
            "?10") ") y"
                   " CROSS JOIN contact k CROSS JOIN complaint p LEFT JOIN lot l ON l.id = p.lot_id"
                   " WHERE k.id = y.contact_id AND p.id = k.complaint_id AND p.id <> ?1 AND "
                   "p.symptom = ?2"
                   " AND (p.channel = 'return') = ?3 AND p.received_ms BETWEEN ?5 AND ?6"
                   " AND (?4 IS NULL OR p.lot_id IS NULL OR p.lot_id = ?4)"
                   " AND coalesce(coalesce(l.product_id, p.product_id) = ?7, 1)"
                   " ORDER BY 2 DESC, 1 LIMIT ?11";
    const struct keys keys = keys_of(query->fold);
    struct db_query q =
        db_query(store, SQL,
                 DB(DB_INT(query->self), DB_TEXT(query->symptom), DB_INT(query->is_return),
                    DB_ID(query->lot_id), DB_MS(query->from_ms), DB_MS(query->to_ms),
                    DB_ID(query->product_id), keys.of[0], keys.of[1], keys.of[2], DB_INT(limit)),
                 err);
    int rc = 0;
    while (!rc && db_next(&q)) {
        struct contact_match match = {db_text(&q, 0), db_ms(&q, 1), db_int(&q, 2) != 0};
        rc = each(arg, &match);
    }
    return db_end(&q, rc);
}

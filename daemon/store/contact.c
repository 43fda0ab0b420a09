#include "store/contact.h"
#include "base/text.h"
#include "store/attached.h"
#include "store/contact_said.h"
#include "store/db.h"
#include "store/erasures.h"
#include "store/lot_find.h"
#include <assert.h>
#include <string.h>

/* The keys of a fold. */
enum { KEYS = 48, WHO = 0 };
struct keys {
    struct db_value key[KEYS]; /* borrowed from the fold; NULL where there is none */
    int of[KEYS];              /* whose: contact_key.of */
    int count;
};

/* `words`: those of names, too. */
static struct keys keys_of(const char *fold, bool words)
{
    struct keys keys = {.count = 0};
    for (int i = 0; i < KEYS; i++)
        keys.key[i] = DB_NULL(DB_IS_TEXT);
    for (const char *line = fold; line[0] == '\n' && line[1] && keys.count < KEYS;) {
        const char *key = line + 1;
        size_t length = strcspn(key, "\n");
        int of = *key == *CONTACT_SAID || *key == *CONTACT_WAS ? *key : WHO;
        size_t mark = of != WHO;
        if (length > mark && (words || key[mark] != ' ')) {
            keys.of[keys.count] = of;
            keys.key[keys.count++] = DB_PIECE(key + mark, length - mark);
        }
        line += length + 1;
    }
    return keys;
}

static int put_keys(struct store *store, int64_t contact_id, const char *fold, struct error *err)
{
    static const char SQL_OLD[] = "DELETE FROM contact_key WHERE contact_id = ?1";
    static const char SQL_KEY[] =
        "INSERT INTO contact_key(key, contact_id, of) VALUES(?1, ?2, ?3) ON CONFLICT DO NOTHING";
    const struct keys keys = keys_of(fold, true);
    int rc = db_run(store, SQL_OLD, DB(DB_INT(contact_id)), err);
    for (int i = 0; i < keys.count && !rc; i++)
        rc = db_run(store, SQL_KEY, DB(keys.key[i], DB_INT(contact_id), DB_INT(keys.of[i])), err);
    return rc;
}

int contact_add(struct store *store, const struct contact_row *row, struct error *err)
{
    assert(store_writing(store));
    static const char SQL[] =
        "INSERT INTO contact(complaint_id, report, body, purge_after_ms) SELECT ?1, ?2, ?3, ?4"
        " WHERE NOT EXISTS (SELECT 1 FROM erased e WHERE e.basis <> 'said' AND e.report = CASE "
        "WHEN ?2 <> '' THEN ?2"
        " ELSE (SELECT c.uuid FROM complaint c WHERE c.id = ?1) END)"
        " ON CONFLICT(complaint_id, report) DO UPDATE SET body = excluded.body";
    static const char SQL_ID[] = "SELECT id FROM contact WHERE complaint_id = ?1 AND report = ?2";
    int64_t contact_id = 0;
    if (!row->body)
        return 0;
    int rc = db_run(store, SQL,
                    DB(DB_INT(row->complaint_id), DB_TEXT(row->report), DB_TEXT(row->body),
                       DB_MS(row->purge_after_ms)),
                    err);
    if (!rc)
        rc = db_number(store, SQL_ID, DB(DB_INT(row->complaint_id), DB_TEXT(row->report)),
                       &contact_id, err);
    return rc || !contact_id ? rc : put_keys(store, contact_id, row->fold, err);
}

int contact_put(struct store *store, const struct contact_row *row, struct error *err)
{
    assert(store_writing(store));
    static const char SQL[] = "DELETE FROM contact WHERE complaint_id = ?1 AND report = ?2";
    if (!row->body)
        return db_run(store, SQL, DB(DB_INT(row->complaint_id), DB_TEXT(row->report)), err);
    return contact_add(store, row, err);
}

int contact_get(struct store *store, int64_t complaint_id, const char *report, char **ret_json,
                struct error *err)
{
    static const char SQL[] = "SELECT body FROM contact WHERE complaint_id = ?1 AND report = ?2";
    struct db_query q = db_query(store, SQL, DB(DB_INT(complaint_id), DB_TEXT(report)), err);
    *ret_json = db_next(&q) ? xstrdup(db_text(&q, 0)) : NULL;
    return db_end(&q, 0);
}

int contact_of_report(struct store *store, const char *uuid, char **ret_json, struct error *err)
{
    static const char SQL[] = "SELECT body FROM contact WHERE report = ?1 OR (report = '' AND"
                              " complaint_id = (SELECT id FROM complaint WHERE uuid = ?1))";
    struct db_query q = db_query(store, SQL, DB(DB_TEXT(uuid)), err);
    *ret_json = db_next(&q) ? xstrdup(db_text(&q, 0)) : NULL;
    return db_end(&q, 0);
}

int contact_callers(struct store *store, int64_t case_id, int64_t lot_id, contact_each_body each,
                    void *arg, struct error *err)
{
    static const char SQL[] =
        "SELECT body FROM contact WHERE complaint_id IN (SELECT id FROM complaint WHERE"
        " case_id = ?1 UNION SELECT id FROM complaint WHERE lot_id = ?2)";
    struct db_query q = db_query(store, SQL, DB(DB_INT(case_id), DB_INT(lot_id)), err);
    int rc = 0;
    while (!rc && db_next(&q))
        rc = each(arg, db_text(&q, 0));
    return db_end(&q, rc);
}

int contact_of_code(struct store *store, const char *fold, contact_each_body each, void *arg,
                    struct error *err)
{
    static const char SQL[] =
        "SELECT k.body FROM contact k JOIN complaint c ON c.id = k.complaint_id WHERE"
        " " LOT_FIND_SAYS("c.lot_text", "?1");
    struct db_query q = db_query(store, SQL, DB(DB_TEXT(fold)), err);
    int rc = 0;
    while (!rc && db_next(&q))
        rc = each(arg, db_text(&q, 0));
    return db_end(&q, rc);
}

int contact_group(struct store *store, const char *report, contact_each_body each, void *arg,
                  struct error *err)
{
    static const char SQL[] =
        "SELECT body FROM contact WHERE complaint_id = coalesce((SELECT complaint_id FROM joined"
        " WHERE uuid = ?1), (SELECT id FROM complaint WHERE uuid = ?1))";
    struct db_query q = db_query(store, SQL, DB(DB_TEXT(report)), err);
    int rc = 0;
    while (!rc && db_next(&q))
        rc = each(arg, db_text(&q, 0));
    return db_end(&q, rc);
}

int contact_of_complaint(struct store *store, int64_t complaint_id, contact_each_body each,
                         void *arg, struct error *err)
{
    static const char SQL[] = "SELECT body FROM contact WHERE complaint_id = ?1";
    struct db_query q = db_query(store, SQL, DB(DB_INT(complaint_id)), err);
    int rc = 0;
    db_keep(&q);
    while (!rc && db_next(&q))
        rc = each(arg, db_text(&q, 0));
    return db_end(&q, rc);
}

int contact_about(struct store *store, const char *line, const char *cause, contact_each_body each,
                  void *arg, struct error *err)
{
    static const char SQL[] =
        "SELECT k.body FROM contact k JOIN complaint c ON c.id = k.complaint_id LEFT JOIN lot l ON"
        " l.id = c.lot_id WHERE l.line = ?1 OR EXISTS(SELECT 1 FROM verdict v WHERE v.case_id ="
        " c.case_id AND v.cause = ?2)";
    struct db_query q = db_query(store, SQL, DB(DB_TEXT(line), DB_TEXT(cause)), err);
    int rc = 0;
    while (!rc && db_next(&q))
        rc = each(arg, db_text(&q, 0));
    return db_end(&q, rc);
}

int contact_move(struct store *store, int64_t complaint_id, const char *report,
                 int64_t to_complaint_id, const char *to_report, struct error *err)
{
    assert(store_writing(store));
    static const char SQL[] = "UPDATE contact SET complaint_id = ?3, report = ?4"
                              " WHERE complaint_id = ?1 AND report = ?2";
    return db_run(
        store, SQL,
        DB(DB_INT(complaint_id), DB_TEXT(report), DB_INT(to_complaint_id), DB_TEXT(to_report)),
        err);
}

/* ---- erasure ---- */

/* All statements have the same parameters: now, basis, key. */
#define MARKS                                                                                      \
    "INSERT INTO erased(report, at_ms, basis)"                                                     \
    " SELECT CASE WHEN k.report <> '' THEN k.report ELSE c.uuid END, ?1, ?2"                       \
    " FROM contact k JOIN complaint c ON c.id = k.complaint_id"
#define ONCE " ON CONFLICT DO NOTHING"
/* A number in another writing: one's digits begin as the other's, seven at least. */
#define NUMBER "CASE WHEN substr(?3, 1, 1) = '#' AND length(?3) > 7 THEN ?3 END"
#define WITH_KEY(whose)                                                                            \
    "(SELECT contact_id FROM contact_key WHERE key = ?3 AND " whose                                \
    " UNION SELECT contact_id FROM contact_key WHERE key >= " NUMBER " AND key < " NUMBER          \
    " || ':' AND " whose " UNION SELECT contact_id FROM contact_key WHERE key IN (substr(" NUMBER  \
    ", 1, 8), substr(" NUMBER ", 1, 9)) AND " whose ")"
#define WHO_CALLED WITH_KEY("of = 0")
#define BESIDE WITH_KEY("of > 0")
#define BOUND "?1 IS NOT NULL AND ?2 IS NOT NULL"

#define COMPLAINTS(which) "SELECT DISTINCT complaint_id FROM contact WHERE " BOUND " AND " which

struct removal {
    const char *basis, *key;
    int64_t now_ms;
    const char *mark, *complaints, *remove; /* SQL */
};

static int each_id(struct store *store, const char *sql, const struct db_value *with,
                   int (*drop)(struct store *store, int64_t id, struct error *err), int *ret_count,
                   struct error *err)
{
    struct db_query q = db_query(store, sql, with, err);
    int rc = 0;
    db_keep(&q);
    while (!rc && db_next(&q))
        rc = drop(store, db_int64(&q, 0), err);
    *ret_count = q.rows;
    return db_end(&q, rc);
}

static int drop_of_complaint(struct store *store, int64_t complaint_id, struct error *err)
{
    int rc = contact_said_drop(store, complaint_id, err);
    return rc ? rc : attached_erase(store, complaint_id, err);
}

/* The mark is on disk before the data is gone: a restored backup is erased again. */
static int remove_contacts(struct store *store, const struct removal *r, int *ret_count,
                           struct error *err)
{
    const struct db_value *with = DB(DB_MS(r->now_ms), DB_TEXT(r->basis), DB_TEXT(r->key));
    int complaints;
    int rc = db_run(store, r->mark, with, err);
    if (!rc && db_changes(store) > 0)
        rc = erasures_write(store, err);
    if (!rc)
        rc = each_id(store, r->complaints, with, drop_of_complaint, &complaints, err);
    if (!rc)
        rc = db_run(store, r->remove, with, err);
    if (!rc)
        *ret_count = db_changes(store);
    return rc;
}

/* Where only the texts hold it, or a former name is it. */
static int remove_beside(struct store *store, const char *key, int64_t now_ms, int *ret_count,
                         struct error *err)
{
    static const char SQL_MARK[] = MARKS " WHERE k.id IN " BESIDE ONCE;
    static const char SQL_IDS[] = "SELECT id FROM contact WHERE " BOUND " AND id IN " BESIDE;
    const struct db_value *with = DB(DB_MS(now_ms), DB_TEXT("said"), DB_TEXT(key));
    int rc = db_run(store, SQL_MARK, with, err);
    if (!rc && db_changes(store) > 0)
        rc = erasures_write(store, err);
    return rc ? rc : each_id(store, SQL_IDS, with, contact_said_drop_beside, ret_count, err);
}

int contact_erase(struct store *store, const char *key, int64_t now_ms, int *ret_erased,
                  struct error *err)
{
    const struct removal removal = {
        .basis = "request",
        .key = key,
        .now_ms = now_ms,
        .mark = MARKS " WHERE k.id IN " WHO_CALLED ONCE,
        .complaints = COMPLAINTS("id IN " WHO_CALLED),
        .remove = "DELETE FROM contact WHERE " BOUND " AND id IN " WHO_CALLED,
    };
    int whole = 0, beside = 0;
    int rc = remove_beside(store, key, now_ms, &beside, err);
    if (!rc)
        rc = remove_contacts(store, &removal, &whole, err);
    if (!rc)
        *ret_erased = whole + beside;
    return rc;
}

int contact_purge(struct store *store, int64_t now_ms, int *ret_purged, struct error *err)
{
    const struct removal removal = {
        .basis = "date",
        .now_ms = now_ms,
        .mark = MARKS " WHERE k.purge_after_ms <= ?1 AND ?3 IS NULL" ONCE,
        .complaints = COMPLAINTS("purge_after_ms <= ?1 AND ?3 IS NULL"),
        .remove = "DELETE FROM contact WHERE purge_after_ms <= ?1 AND " BOUND " AND ?3 IS NULL",
    };
    return remove_contacts(store, &removal, ret_purged, err);
}

/* ---- the same person ---- */

/* Of a name or number that very many gave, the newest. */
#define NEWEST_WITH(key)                                                                           \
    "SELECT contact_id FROM (SELECT contact_id FROM contact_key WHERE key = " key                  \
    " ORDER BY contact_id DESC LIMIT 500) n"

int contact_same_person(struct store *store, const struct contact_query *query, int limit,
                        contact_each each, void *arg, struct error *err)
{
    /* CROSS JOIN: in this order, the few that share a key first */
    static const char SQL[] =
        "SELECT DISTINCT p.uuid, p.received_ms, coalesce(p.lot_id = ?4, false), p.id FROM"
        " (" NEWEST_WITH("?8") " UNION " NEWEST_WITH("?9") " UNION " NEWEST_WITH(
            "?10") ") y"
                   " CROSS JOIN contact k CROSS JOIN complaint p LEFT JOIN lot l ON l.id = p.lot_id"
                   " WHERE k.id = y.contact_id AND p.id = k.complaint_id AND p.id <> ?1 AND "
                   "p.symptom = ?2 AND p.withdrawn_ms IS NULL"
                   " AND CASE WHEN p.channel = 'return' THEN 1 ELSE 0 END = ?3 AND p.received_ms "
                   ">= ?5 AND p.received_ms < ?6"
                   " AND (?4 IS NULL OR p.lot_id IS NULL OR p.lot_id = ?4)"
                   " AND coalesce(coalesce(l.product_id, p.product_id) = ?7, true)"
                   " ORDER BY 2 DESC, 1 LIMIT ?11";
    const struct keys keys = keys_of(query->fold, false);
    struct db_query q = db_query(
        store, SQL,
        DB(DB_INT(query->self), DB_TEXT(query->symptom), DB_INT(query->is_return),
           DB_ID(query->lot_id), DB_MS(query->received.from_ms), DB_MS(query->received.to_ms),
           DB_ID(query->product_id), keys.key[0], keys.key[1], keys.key[2], DB_INT(limit)),
        err);
    int rc = 0;
    db_keep(&q); /* callbacks ask for the complaints' lots */
    while (!rc && db_next(&q)) {
        struct contact_match match = {db_int64(&q, 3), db_text(&q, 0), db_ms(&q, 1),
                                      db_int(&q, 2) != 0};
        rc = each(arg, &match);
    }
    return db_end(&q, rc);
}

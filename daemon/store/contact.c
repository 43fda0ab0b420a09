#include "store/contact.h"
#include "base/text.h"
#include "store/db.h"
#include <string.h>

enum { KEY_SIZE = 256, KEYS = 3 };

int contact_add(struct store *store, int64_t complaint_id, const char *report, const char *body,
                const char *fold, int64_t purge_after_ms, struct error *err)
{
    static const char SQL[] =
        "INSERT INTO contact(complaint_id, report, body, fold, purge_after_ms)"
        " VALUES(?1, ?2, ?3, ?4, ?5)";
    if (!body)
        return 0;
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, complaint_id);
    db_bind_text(st, 2, report);
    db_bind_text(st, 3, body);
    db_bind_text(st, 4, fold);
    db_bind_ms(st, 5, purge_after_ms);
    return db_run(store, st, err);
}

int contact_get(struct store *store, int64_t complaint_id, const char *report, char **ret_json,
                struct error *err)
{
    static const char SQL[] = "SELECT body FROM contact WHERE complaint_id = ?1 AND report = ?2";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, complaint_id);
    db_bind_text(st, 2, report);
    int rc = db_step(store, st, err);
    if (rc >= 0)
        *ret_json = rc == 1 ? xstrdup(db_text(st, 0)) : NULL;
    db_reset(st);
    return rc < 0 ? rc : 0;
}

int contact_move(struct store *store, int64_t complaint_id, const char *report,
                 int64_t to_complaint_id, const char *to_report, struct error *err)
{
    static const char SQL[] = "UPDATE contact SET complaint_id = ?3, report = ?4"
                              " WHERE complaint_id = ?1 AND report = ?2";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, complaint_id);
    db_bind_text(st, 2, report);
    db_bind_int(st, 3, to_complaint_id);
    db_bind_text(st, 4, to_report);
    return db_run(store, st, err);
}

/* ---- erasure ---- */

/* Leaves a tombstone for each, so that a restored backup can be purged again. */
static int remove_contacts(struct store *store, const char *basis, const char *sql_tombstone,
                           const char *sql_delete, const char *fold, int64_t now_ms, int *ret_count,
                           struct error *err)
{
    const char *const both[] = {sql_tombstone, sql_delete};
    for (int i = 0; i < 2; i++) {
        sqlite3_stmt *st = db_prepare(store, both[i], err);
        if (!st)
            return ERROR_IO;
        db_bind_ms(st, 1, now_ms);
        if (fold)
            db_bind_text(st, 2, fold);
        if (i == 0)
            db_bind_text(st, 3, basis);
        int rc = db_run(store, st, err);
        if (rc)
            return rc;
    }
    *ret_count = sqlite3_changes(db_handle(store));
    return 0;
}

int contact_erase(struct store *store, const char *fold, int64_t now_ms, int *ret_erased,
                  struct error *err)
{
    /* fold holds name, digits and mail, each between line feeds: a whole one must agree */
    static const char SQL_TOMB[] =
        "INSERT INTO erasure(complaint_id, at_ms, basis) SELECT complaint_id, ?1, ?3 FROM contact"
        " WHERE instr(fold, char(10) || ?2 || char(10)) > 0";
    static const char SQL_DELETE[] =
        "DELETE FROM contact WHERE ?1 IS NOT NULL AND instr(fold, char(10) || ?2 || char(10)) > 0";
    return remove_contacts(store, "request", SQL_TOMB, SQL_DELETE, fold, now_ms, ret_erased, err);
}

int contact_purge(struct store *store, int64_t now_ms, int *ret_purged, struct error *err)
{
    static const char SQL_TOMB[] =
        "INSERT INTO erasure(complaint_id, at_ms, basis) SELECT complaint_id, ?1, ?3 FROM contact"
        " WHERE purge_after_ms <= ?1";
    static const char SQL_DELETE[] = "DELETE FROM contact WHERE purge_after_ms <= ?1";
    return remove_contacts(store, "date", SQL_TOMB, SQL_DELETE, NULL, now_ms, ret_purged, err);
}

/* ---- the same person ---- */

/* The lines of a fold that say something, each between its line feeds; NULL where there is none. */
static void bind_keys(sqlite3_stmt *st, int at, const char *fold)
{
    char key[KEY_SIZE];
    int bound = 0;
    for (const char *line = fold; line[0] == '\n' && line[1] && bound < KEYS;) {
        size_t length = strcspn(line + 1, "\n");
        if (length > 0 && length + 3 < sizeof key) {
            memcpy(key, line, length + 2);
            key[length + 2] = '\0';
            db_bind_text(st, at + bound++, key);
        }
        line += length + 1;
    }
}

#define SAME_COLUMNS "SELECT DISTINCT p.uuid, p.received_ms, coalesce(p.lot_id = ?4, 0)"
/* CROSS JOIN: in this order, complaints first */
#define SAME_FROM(complaints)                                                                      \
    " FROM complaint p " complaints " CROSS JOIN contact k ON k.complaint_id = p.id"               \
    " LEFT JOIN lot l ON l.id = p.lot_id WHERE p.id <> ?1 AND p.symptom = ?2"                      \
    " AND (p.channel = 'return') = ?3 AND p.received_ms BETWEEN ?5 AND ?6"                         \
    " AND coalesce(coalesce(l.product_id, p.product_id) = ?7, 1)"                                  \
    " AND (instr(k.fold, ?8) > 0 OR instr(k.fold, ?9) > 0 OR instr(k.fold, ?10) > 0)"

int contact_same_person(struct store *store, const struct contact_query *query, int limit,
                        contact_each each, void *arg, struct error *err)
{
    static const char SQL_LOT[] =
        SAME_COLUMNS SAME_FROM("") " AND p.lot_id = ?4 UNION ALL " SAME_COLUMNS SAME_FROM(
            "INDEXED BY complaint_open_lot") " AND p.lot_id IS NULL"
                                             " ORDER BY 2 DESC, 1 LIMIT ?11";
    static const char SQL_ANY[] =
        SAME_COLUMNS SAME_FROM("INDEXED BY complaint_received") " ORDER BY 2 DESC, 1 LIMIT ?11";
    sqlite3_stmt *st = db_prepare(store, query->lot_id > 0 ? SQL_LOT : SQL_ANY, err);
    if (!st)
        return ERROR_IO;
    db_bind_int(st, 1, query->self);
    db_bind_text(st, 2, query->symptom);
    db_bind_int(st, 3, query->is_return);
    db_bind_id(st, 4, query->lot_id);
    db_bind_ms(st, 5, query->from_ms);
    db_bind_ms(st, 6, query->to_ms);
    db_bind_id(st, 7, query->product_id);
    bind_keys(st, 8, query->fold);
    db_bind_int(st, 11, limit);
    int rc;
    while ((rc = db_step(store, st, err)) == 1) {
        struct contact_match match = {db_text(st, 0), db_ms(st, 1), sqlite3_column_int(st, 2) != 0};
        rc = each(arg, &match);
        if (rc)
            break;
    }
    db_reset(st);
    return rc;
}

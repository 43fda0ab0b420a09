#include "store/joined.h"
#include "base/text.h"
#include "store/db.h"
#include "store/entry.h"
#include "store/seen.h"
#include <assert.h>

int joined_add(struct store *store, const struct joined_row *row, struct error *err)
{
    assert(store_writing(store));
    static const char SQL_FIRST[] = "INSERT INTO joined_first(complaint_id, body)"
                                    " SELECT id, body FROM complaint WHERE id = ?1"
                                    " ON CONFLICT DO NOTHING";
    static const char SQL[] = "INSERT INTO joined(uuid, complaint_id, received_ms, logged_ms,"
                              " joined_ms, body) VALUES(?1, ?2, ?3, ?4, ?5, ?6)";
    int rc = db_run(store, SQL_FIRST, DB(DB_INT(row->complaint_id)), err);
    if (rc)
        return rc;
    return db_run(store, SQL,
                  DB(DB_TEXT(row->uuid), DB_INT(row->complaint_id), DB_MS(row->received_ms),
                     DB_MS(row->logged_ms), DB_MS(row->joined_ms), DB_TEXT(row->body)),
                  err);
}

int joined_rewrite(struct store *store, const char *uuid, int64_t received_ms, const char *body,
                   struct error *err)
{
    assert(store_writing(store));
    static const char SQL[] = "UPDATE joined SET received_ms = ?2, body = ?3 WHERE uuid = ?1";
    int rc = entry_keep(store, uuid, err);
    return rc ? rc : db_run(store, SQL, DB(DB_TEXT(uuid), DB_MS(received_ms), DB_TEXT(body)), err);
}

int joined_remove(struct store *store, const char *uuid, struct error *err)
{
    assert(store_writing(store));
    static const char SQL[] = "DELETE FROM joined WHERE uuid = ?1";
    int rc = entry_keep(store, uuid, err);
    return rc ? rc : db_run(store, SQL, DB(DB_TEXT(uuid)), err);
}

int joined_move(struct store *store, int64_t complaint_id, int64_t to_complaint_id,
                struct error *err)
{
    assert(store_writing(store));
    static const char SQL[] = "UPDATE joined SET complaint_id = ?2 WHERE complaint_id = ?1";
    static const char SQL_CONTACT[] =
        "UPDATE contact SET complaint_id = ?2 WHERE complaint_id = ?1 AND report <> ''";
    int rc = db_run(store, SQL, DB(DB_INT(complaint_id), DB_INT(to_complaint_id)), err);
    if (!rc)
        rc = db_run(store, SQL_CONTACT, DB(DB_INT(complaint_id), DB_INT(to_complaint_id)), err);
    return rc ? rc : joined_first_remove(store, complaint_id, err);
}

/* ---- reading ---- */

#define JOINED_COLUMNS                                                                             \
    "SELECT j.uuid, j.complaint_id, j.received_ms, j.logged_ms, j.joined_ms, j.body, c.uuid"       \
    " FROM joined j JOIN complaint c ON c.id = j.complaint_id "

static int each_row(struct db_query *q, joined_each each, void *arg)
{
    int rc = 0;
    db_keep(q); /* callbacks ask for contacts */
    while (!rc && db_next(q)) {
        const struct joined_row row = {.uuid = db_text(q, 0),
                                       .complaint_id = db_int64(q, 1),
                                       .received_ms = db_ms(q, 2),
                                       .logged_ms = db_ms(q, 3),
                                       .joined_ms = db_ms(q, 4),
                                       .body = db_text(q, 5),
                                       .complaint = db_text(q, 6)};
        rc = each(arg, &row);
    }
    return db_end(q, rc);
}

int joined_of(struct store *store, int64_t complaint_id, joined_each each, void *arg,
              struct error *err)
{
    static const char SQL[] = JOINED_COLUMNS "WHERE j.complaint_id = ?1 ORDER BY j.id";
    struct db_query q = db_query(store, SQL, DB(DB_INT(complaint_id)), err);
    return each_row(&q, each, arg);
}

int joined_of_case(struct store *store, int64_t case_id, joined_each each, void *arg,
                   struct error *err)
{
    static const char SQL[] = JOINED_COLUMNS "WHERE c.case_id = ?1 AND c.withdrawn_ms IS NULL"
                                             " ORDER BY c.received_ms, c.id, j.id";
    struct db_query q = db_query(store, SQL, DB(DB_INT(case_id)), err);
    return each_row(&q, each, arg);
}

int joined_by_uuid(struct store *store, const char *uuid, joined_each each, void *arg,
                   struct error *err)
{
    static const char SQL[] = JOINED_COLUMNS "WHERE j.uuid = ?1";
    const char *sought = seen_report(store, uuid) ? uuid : "";
    struct db_query q = db_query(store, SQL, DB(DB_TEXT(sought)), err);
    int rc = each_row(&q, each, arg);
    int found = db_found(&q, "%s is not joined to another complaint", uuid);
    return found ? found : rc;
}

int joined_first(struct store *store, int64_t complaint_id, char **ret, struct error *err)
{
    static const char SQL[] = "SELECT body FROM joined_first WHERE complaint_id = ?1";
    struct db_query q = db_query(store, SQL, DB(DB_INT(complaint_id)), err);
    *ret = db_next(&q) ? xstrdup(db_text(&q, 0)) : NULL;
    return db_end(&q, 0);
}

int joined_first_put(struct store *store, int64_t complaint_id, const char *body, struct error *err)
{
    assert(store_writing(store));
    static const char SQL[] = "UPDATE joined_first SET body = ?2 WHERE complaint_id = ?1";
    return db_run(store, SQL, DB(DB_INT(complaint_id), DB_TEXT(body)), err);
}

int joined_first_remove(struct store *store, int64_t complaint_id, struct error *err)
{
    assert(store_writing(store));
    static const char SQL[] = "DELETE FROM joined_first WHERE complaint_id = ?1";
    return db_run(store, SQL, DB(DB_INT(complaint_id)), err);
}

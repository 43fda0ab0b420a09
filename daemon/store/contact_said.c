#include "store/contact_said.h"
#include "base/jsonx.h"
#include "store/contact.h"
#include "store/db.h"
#include <stdlib.h>
#include <string.h>

static int write_body(struct store *store, int64_t contact_id, const json_t *contact,
                      struct error *err)
{
    static const char SQL[] = "UPDATE contact SET body = ?2 WHERE id = ?1";
    char *text = jsonx_dump(contact);
    int rc = db_run(store, SQL, DB(DB_INT(contact_id), DB_TEXT(text)), err);
    free(text);
    return rc;
}

/* `former`: the names the caller went by as well. */
static int drop(struct store *store, int64_t contact_id, const char *body, bool former,
                struct error *err)
{
    static const char SQL[] =
        "DELETE FROM contact_key WHERE contact_id = ?1 AND of BETWEEN 1 AND ?2";
    json_t *contact = NULL;
    if (jsonx_parse(body, strlen(body), &contact, NULL))
        return 0;
    size_t before = json_object_size(contact);
    json_object_del(contact, CONTACT_TEXTS);
    json_object_del(contact, CONTACT_PAST);
    if (former)
        json_object_del(contact, CONTACT_FORMER);
    int rc = db_run(store, SQL, DB(DB_INT(contact_id), DB_INT(former ? 2 : 1)), err);
    if (!rc && json_object_size(contact) != before)
        rc = write_body(store, contact_id, contact, err);
    json_decref(contact);
    return rc;
}

static int drop_each(struct store *store, const char *sql, int64_t id, bool former,
                     struct error *err)
{
    struct db_query q = db_query(store, sql, DB(DB_INT(id)), err);
    int rc = 0;
    db_keep(&q);
    while (!rc && db_next(&q))
        rc = drop(store, db_int64(&q, 0), db_text(&q, 1), former, err);
    return db_end(&q, rc);
}

int contact_said_drop(struct store *store, int64_t complaint_id, struct error *err)
{
    static const char SQL[] = "SELECT id, body FROM contact WHERE complaint_id = ?1";
    return drop_each(store, SQL, complaint_id, false, err);
}

int contact_said_drop_beside(struct store *store, int64_t contact_id, struct error *err)
{
    static const char SQL[] = "SELECT id, body FROM contact WHERE id = ?1";
    static const char SQL_EMPTY[] = "DELETE FROM contact WHERE id = ?1 AND body = '{}'";
    int rc = drop_each(store, SQL, contact_id, true, err);
    return rc ? rc : db_run(store, SQL_EMPTY, DB(DB_INT(contact_id)), err);
}

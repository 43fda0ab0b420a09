#include "store/contact_said.h"
#include "base/jsonx.h"
#include "store/db.h"
#include <stdlib.h>
#include <string.h>

static int drop(struct store *store, int64_t contact_id, const char *body, struct error *err)
{
    static const char SQL[] = "UPDATE contact SET body = ?2 WHERE id = ?1";
    json_t *contact = NULL;
    if (jsonx_parse(body, strlen(body), &contact, NULL) || json_object_del(contact, "said")) {
        json_decref(contact);
        return 0;
    }
    char *text = jsonx_dump(contact);
    int rc = db_run(store, SQL, DB(DB_INT(contact_id), DB_TEXT(text)), err);
    free(text);
    json_decref(contact);
    return rc;
}

int contact_said_drop(struct store *store, int64_t complaint_id, struct error *err)
{
    static const char SQL[] = "SELECT id, body FROM contact WHERE complaint_id = ?1";
    struct db_query q = db_query(store, SQL, DB(DB_INT(complaint_id)), err);
    int rc = 0;
    db_keep(&q);
    while (!rc && db_next(&q))
        rc = drop(store, db_int64(&q, 0), db_text(&q, 1), err);
    return db_end(&q, rc);
}

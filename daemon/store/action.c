#include "store/action.h"
#include "store/db.h"
#include "store/numbers.h"
#include "store/seen_inside.h"
#include <assert.h>

int action_add(struct store *store, const struct action_row *action, int64_t *ret_id,
               struct error *err)
{
    assert(store_writing(store));
    static const char SQL[] =
        "INSERT INTO corrective_action(id, cause, line, place, symptom, at_ms,"
        " note, by_name, logged_ms, plant) VALUES(" NUMBERS_NEXT(
            "corrective_action", "action/last") ", ?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)";
    int rc = db_run(store, SQL,
                    DB(DB_SAID(action->cause), DB_SAID(action->line), DB_SAID(action->place),
                       DB_SAID(action->symptom), DB_MS(action->at_ms), DB_TEXT(action->note),
                       DB_TEXT(action->by_name), DB_MS(action->logged_ms), DB_TEXT(action->plant)),
                    err);
    if (!rc)
        *ret_id = db_last_id(store);
    return rc;
}

#define ACTION_COLUMNS                                                                             \
    "SELECT id, cause, line, place, symptom, at_ms, note, by_name, logged_ms, plant FROM "         \
    "corrective_action "

static void read_action(struct db_query *q, struct action_row *row)
{
    row->id = db_int64(q, 0);
    db_copy(q, 1, row->cause, sizeof row->cause);
    db_copy(q, 2, row->line, sizeof row->line);
    db_copy(q, 3, row->place, sizeof row->place);
    db_copy(q, 4, row->symptom, sizeof row->symptom);
    row->at_ms = db_ms(q, 5);
    db_copy(q, 6, row->note, sizeof row->note);
    db_copy(q, 7, row->by_name, sizeof row->by_name);
    row->logged_ms = db_ms(q, 8);
    db_copy(q, 9, row->plant, sizeof row->plant);
}

int action_get(struct store *store, int64_t id, struct action_row *ret, struct error *err)
{
    static const char SQL[] = ACTION_COLUMNS "WHERE id = ?1 AND " SEEN_IN("?2", "plant");
    struct db_query q = db_query(store, SQL, DB(DB_INT(id), DB_TEXT(seen_list(store))), err);
    if (db_next(&q))
        read_action(&q, ret);
    return db_found(&q, "there is no action %lld", (long long)id);
}

int action_list(struct store *store, action_each each, void *arg, struct error *err)
{
    static const char SQL[] =
        ACTION_COLUMNS "WHERE " SEEN_IN("?1", "plant") " ORDER BY at_ms DESC, id DESC";
    struct db_query q = db_query(store, SQL, DB(DB_TEXT(seen_list(store))), err);
    int rc = 0;
    while (!rc && db_next(&q)) {
        struct action_row row;
        read_action(&q, &row);
        rc = each(arg, &row);
    }
    return db_end(&q, rc);
}

#include "store/seen.h"
#include "base/text.h"
#include "store/db.h"
#include "store/seen_inside.h"
#include "store/store_inside.h"
#include <stdio.h>
#include <string.h>

void seen_set(struct store *store, const struct seen_plants *seen)
{
    struct seen_kept *kept = &store->seen;
    kept->some = seen != NULL;
    kept->count = 0;
    snprintf(kept->list, sizeof kept->list, ",");
    for (int i = 0; seen && i < seen->count; i++) {
        size_t used = strlen(kept->list);
        text_clip(seen->plant[i], kept->plant[kept->count++], sizeof kept->plant[0]);
        snprintf(kept->list + used, sizeof kept->list - used, "%s,", kept->plant[i]);
    }
    text_clip(seen ? seen->user : "", kept->user, sizeof kept->user);
}

const char *seen_list(const struct store *store)
{
    return store->seen.some ? store->seen.list : NULL;
}

bool seen_all(const struct store *store)
{
    return !store->seen.some;
}

bool seen_whole(struct store *store)
{
    bool some = store->seen.some;
    store->seen.some = false;
    return some;
}

void seen_again(struct store *store, bool some)
{
    store->seen.some = some;
}

bool seen_plant(const struct store *store, const char *plant)
{
    const struct seen_kept *seen = &store->seen;
    bool is = !seen->some;
    for (int i = 0; i < seen->count && !is; i++)
        is = strcmp(seen->plant[i], plant) == 0;
    return is;
}

bool seen_code(struct store *store, const char *code)
{
    static const char SQL[] = "SELECT plant FROM lot WHERE lot = ?1";
    if (!store->seen.some)
        return true;
    struct db_query q = db_query(store, SQL, DB(DB_TEXT(code)), NULL);
    bool is = !db_next(&q) || seen_plant(store, db_text(&q, 0));
    return db_end(&q, 0) == 0 && is;
}

/* Its rows: a plant, and whether who asks entered it. */
static bool any(struct store *store, const char *sql, struct db_value what)
{
    if (!store->seen.some)
        return true;
    struct db_query q = db_query(store, sql, DB(what, DB_TEXT(store->seen.user)), NULL);
    bool is = false;
    while (db_next(&q)) {
        const char *plant = db_text(&q, 0);
        is = is || (*plant ? seen_plant(store, plant) : db_int(&q, 1) != 0);
    }
    return db_end(&q, 0) == 0 && is;
}

/* Who entered one of its complaints. */
#define SEEN_ENTERED(of)                                                                           \
    "EXISTS(SELECT 1 FROM complaint k JOIN entry e ON e.report = k.uuid WHERE k." of               \
    " AND e.logged_by = ?2)"

bool seen_case(struct store *store, int64_t case_id)
{
    static const char SQL[] =
        "SELECT c.plant, " SEEN_ENTERED("case_id = c.id") " FROM complaint_case c"
                                                          " WHERE c.id = ?1";
    return any(store, SQL, DB_INT(case_id));
}

bool seen_complaint(struct store *store, int64_t complaint_id)
{
    static const char SQL[] =
        "SELECT c.plant, " SEEN_ENTERED("id = c.id") " FROM complaint c WHERE c.id = ?1";
    return any(store, SQL, DB_INT(complaint_id));
}

bool seen_report(struct store *store, const char *uuid)
{
    static const char SQL[] = "SELECT c.plant, " SEEN_ENTERED(
        "id = c.id") " FROM complaint c WHERE c.uuid = ?1 OR c.id IN (SELECT complaint_id"
                     " FROM joined WHERE uuid = ?1)";
    return any(store, SQL, DB_TEXT(uuid));
}

#include "store/call_back.h"
#include "store/db.h"
#include "store/seen_inside.h"
#include <assert.h>

int call_back_ask(struct store *store, const char *report, int32_t due_day, int64_t entry_id,
                  struct error *err)
{
    assert(store_writing(store));
    static const char SQL_AGAIN[] =
        "UPDATE call_back SET due_day = ?2, asked_id = ?3 WHERE report ="
        " ?1 AND answered_id IS NULL";
    static const char SQL[] = "INSERT INTO call_back(report, due_day, asked_id) VALUES(?1, ?2, ?3)";
    const struct db_value *with = DB(DB_TEXT(report), DB_DAY(due_day), DB_INT(entry_id));
    int rc = db_run(store, SQL_AGAIN, with, err);
    return rc || db_changes(store) ? rc : db_run(store, SQL, with, err);
}

int call_back_answer(struct store *store, const char *report, int64_t entry_id, struct error *err)
{
    assert(store_writing(store));
    static const char SQL[] =
        "UPDATE call_back SET answered_id = ?2 WHERE report = ?1 AND answered_id IS NULL";
    return db_run(store, SQL, DB(DB_TEXT(report), DB_INT(entry_id)), err);
}

/* Who called is known: a key of their own, not of what a text repeats (store/contact.h); and a
 * name alone calls nobody: a number or a mail address begins with a figure or has an @. */
#define KNOWN(report, complaint_id)                                                                \
    "EXISTS (SELECT 1 FROM contact k JOIN contact_key y ON y.contact_id = k.id WHERE y.of = 0 AND" \
    " (y.key LIKE '%@%' OR ltrim(y.key, '#+(0123456789') <> y.key) AND"                            \
    " k.complaint_id = " complaint_id " AND (k.report = " report " OR (k.report = '' AND"          \
    " " report " = (SELECT o.uuid FROM complaint o WHERE o.id = " complaint_id "))))"
#define WAITING                                                                                    \
    " FROM call_back b JOIN follow_entry e ON e.id = b.asked_id LEFT JOIN joined j"                \
    " ON j.uuid = b.report JOIN complaint c ON c.id = coalesce(j.complaint_id,"                    \
    " (SELECT o.id FROM complaint o WHERE o.uuid = b.report)) WHERE b.answered_id IS NULL"         \
    " AND c.withdrawn_ms IS NULL AND (?1 IS NULL OR b.due_day <= ?1)"                              \
    " AND " SEEN_IN("?2", "c.plant") " AND " KNOWN("b.report", "c.id")

int call_back_waiting(struct store *store, const struct call_back_query *query, call_back_each each,
                      void *arg, struct error *err)
{
    static const char SQL[] =
        "SELECT b.report, c.uuid, c.id, c.case_id, b.due_day, e.text, e.by_name, e.by_user,"
        " e.at_ms" WAITING " AND (?3 IS NULL OR c.case_id = ?3) ORDER BY c.harm DESC, b.due_day,"
        " b.id LIMIT ?4";
    struct db_query q = db_query(store, SQL,
                                 DB(DB_DAY(query->until_day), DB_TEXT(seen_list(store)),
                                    DB_ID(query->case_id), DB_INT(query->limit)),
                                 err);
    int rc = 0;
    db_keep(&q); /* callbacks ask for contacts */
    while (!rc && db_next(&q)) {
        const struct call_back_row row = {.report = db_text(&q, 0),
                                          .complaint = db_text(&q, 1),
                                          .complaint_id = db_int64(&q, 2),
                                          .case_id = db_int64(&q, 3),
                                          .due_day = db_day(&q, 4),
                                          .why = db_text(&q, 5),
                                          .by_name = db_text(&q, 6),
                                          .user = db_text(&q, 7),
                                          .asked_ms = db_ms(&q, 8)};
        rc = each(arg, &row);
    }
    return db_end(&q, rc);
}

int call_back_count(struct store *store, int32_t until_day, const char *plant, int64_t *ret,
                    struct error *err)
{
    static const char SQL[] = "SELECT count(*)" WAITING " AND (?3 IS NULL OR c.plant = ?3)";
    return db_number(store, SQL, DB(DB_DAY(until_day), DB_TEXT(seen_list(store)), DB_SAID(plant)),
                     ret, err);
}

int call_back_none_yet(struct store *store, int64_t case_id, call_back_each_report each, void *arg,
                       struct error *err)
{
    static const char SQL[] =
        "SELECT r.report FROM (SELECT uuid AS report, id FROM complaint WHERE case_id = ?1"
        " AND withdrawn_ms IS NULL UNION ALL SELECT j.uuid, c.id FROM complaint c JOIN joined j"
        " ON j.complaint_id = c.id WHERE c.case_id = ?1 AND c.withdrawn_ms IS NULL) r"
        " WHERE NOT EXISTS (SELECT 1 FROM call_back b WHERE b.report = r.report) AND " KNOWN(
            "r.report", "r.id");
    struct db_query q = db_query(store, SQL, DB(DB_INT(case_id)), err);
    int rc = 0;
    db_keep(&q); /* callbacks write */
    while (!rc && db_next(&q))
        rc = each(arg, db_text(&q, 0));
    return db_end(&q, rc);
}

int call_back_possible(struct store *store, const char *report, bool *ret, struct error *err)
{
    static const char SQL[] =
        "SELECT count(*) FROM (SELECT id FROM complaint WHERE uuid = ?1 UNION ALL SELECT"
        " complaint_id FROM joined WHERE uuid = ?1) r WHERE " KNOWN("?1", "r.id");
    int64_t count = 0;
    int rc = db_number(store, SQL, DB(DB_TEXT(report)), &count, err);
    *ret = count > 0;
    return rc;
}

#define LOST                                                                                       \
    " FROM complaint c JOIN complaint_case k ON k.id = c.case_id"                                  \
    " WHERE " SEEN_IN("?2", "c.plant") " AND c.harm = 1 AND c.withdrawn_ms IS NULL AND "           \
                                       "(k.state = 'open' OR k.harm_unseen = 1)"                   \
                                       " AND NOT EXISTS (SELECT 1 FROM call_back b "               \
                                       "WHERE b.report = c.uuid AND b.answered_id IS"              \
                                       " NOT NULL) AND NOT " KNOWN("c.uuid", "c.id")

int call_back_unreachable_count(struct store *store, int64_t before_ms, int64_t *ret,
                                struct error *err)
{
    static const char SQL[] = "SELECT count(*)" LOST " AND (?1 IS NULL OR c.logged_ms < ?1)";
    return db_number(store, SQL, DB(DB_MS(before_ms), DB_TEXT(seen_list(store))), ret, err);
}

int call_back_unreachable(struct store *store, int limit, call_back_each_lost each, void *arg,
                          struct error *err)
{
    static const char SQL[] = "SELECT c.uuid, c.id, c.case_id" LOST " ORDER BY c.id DESC LIMIT ?1";
    struct db_query q = db_query(store, SQL, DB(DB_INT(limit), DB_TEXT(seen_list(store))), err);
    int rc = 0;
    db_keep(&q); /* callbacks ask for the complaints */
    while (!rc && db_next(&q))
        rc = each(arg, db_text(&q, 0), db_int64(&q, 1), db_int64(&q, 2));
    return db_end(&q, rc);
}

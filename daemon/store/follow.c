#include "store/follow.h"
#include "base/short_id.h"
#include "store/db.h"
#include <assert.h>
#include <stdio.h>
#include <string.h>

/* ---- how it stands ---- */

#define COLUMNS                                                                                    \
    "f.case_id, f.since_ms, f.by_rule, coalesce(f.set_to, -1), f.may_harm, f.owner, f.due_day"

static void take_row(struct db_query *q, struct follow_row *row)
{
    *row = (struct follow_row){.case_id = db_int64(q, 0),
                               .since_ms = db_ms(q, 1),
                               .by_rule = db_int(q, 2),
                               .set_to = db_int(q, 3),
                               .may_harm = db_int(q, 4) != 0,
                               .due_day = db_day(q, 6)};
    db_copy(q, 5, row->owner, sizeof row->owner);
}

int follow_severity(const struct follow_row *row)
{
    return row->set_to == FOLLOW_NOT_SET ? row->by_rule : row->set_to;
}

int follow_get(struct store *store, int64_t case_id, struct follow_row *ret, struct error *err)
{
    static const char SQL[] = "SELECT " COLUMNS " FROM case_follow f WHERE f.case_id = ?1";
    struct db_query q = db_query(store, SQL, DB(DB_INT(case_id)), err);
    *ret = (struct follow_row){.case_id = case_id,
                               .since_ms = WHEN_UNKNOWN_MS,
                               .set_to = FOLLOW_NOT_SET,
                               .due_day = WHEN_UNKNOWN_DAY};
    if (db_next(&q))
        take_row(&q, ret);
    return db_end(&q, 0);
}

int follow_put(struct store *store, const struct follow_row *row, struct error *err)
{
    assert(store_writing(store) && row->since_ms != WHEN_UNKNOWN_MS);
    static const char SQL_AGAIN[] =
        "UPDATE case_follow SET by_rule = ?3, set_to = ?4, may_harm = ?5,"
        " owner = ?6, due_day = ?7 WHERE case_id = ?1 AND ?2 IS NOT NULL";
    static const char SQL[] =
        "INSERT INTO case_follow(case_id, since_ms, by_rule, set_to, may_harm,"
        " owner, due_day) VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7)";
    const struct db_value *with =
        DB(DB_INT(row->case_id), DB_MS(row->since_ms), DB_INT(row->by_rule),
           row->set_to == FOLLOW_NOT_SET ? DB_NULL(DB_IS_INT) : DB_INT(row->set_to),
           DB_INT(row->may_harm), DB_SAID(row->owner), DB_DAY(row->due_day));
    int rc = db_run(store, SQL_AGAIN, with, err);
    return rc || db_changes(store) ? rc : db_run(store, SQL, with, err);
}

/* ---- entries ---- */

int follow_add(struct store *store, const struct follow_entry *entry, int64_t *ret_id,
               struct error *err)
{
    assert(store_writing(store));
    static const char SQL[] = "INSERT INTO follow_entry(case_id, at_ms, what, report, was, now, "
                              "text, by_name, by_user) VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)";
    int rc = db_run(store, SQL,
                    DB(DB_INT(entry->case_id), DB_MS(entry->at_ms), DB_TEXT(entry->what),
                       DB_TEXT(entry->report), DB_TEXT(entry->was), DB_TEXT(entry->now),
                       DB_TEXT(entry->text), DB_TEXT(entry->by_name), DB_TEXT(entry->user)),
                    err);
    if (!rc && ret_id)
        *ret_id = db_last_id(store);
    return rc;
}

int follow_entries(struct store *store, int64_t case_id, follow_each_entry each, void *arg,
                   struct error *err)
{
    static const char SQL[] =
        "SELECT id, case_id, at_ms, what, report, was, now, text, by_name, by_user FROM"
        " follow_entry WHERE case_id IN (SELECT id FROM complaint_case WHERE id = ?1 OR moved_to ="
        " ?1) ORDER BY at_ms, id";
    struct db_query q = db_query(store, SQL, DB(DB_INT(case_id)), err);
    int rc = 0;
    db_keep(&q); /* callbacks ask for the reports */
    while (!rc && db_next(&q)) {
        const struct follow_entry entry = {.id = db_int64(&q, 0),
                                           .case_id = db_int64(&q, 1),
                                           .at_ms = db_ms(&q, 2),
                                           .what = db_text(&q, 3),
                                           .report = db_text(&q, 4),
                                           .was = db_text(&q, 5),
                                           .now = db_text(&q, 6),
                                           .text = db_text(&q, 7),
                                           .by_name = db_text(&q, 8),
                                           .user = db_text(&q, 9)};
        rc = each(arg, &entry);
    }
    return db_end(&q, rc);
}

/* ---- two cases that are one ---- */

static int note_moved(struct store *store, const struct follow_entry *entry, int64_t from_case,
                      struct error *err)
{
    char why[64];
    struct follow_entry moved = *entry;
    snprintf(why, sizeof why, "%s was found to be this case", CASE_ID(from_case));
    moved.report = "";
    moved.text = why;
    moved.by_name = "";
    moved.user = "";
    return follow_add(store, &moved, NULL, err);
}

static int take_owner(struct store *store, const struct follow_row *from, struct follow_row *to,
                      int64_t now_ms, struct error *err)
{
    if (!*from->owner || *to->owner)
        return 0;
    memcpy(to->owner, from->owner, sizeof to->owner);
    const struct follow_entry entry = {
        .case_id = to->case_id, .at_ms = now_ms, .what = "owner", .was = "", .now = to->owner};
    return note_moved(store, &entry, from->case_id, err);
}

static int take_day(struct store *store, const struct follow_row *from, struct follow_row *to,
                    int64_t now_ms, struct error *err)
{
    char was[16] = "", now[16];
    bool has = to->due_day != WHEN_UNKNOWN_DAY;
    if (from->due_day == WHEN_UNKNOWN_DAY || (has && to->due_day <= from->due_day))
        return 0;
    if (has)
        day_format(to->due_day, was);
    to->due_day = from->due_day;
    const struct follow_entry entry = {.case_id = to->case_id,
                                       .at_ms = now_ms,
                                       .what = "due",
                                       .was = was,
                                       .now = day_format(to->due_day, now)};
    return note_moved(store, &entry, from->case_id, err);
}

int follow_moved(struct store *store, int64_t from_case, int64_t to_case, int64_t now_ms,
                 struct error *err)
{
    struct follow_row from, to;
    int rc = follow_get(store, from_case, &from, err);
    if (!rc)
        rc = follow_get(store, to_case, &to, err);
    if (rc || from.since_ms == WHEN_UNKNOWN_MS)
        return rc;
    if (to.since_ms == WHEN_UNKNOWN_MS) { /* it is that one, its lot known */
        to = from;
        to.case_id = to_case;
        return follow_put(store, &to, err);
    }
    rc = take_owner(store, &from, &to, now_ms, err);
    if (!rc)
        rc = take_day(store, &from, &to, now_ms, err);
    return rc ? rc : follow_put(store, &to, err);
}

/* ---- what is overdue ---- */

#define OVERDUE                                                                                    \
    " FROM case_follow f JOIN complaint_case c ON c.id = f.case_id WHERE f.due_day < ?1"           \
    " AND c.complaints > 0 AND (c.state = 'open' OR c.harm_unseen = 1)"                            \
    " AND (?2 IS NULL OR c.plant = ?2)"

int follow_overdue(struct store *store, const struct follow_late *of, follow_each_case each,
                   void *arg, struct error *err)
{
    static const char SQL[] =
        "SELECT " COLUMNS OVERDUE
        " ORDER BY CASE WHEN c.harm <> 0 THEN 3 ELSE coalesce(f.set_to, f.by_rule)"
        " END DESC, f.due_day, f.case_id"
        " LIMIT ?3";
    struct db_query q =
        db_query(store, SQL, DB(DB_DAY(of->today), DB_SAID(of->plant), DB_INT(of->limit)), err);
    int rc = 0;
    db_keep(&q); /* callbacks ask for the cases */
    while (!rc && db_next(&q)) {
        struct follow_row row;
        take_row(&q, &row);
        rc = each(arg, &row);
    }
    return db_end(&q, rc);
}

int follow_overdue_count(struct store *store, const struct follow_late *of, int64_t *ret,
                         struct error *err)
{
    static const char SQL[] = "SELECT count(*)" OVERDUE;
    return db_number(store, SQL, DB(DB_DAY(of->today), DB_SAID(of->plant)), ret, err);
}

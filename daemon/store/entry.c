#include "store/entry.h"
#include "base/text.h"
#include "store/db.h"
#include "store/entry_words.h"
#include "store/move.h"
#include <assert.h>
#include <stdio.h>
#include <string.h>

enum { TICKET_SIZE = 160 };

int entry_get(struct store *store, const char *report, entry_each each, void *arg,
              struct error *err)
{
    static const char SQL[] =
        "SELECT e.logged_by, CASE WHEN e.sent <> '' THEN e.sent ELSE coalesce(j.body, c.body, '')"
        " END, e.taken FROM entry e LEFT JOIN complaint c ON c.uuid = e.report LEFT JOIN joined j"
        " ON j.uuid = e.report WHERE e.report = ?1";
    struct db_query q = db_query(store, SQL, DB(DB_TEXT(report)), err);
    int rc = 0;
    if (db_next(&q)) {
        const struct entry_row row = {db_text(&q, 0), db_text(&q, 1), db_text(&q, 2)};
        rc = each(arg, &row);
    }
    int found = db_found(&q, "nothing is kept of how %s came", report);
    return found ? found : rc;
}

static int put_words(struct store *store, const char *report, const struct complaint_new *c,
                     const char *spelt, struct error *err)
{
    char stores[2 * LENGTH_TRADE + 2];
    const char *said = c->store_said ? c->store_said : "";
    snprintf(stores, sizeof stores, "%s%s%s", said, *said && *spelt ? " " : "", spelt);
    const char *const text[ENTRY_COLUMNS] = {[ENTRY_REFERENCE] = c->reference,
                                             [ENTRY_STORE] = stores,
                                             [ENTRY_LOT_TEXT] = c->lot_text,
                                             [ENTRY_NOTE] = c->note};
    return entry_words_in(store, report, text, err);
}

int entry_put(struct store *store, const char *report, const struct complaint_new *c,
              struct error *err)
{
    assert(store_writing(store));
    static const char SQL[] =
        "INSERT INTO entry(report, logged_by, ticket, sent, taken, store)"
        " VALUES(?1, ?2, ?3, '', ?4, ?5) ON CONFLICT(report) DO UPDATE SET ticket ="
        " excluded.ticket, store = excluded.store";
    char ticket[TICKET_SIZE];
    const char *known = c->store ? c->store : "";
    const char *spelt = c->store_said && strcmp(c->store_said, known) == 0 ? "" : known;
    text_fold(c->reference ? c->reference : "", ticket, sizeof ticket);
    int rc = entry_words_out(store, report, err);
    if (!rc)
        rc = db_run(store, SQL,
                    DB(DB_TEXT(report), DB_TEXT(c->logged_by ? c->logged_by : ""), DB_SAID(ticket),
                       DB_TEXT(c->taken ? c->taken : "[]"), DB_SAID(spelt)),
                    err);
    return rc ? rc : put_words(store, report, c, spelt, err);
}

int entry_keep(struct store *store, const char *report, struct error *err)
{
    static const char SQL[] =
        "UPDATE entry SET sent = coalesce((SELECT body FROM joined WHERE uuid = ?1),"
        " (SELECT body FROM complaint WHERE uuid = ?1), '') WHERE report = ?1 AND sent = ''";
    int rc = entry_words_out(store, report, err);
    return rc ? rc : db_run(store, SQL, DB(DB_TEXT(report)), err);
}

/* ---- as they stand ---- */

#define COMPLAINTS                                                                                 \
    "SELECT c.uuid, c.body, c.id, 0, c.logged_ms, CASE WHEN c.lot_state IN ('exact',"              \
    " 'not-on-record') THEN 1 ELSE 0 END, 0 FROM complaint c WHERE "
#define JOINED                                                                                     \
    " UNION ALL SELECT j.uuid, j.body, j.complaint_id, 1, j.logged_ms, 0, 0 FROM joined j WHERE "
#define WITHOUT(uuid) "NOT EXISTS (SELECT 1 FROM entry e WHERE e.report = " uuid ")"

static int each_report(struct db_query *q, entry_each_report each, void *arg)
{
    int rc = 0;
    db_keep(q); /* callbacks write what they read */
    while (!rc && db_next(q)) {
        const struct entry_report row = {.report = db_text(q, 0),
                                         .body = db_text(q, 1),
                                         .complaint_id = db_int64(q, 2),
                                         .joined = db_int(q, 3) != 0,
                                         .logged_ms = db_int64(q, 4),
                                         .code_reads = db_int(q, 5) != 0,
                                         .entry = db_int64(q, 6)};
        rc = each(arg, &row);
    }
    return db_end(q, rc);
}

int entry_each_without(struct store *store, int limit, entry_each_report each, void *arg,
                       struct error *err)
{
    static const char SQL[] = COMPLAINTS WITHOUT("c.uuid") JOINED WITHOUT("j.uuid") " LIMIT ?1";
    struct db_query q = db_query(store, SQL, DB(DB_INT(limit)), err);
    return each_report(&q, each, arg);
}

int entry_each_after(struct store *store, int64_t after, int limit, entry_each_report each,
                     void *arg, struct error *err)
{
    static const char SQL[] =
        "SELECT e.report, coalesce(j.body, c.body), coalesce(j.complaint_id, c.id), j.id IS NOT"
        " NULL, coalesce(j.logged_ms, c.logged_ms), j.id IS NULL AND c.lot_state IN ('exact',"
        " 'not-on-record'), e.id FROM (SELECT id, report FROM entry WHERE id > ?1 ORDER BY id LIMIT"
        " ?2) e LEFT JOIN complaint c ON c.uuid = e.report LEFT JOIN joined j ON j.uuid = e.report"
        " ORDER BY e.id";
    struct db_query q = db_query(store, SQL, DB(DB_INT(after), DB_INT(limit)), err);
    return each_report(&q, each, arg);
}

int entry_each_of(struct store *store, int64_t complaint_id, entry_each_report each, void *arg,
                  struct error *err)
{
    static const char SQL[] = COMPLAINTS "c.id = ?1" JOINED "j.complaint_id = ?1";
    struct db_query q = db_query(store, SQL, DB(DB_INT(complaint_id)), err);
    return each_report(&q, each, arg);
}

static int rewrite_complaint(struct store *store, const struct entry_report *row,
                             const struct complaint_new *c, const char *first, struct error *err)
{
    static const char SQL[] =
        "UPDATE complaint SET body = ?2, lot_text = ?3, store = ?4, route = ?5 WHERE uuid = ?1";
    static const char SQL_FIRST[] = "UPDATE joined_first SET body = ?2 WHERE complaint_id = ?1";
    struct move move;
    int rc = move_begin(store, row->complaint_id, &move, err);
    if (!rc)
        rc = db_run(store, SQL,
                    DB(DB_TEXT(row->report), DB_TEXT(c->body), DB_TEXT(c->lot_text),
                       DB_SAID(c->store), DB_SAID(c->route)),
                    err);
    if (!rc)
        rc = move_end(store, &move, 0, row->logged_ms, err);
    return rc || !first
               ? rc
               : db_run(store, SQL_FIRST, DB(DB_INT(row->complaint_id), DB_TEXT(first)), err);
}

int entry_forget_words(struct store *store, struct error *err)
{
    return entry_words_forget(store, err);
}

int entry_rewrite(struct store *store, const struct entry_report *row,
                  const struct complaint_new *c, const char *sent, const char *first,
                  struct error *err)
{
    assert(store_writing(store));
    static const char SQL_JOINED[] = "UPDATE joined SET body = ?2 WHERE uuid = ?1";
    static const char SQL_SENT[] = "UPDATE entry SET sent = ?2 WHERE report = ?1";
    int rc = entry_words_out(store, row->report, err);
    if (!rc)
        rc = row->joined
                 ? db_run(store, SQL_JOINED, DB(DB_TEXT(row->report), DB_TEXT(c->body)), err)
                 : rewrite_complaint(store, row, c, first, err);
    if (!rc)
        rc = entry_put(store, row->report, c, err);
    if (!rc)
        rc = db_run(store, SQL_SENT, DB(DB_TEXT(row->report), DB_TEXT(sent ? sent : "")), err);
    return rc || !sent ? rc : entry_forget_words(store, err);
}

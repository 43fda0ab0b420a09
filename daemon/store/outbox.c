/* The state of a mail follows from its deliveries and is kept beside them, so that what waits is
 * found by an index among all that ever left.
 * outbox.state: new (no deliveries), open (some have not left, or only the hook's have), sent.
 * outbox_delivery.state: waiting, parked, sent. */
#include "store/outbox.h"
#include "base/jsonx.h"
#include "base/text.h"
#include "store/db.h"
#include "store/numbers.h"
#include "store/seen_inside.h"
#include <assert.h>
#include <stdlib.h>
#include <string.h>

#define OF_MAIL " FROM outbox_delivery d WHERE d.mail_id = outbox.id"
/* What a mail's state is by its deliveries. */
#define STATE_NOW                                                                                  \
    "CASE WHEN EXISTS(SELECT 1" OF_MAIL " AND d.state <> 'sent') THEN 'open'"                      \
    " WHEN EXISTS(SELECT 1" OF_MAIL " AND d.recipient <> '" OUTBOX_HOOK "') THEN 'sent'"           \
    " WHEN EXISTS(SELECT 1" OF_MAIL ") THEN 'open' ELSE 'new' END"
/* For people: parked if it is held, or some of it is and none of it waits. */
#define STATE_SHOWN                                                                                \
    "CASE WHEN outbox.state = 'sent' THEN 'sent' WHEN outbox.held IS NOT NULL THEN 'parked'"       \
    " WHEN EXISTS(SELECT 1" OF_MAIL " AND d.state = 'parked')"                                     \
    " AND NOT EXISTS(SELECT 1" OF_MAIL                                                             \
    " AND d.state = 'waiting') THEN 'parked' ELSE 'waiting' END"

void outbox_delivery_free(struct outbox_delivery *delivery)
{
    free(delivery->payload);
    delivery->payload = NULL;
}

static int check_length(const char *payload, struct error *err)
{
    return strlen(payload) <= JSONX_BYTES
               ? 0
               : error_set(err, ERROR_TOO_LARGE, "is larger than a mail may be (%u bytes)",
                           JSONX_BYTES);
}

int outbox_add(struct store *store, const struct outbox_new *mail, struct error *err)
{
    assert(store_writing(store));
    static const char SQL[] =
        "INSERT INTO outbox(id, event, case_id, revision, message_id, created_ms,"
        " not_before_ms) VALUES(" NUMBERS_NEXT(
            "outbox", "mail/last") ", ?1, ?2, ?3, ?4, ?5, ?6) ON CONFLICT(message_id)"
                                   " WHERE event <> 'case' DO NOTHING";
    static const char SQL_TEXT[] = "INSERT INTO outbox_text(mail_id, payload) VALUES(?1, ?2)";
    int rc = check_length(mail->payload, err);
    if (!rc)
        rc = db_run(store, SQL,
                    DB(DB_TEXT(mail->event), DB_ID(mail->case_id), DB_INT(mail->revision),
                       DB_TEXT(mail->message_id), DB_MS(mail->created_ms),
                       DB_ID(mail->not_before_ms)),
                    err);
    if (rc || db_changes(store) == 0)
        return rc;
    return db_run(store, SQL_TEXT, DB(DB_INT(db_last_id(store)), DB_TEXT(mail->payload)), err);
}

int outbox_ids(struct store *store, const char *begin, outbox_each_id each, void *arg,
               struct error *err)
{
    static const char SQL[] =
        "SELECT message_id FROM outbox WHERE event <> 'case' AND message_id >= ?1"
        " AND message_id < ?1 || '~'";
    struct db_query q = db_query(store, SQL, DB(DB_TEXT(begin)), err);
    int rc = 0;
    while (!rc && db_next(&q))
        rc = each(arg, db_text(&q, 0));
    return db_end(&q, rc);
}

/* ---- who gets it ---- */

/* The plant of a mail's case. */
#define PLANT_OF(mail)                                                                             \
    "coalesce((SELECT k.plant FROM complaint_case k WHERE k.id = " mail ".case_id), '')"
#define IS_OF(mail, of, but)                                                                       \
    SEEN_IN(of, PLANT_OF(mail))                                                                    \
    " AND (" but " IS NULL OR instr(" but ", ',' || " PLANT_OF(mail) " || ',') = 0)"

#define SAYS(what)                                                                                 \
    "EXISTS (SELECT 1 FROM outbox_text t WHERE t.mail_id = outbox.id AND instr(t.payload, " what   \
    ") > 0)"

static int add_deliveries(struct store *store, const struct outbox_addresses *a,
                          const char *recipient, int64_t now_ms, struct error *err)
{
    static const char SQL[] =
        "INSERT INTO outbox_delivery(mail_id, recipient, urgent, since_ms, due_ms)"
        " SELECT id, ?2, CASE event WHEN '" OUTBOX_URGENT
        "' THEN 1 ELSE 0 END, ?4, CASE WHEN not_before_ms > ?4 THEN"
        " not_before_ms ELSE ?4 END FROM outbox WHERE event = ?1"
        " AND (state = 'new' OR (?3 = 1 AND state = 'open')) AND ((" IS_OF(
            "outbox", "?5",
            "?6") " AND NOT (case_id IS NULL AND " SAYS("?8") ")) OR (case_id IS "
                                                              "NULL AND " SAYS(
                                                                  "?7") ")) ON CONFLICT DO NOTHING";
    json_t *plant = a->plant ? json_string(a->plant) : NULL;
    char *name = plant ? jsonx_dump(plant) : NULL;
    struct text_buffer says = {0}; /* as the payload has it: nobody's words look so within a text */
    if (name)
        text_appendf(&says, "\"" OUTBOX_PLANT "\":%s", name);
    int rc = db_run(store, SQL,
                    DB(DB_TEXT(a->event), DB_TEXT(recipient), DB_INT(a->all), DB_MS(now_ms),
                       DB_TEXT(a->of), DB_TEXT(a->but), DB_TEXT(says.data),
                       DB_TEXT("\"" OUTBOX_PLANT_ALONE "\":true")),
                    err);
    text_buffer_free(&says);
    free(name);
    json_decref(plant);
    return rc;
}

static bool is_among(const struct outbox_addresses *a, const char *recipient)
{
    for (size_t i = 0; i < a->count; i++) {
        if (strcmp(a->recipient[i], recipient) == 0)
            return true;
    }
    return false;
}

/* Makes `*after` the next recipient who still has a delivery of this event to come; "": none. */
static int next_unsent(struct store *store, const struct outbox_addresses *a,
                       char after[OUTBOX_RECIPIENT], struct error *err)
{
    static const char SQL[] =
        "SELECT min(d.recipient) FROM outbox_delivery d JOIN outbox o ON o.id = d.mail_id"
        " WHERE d.state <> 'sent' AND o.event = ?1 AND d.recipient > ?2 AND " IS_OF("o", "?3",
                                                                                    "?4");
    char next[OUTBOX_RECIPIENT] = "";
    struct db_query q = db_query(
        store, SQL, DB(DB_TEXT(a->event), DB_TEXT(after), DB_TEXT(a->of), DB_TEXT(a->but)), err);
    if (db_next(&q))
        db_copy(&q, 0, next, sizeof next);
    memcpy(after, next, sizeof next);
    return db_end(&q, 0);
}

static int drop_recipient(struct store *store, const struct outbox_addresses *a,
                          const char *recipient, struct error *err)
{
    static const char SQL[] = "DELETE FROM outbox_delivery WHERE recipient = ?2 AND state <> 'sent'"
                              " AND mail_id IN (SELECT o.id FROM outbox o WHERE o.event = ?1"
                              " AND " IS_OF("o", "?3", "?4") ")";
    return db_run(store, SQL,
                  DB(DB_TEXT(a->event), DB_TEXT(recipient), DB_TEXT(a->of), DB_TEXT(a->but)), err);
}

static int drop_others(struct store *store, const struct outbox_addresses *a, struct error *err)
{
    char recipient[OUTBOX_RECIPIENT] = "";
    int rc = next_unsent(store, a, recipient, err);
    while (!rc && *recipient) {
        if (!is_among(a, recipient))
            rc = drop_recipient(store, a, recipient, err);
        if (!rc)
            rc = next_unsent(store, a, recipient, err);
    }
    return rc;
}

int outbox_addressed(struct store *store, const char *event, bool all, struct error *err)
{
    assert(store_writing(store));
    static const char SQL[] =
        "UPDATE outbox SET state = " STATE_NOW ", sent_ms = (SELECT max(d.sent_ms)" OF_MAIL ")"
        " WHERE event = ?1 AND (state = 'new' OR (?2 = 1 AND state = 'open'))";
    static const char SQL_LEFT[] =
        "DELETE FROM outbox_text WHERE ?1 = 'case' AND EXISTS (SELECT 1 FROM outbox o WHERE"
        " o.id = mail_id AND o.event = ?1 AND o.state = 'sent')";
    int rc = db_run(store, SQL, DB(DB_TEXT(event), DB_INT(all)), err);
    return rc || !all ? rc : db_run(store, SQL_LEFT, DB(DB_TEXT(event)), err);
}

int outbox_address(struct store *store, const struct outbox_addresses *addresses, int64_t now_ms,
                   struct error *err)
{
    assert(store_writing(store));
    int rc = addresses->all ? drop_others(store, addresses, err) : 0;
    for (size_t i = 0; i < addresses->count && !rc; i++)
        rc = add_deliveries(store, addresses, addresses->recipient[i], now_ms, err);
    return rc;
}

/* `others_ms`: for how long one of another kind was not tried. */
static int is_stuck(struct store *store, int64_t now_ms, int64_t others_ms, bool *ret,
                    struct error *err)
{
    enum { URGENT_MS = 10000 };
    static const char SQL[] =
        "SELECT 1 FROM outbox_delivery WHERE state = 'waiting' AND ((urgent = 1 AND attempts > 0)"
        " OR (attempts = 0 AND due_ms < CASE urgent WHEN 1 THEN ?1 ELSE ?2 END))"
        " UNION ALL SELECT 1 FROM outbox WHERE state = 'new' AND event = '" OUTBOX_URGENT "'"
        " AND coalesce(not_before_ms, created_ms) < ?1 LIMIT 1";
    struct db_query q =
        db_query(store, SQL, DB(DB_MS(now_ms - URGENT_MS), DB_MS(now_ms - others_ms)), err);
    *ret = db_next(&q);
    return db_end(&q, 0);
}

int outbox_urgent_stuck(struct store *store, int64_t now_ms, bool *ret, struct error *err)
{
    return is_stuck(store, now_ms, now_ms, ret, err); /* none is of before all time */
}

int outbox_doubtful(struct store *store, int64_t now_ms, bool *ret, struct error *err)
{
    enum { OTHER_MS = 60000 };
    return is_stuck(store, now_ms, OTHER_MS, ret, err);
}

int outbox_has_new(struct store *store, const char *event, bool *ret, struct error *err)
{
    static const char SQL[] = "SELECT 1 FROM outbox WHERE state = 'new' AND event = ?1 LIMIT 1";
    struct db_query q = db_query(store, SQL, DB(DB_TEXT(event)), err);
    *ret = db_next(&q);
    return db_end(&q, 0);
}

int outbox_urgent_of(struct store *store, int64_t case_id, struct when_span since_now,
                     outbox_each_urgent each, void *arg, struct error *err)
{
    static const char SQL[] =
        "SELECT o.id, coalesce(o.not_before_ms, o.created_ms) AS at_ms, o.not_before_ms IS NOT"
        " NULL, o.taken_up = 0 AND o.not_before_ms > ?3 AND NOT EXISTS (SELECT 1 FROM"
        " outbox_delivery d WHERE d.mail_id = o.id AND (d.attempts > 0 OR d.state <> 'waiting' OR"
        " d.due_ms <= ?3)) FROM outbox o WHERE (o.case_id = ?1 OR (?1 = 0 AND o.case_id IS NULL)) "
        "AND o.event "
        "= '" OUTBOX_URGENT "' AND o.held IS"
        " NULL AND coalesce(o.not_before_ms, o.created_ms) > ?2 AND o.message_id NOT LIKE"
        " '<again-%' AND o.created_ms > coalesce((SELECT v.at_ms FROM verdict v WHERE v.case_id ="
        " ?1 AND v.reopened_ms IS NULL), 0) ORDER BY o.id DESC";
    struct db_query q = db_query(
        store, SQL, DB(DB_INT(case_id), DB_MS(since_now.from_ms), DB_MS(since_now.to_ms)), err);
    int rc = 0;
    db_keep(&q);
    while (!rc && db_next(&q)) {
        const struct outbox_urgent mail = {db_int64(&q, 0), db_ms(&q, 1), db_int(&q, 2),
                                           db_int(&q, 3)};
        rc = each(arg, &mail);
    }
    return db_end(&q, rc);
}

int outbox_payload(struct store *store, int64_t mail_id, char **ret, struct error *err)
{
    struct db_query q = db_query(store, "SELECT payload FROM outbox_text WHERE mail_id = ?1",
                                 DB(DB_INT(mail_id)), err);
    char *payload = db_next(&q) ? xstrdup(db_text(&q, 0)) : NULL;
    *ret = payload;
    return db_end(&q, 0);
}

#define IS_DUE "d.state = 'waiting' AND (d.due_ms <= ?1 OR d.due_ms > ?2)"
#define GATHERS_STILL "o.state = 'open' AND o.not_before_ms IS NOT NULL AND o.taken_up = 0"

int outbox_gathered_now(struct store *store, int64_t case_id, int64_t now_ms, struct error *err)
{
    static const char DELIVERY[] =
        "UPDATE outbox_delivery SET due_ms = ?2 WHERE state = 'waiting' AND due_ms > ?2 AND mail_id"
        " IN (SELECT o.id FROM outbox o WHERE o.case_id = ?1 AND " GATHERS_STILL ")";
    static const char MAIL[] = "UPDATE outbox AS o SET not_before_ms = ?2 WHERE o.case_id = ?1 AND"
                               " o.not_before_ms > ?2 AND " GATHERS_STILL;
    int rc = db_run(store, DELIVERY, DB(DB_INT(case_id), DB_MS(now_ms)), err);
    return rc ? rc : db_run(store, MAIL, DB(DB_INT(case_id), DB_MS(now_ms)), err);
}

int outbox_gathered_due(struct store *store, int64_t now_ms, bool *ret, struct error *err)
{
    static const char SQL[] = "SELECT 1 FROM outbox o JOIN outbox_delivery d ON d.mail_id = o.id"
                              " WHERE " GATHERS_STILL " AND " IS_DUE " LIMIT 1";
    struct db_query q =
        db_query(store, SQL, DB(DB_MS(now_ms), DB_MS(now_ms + OUTBOX_RETRY_MOST_MS)), err);
    *ret = db_next(&q);
    return db_end(&q, 0);
}

int outbox_take_up(struct store *store, int64_t now_ms, struct error *err)
{
    assert(store_writing(store));
    static const char SQL[] =
        "UPDATE outbox SET taken_up = 1 WHERE id IN (SELECT o.id FROM outbox o"
        " JOIN outbox_delivery d ON d.mail_id = o.id"
        " WHERE " GATHERS_STILL " AND " IS_DUE ")";
    return db_run(store, SQL, DB(DB_MS(now_ms), DB_MS(now_ms + OUTBOX_RETRY_MOST_MS)), err);
}

/* ---- deliveries ---- */

static int take_deliveries(struct db_query *q, bool urgent, struct outbox_deliveries *ret)
{
    while (db_next(q)) {
        struct outbox_delivery *row = &ret->row[q->rows - 1];
        *row = (struct outbox_delivery){.mail_id = db_int64(q, 0),
                                        .case_id = db_int64(q, 8),
                                        .created_ms = db_ms(q, 1),
                                        .since_ms = db_ms(q, 2),
                                        .attempts = db_int(q, 3),
                                        .urgent = urgent,
                                        .payload = xstrdup(db_text(q, 7))};
        db_copy(q, 4, row->event, sizeof row->event);
        db_copy(q, 5, row->recipient, sizeof row->recipient);
        db_copy(q, 6, row->message_id, sizeof row->message_id);
        db_copy(q, 9, row->plant, sizeof row->plant);
    }
    ret->count = q->rows;
    return db_end(q, 0);
}

int outbox_due(struct store *store, bool urgent, int64_t now_ms, struct outbox_deliveries *ret,
               struct error *err)
{
    /* the payloads stay out of the sorting: many may be due. Recipients take turns: one with
     * hundreds waiting leaves room in the list for the others */
    static const char SQL[] =
        "SELECT d.mail_id, o.created_ms, d.since_ms, d.attempts, o.event, d.recipient,"
        " o.message_id, x.payload, o.case_id, " PLANT_OF(
            "o") " FROM (SELECT d.*, row_number() OVER (PARTITION BY"
                 " d.recipient ORDER BY d.attempts > 0, d.due_ms, d.mail_id) AS turn FROM "
                 "outbox_delivery d"
                 " JOIN outbox o ON o.id = d.mail_id"
                 " WHERE d.state = 'waiting' AND d.urgent = ?1 AND (d.due_ms <= ?2 OR d.due_ms > "
                 "?3)"
                 " AND o.held IS NULL AND (o.not_before_ms IS NULL OR o.taken_up = 1)"
                 " AND (d.urgent = 1 OR NOT EXISTS(SELECT 1 FROM outbox b JOIN outbox_delivery e"
                 " ON e.mail_id = b.id WHERE b.case_id = o.case_id AND b.id < o.id AND b.event = "
                 "o.event"
                 " AND b.held IS NULL AND e.recipient = d.recipient AND e.state = 'waiting'))"
                 " ORDER BY d.attempts > 0, turn, d.due_ms, d.mail_id LIMIT ?4) d"
                 " JOIN outbox o ON o.id = d.mail_id LEFT JOIN outbox_text x ON x.mail_id = o.id"
                 " ORDER BY d.attempts > 0, d.turn, d.due_ms, d.mail_id";
    struct db_query q = db_query(store, SQL,
                                 DB(DB_INT(urgent), DB_MS(now_ms),
                                    DB_MS(now_ms + OUTBOX_RETRY_MOST_MS), DB_INT(ret->capacity)),
                                 err);
    return take_deliveries(&q, urgent, ret);
}

int outbox_stranded(struct store *store, const struct outbox_addresses *to, int64_t now_ms,
                    struct outbox_deliveries *ret, struct error *err)
{
    enum { TAKEN_UP_MS = 60000 }; /* whoever gathers in a mail has committed by then */
    static const char SQL[] =
        "SELECT o.id, o.created_ms, coalesce(d.since_ms, ?2), coalesce(d.attempts, 0), o.event, ?1,"
        " o.message_id, x.payload, o.case_id, " PLANT_OF(
            "o") " FROM outbox o LEFT JOIN outbox_text x"
                 " ON x.mail_id = o.id LEFT JOIN outbox_delivery d ON d.mail_id = o.id AND "
                 "d.recipient = ?1"
                 " WHERE o.event = '" OUTBOX_URGENT
                 "' AND o.state IN ('new', 'open') AND o.held IS NULL"
                 " AND coalesce(o.not_before_ms, 0) <= ?3 AND (d.mail_id IS NULL OR (d.state = "
                 "'waiting'"
                 " AND o.not_before_ms IS NOT NULL AND o.taken_up = 0 AND d.due_ms <= ?2))"
                 " AND (d.mail_id IS NOT NULL OR o.state = 'new') AND " IS_OF(
                     "o", "?5", "?6") " ORDER BY o.id LIMIT ?4";
    struct db_query q =
        db_query(store, SQL,
                 DB(DB_TEXT(to->recipient[0]), DB_MS(now_ms), DB_MS(now_ms - TAKEN_UP_MS),
                    DB_INT(ret->capacity), DB_TEXT(to->of), DB_TEXT(to->but)),
                 err);
    return take_deliveries(&q, true, ret);
}

static int run_on_mail(struct store *store, const char *sql, int64_t mail_id, struct error *err)
{
    return db_run(store, sql, DB(DB_INT(mail_id)), err);
}

static int restate_mail(struct store *store, int64_t mail_id, struct error *err)
{
    static const char SQL[] = "UPDATE outbox SET state = " STATE_NOW ", sent_ms ="
                              " (SELECT max(d.sent_ms)" OF_MAIL ") WHERE id = ?1";
    static const char SQL_LEFT[] = "DELETE FROM outbox_text WHERE mail_id IN (SELECT id FROM"
                                   " outbox WHERE id = ?1 AND event = 'case' AND state = 'sent')";
    int rc = run_on_mail(store, SQL, mail_id, err);
    return rc ? rc : run_on_mail(store, SQL_LEFT, mail_id, err);
}

bool outbox_stands(struct store *store, const struct outbox_delivery *delivery)
{
    /* one that is stranded on a full disk has no row, or never had one */
    static const char SQL[] = "SELECT count(*) FROM outbox_delivery WHERE mail_id = ?1 AND"
                              " recipient = ?2 AND (state <> 'waiting' OR attempts <> ?3)";
    int64_t other = 0;
    int rc = db_number(
        store, SQL,
        DB(DB_INT(delivery->mail_id), DB_TEXT(delivery->recipient), DB_INT(delivery->attempts)),
        &other, NULL);
    return rc == 0 && other == 0;
}

int outbox_sent(struct store *store, int64_t mail_id, const char *recipient, int64_t now_ms,
                struct error *err)
{
    assert(store_writing(store));
    static const char SQL[] =
        "UPDATE outbox_delivery SET state = 'sent', sent_ms = ?3, attempts = attempts + 1,"
        " last_error = NULL WHERE mail_id = ?1 AND recipient = ?2";
    int rc = db_run(store, SQL, DB(DB_INT(mail_id), DB_TEXT(recipient), DB_MS(now_ms)), err);
    return rc ? rc : restate_mail(store, mail_id, err);
}

int outbox_failed(struct store *store, const struct outbox_delivery *delivery, int64_t due_ms,
                  bool park, const char *why, struct error *err)
{
    assert(store_writing(store) && !(park && delivery->urgent));
    static const char SQL[] =
        "UPDATE outbox_delivery SET attempts = attempts + 1, due_ms = ?3, last_error = ?5,"
        " state = CASE ?4 WHEN 1 THEN 'parked' ELSE 'waiting' END"
        " WHERE mail_id = ?1 AND recipient = ?2 AND state <> 'sent'";
    return db_run(store, SQL,
                  DB(DB_INT(delivery->mail_id), DB_TEXT(delivery->recipient), DB_MS(due_ms),
                     DB_INT(park), DB_TEXT(why)),
                  err);
}

static int make_due(struct store *store, int64_t mail_id, int64_t now_ms, int *ret_count,
                    struct error *err)
{
    static const char SQL[] =
        "UPDATE outbox_delivery SET state = 'waiting', due_ms = ?2, since_ms ="
        " CASE state WHEN 'parked' THEN ?2 ELSE since_ms END"
        " WHERE state <> 'sent' AND (mail_id = ?1 OR (?1 IS NULL AND NOT EXISTS (SELECT 1 FROM"
        " outbox o WHERE o.id = outbox_delivery.mail_id AND o.held IS NOT NULL)))";
    static const char SQL_FREE[] = "UPDATE outbox SET held = NULL WHERE id = ?1";
    int rc = db_run(store, SQL, DB(DB_ID(mail_id), DB_MS(now_ms)), err);
    if (!rc)
        *ret_count = db_changes(store);
    if (!rc && mail_id > 0)
        rc = db_run(store, SQL_FREE, DB(DB_ID(mail_id)), err);
    return rc;
}

static int refuse_unless_open(struct store *store, int64_t mail_id, struct error *err)
{
    static const char SQL[] = "SELECT state FROM outbox WHERE id = ?1";
    struct db_query q = db_query(store, SQL, DB(DB_INT(mail_id)), err);
    bool sent = db_next(&q) && strcmp(db_text(&q, 0), "sent") == 0;
    int rc = db_found(&q, "there is no mail %lld", (long long)mail_id);
    return sent ? error_set(err, ERROR_CONFLICT, "mail %lld has left already", (long long)mail_id)
                : rc;
}

int outbox_due_again(struct store *store, int64_t mail_id, int64_t now_ms, int *ret_count,
                     struct error *err)
{
    int rc = mail_id > 0 ? refuse_unless_open(store, mail_id, err) : 0;
    return rc ? rc : make_due(store, mail_id, now_ms, ret_count, err);
}

/* ---- what was told of a complaint ---- */

int outbox_about(struct store *store, int64_t complaint_id, const char *report,
                 outbox_each_payload each, void *arg, struct error *err)
{
    static const char SQL[] =
        "WITH own AS (SELECT case_id AS id FROM complaint WHERE id = ?1 UNION SELECT"
        " CAST(substr(k.was, 2) AS INTEGER) FROM complaint c JOIN complaint_change k"
        " ON k.complaint = c.uuid WHERE c.id = ?1 AND k.field = 'case')"
        " SELECT o.id, x.payload, o.event = 'digest' FROM outbox o JOIN outbox_text x ON x.mail_id "
        "= o.id"
        " WHERE o.case_id IN (SELECT id FROM own UNION"
        " SELECT m.id FROM complaint_case m JOIN own ON m.moved_to = own.id)"
        " OR (?2 <> '' AND o.case_id IS NULL AND o.event = '" OUTBOX_URGENT "')"
        " OR (o.event = 'digest' AND o.state <> 'sent') ORDER BY o.id";
    struct db_query q = db_query(store, SQL, DB(DB_INT(complaint_id), DB_TEXT(report)), err);
    int rc = 0;
    db_keep(&q); /* callbacks write what they read */
    while (!rc && db_next(&q)) {
        const char *payload = db_text(&q, 1);
        if (db_int(&q, 2) || strstr(payload, report))
            rc = each(arg, db_int64(&q, 0), payload);
    }
    return db_end(&q, rc);
}

int outbox_rewrite(struct store *store, int64_t mail_id, const char *payload, struct error *err)
{
    static const char SQL[] = "UPDATE outbox_text SET payload = ?2 WHERE mail_id = ?1";
    int rc = check_length(payload, err);
    return rc ? rc : db_run(store, SQL, DB(DB_INT(mail_id), DB_TEXT(payload)), err);
}

/* ---- for people ---- */

int outbox_count(struct store *store, struct outbox_counts *ret, struct error *err)
{
    static const char SQL[] =
        "SELECT count(*) FILTER (WHERE shown = 'waiting'), count(*) FILTER (WHERE shown ="
        " 'parked'),"
        " (SELECT count(*) FROM outbox WHERE state = 'sent'), (SELECT last_error FROM"
        " outbox_delivery WHERE last_error IS NOT NULL AND state <> 'sent' ORDER BY due_ms DESC"
        " LIMIT 1), count(*) FILTER (WHERE shown = 'waiting' AND event = '" OUTBOX_URGENT
        "'), min(CASE shown WHEN 'waiting' THEN created_ms END), min(CASE WHEN shown = 'waiting'"
        " AND event = '" OUTBOX_URGENT
        "' THEN coalesce(not_before_ms, created_ms) END) FROM (SELECT event, created_ms,"
        " not_before_ms, " STATE_SHOWN " AS shown FROM outbox WHERE state IN ('new', 'open')) o";
    struct db_query q = db_query(store, SQL, NULL, err);
    if (db_next(&q)) {
        ret->waiting = db_int64(&q, 0);
        ret->parked = db_int64(&q, 1);
        ret->sent = db_int64(&q, 2);
        db_copy(&q, 3, ret->last_error, sizeof ret->last_error);
        ret->urgent = db_int64(&q, 4);
        ret->oldest_ms = db_ms(&q, 5);
        ret->oldest_urgent_ms = db_ms(&q, 6);
    }
    return db_end(&q, 0);
}

int outbox_list(struct store *store, bool sent, int limit, outbox_each each, void *arg,
                struct error *err)
{
#define MAIL_COLUMNS                                                                               \
    "SELECT id, case_id, created_ms, sent_ms, event, " STATE_SHOWN ", held FROM outbox"
    static const char UNSENT[] = MAIL_COLUMNS
        " WHERE state IN ('new', 'open') ORDER BY event = '" OUTBOX_URGENT "' DESC, id LIMIT ?1";
    static const char SENT[] = MAIL_COLUMNS " WHERE state = 'sent' ORDER BY id DESC LIMIT ?1";
    struct db_query q = db_query(store, sent ? SENT : UNSENT, DB(DB_INT(limit)), err);
    int rc = 0;
    db_keep(&q); /* callbacks ask for the recipients */
    while (!rc && db_next(&q)) {
        const struct outbox_mail mail = {.id = db_int64(&q, 0),
                                         .case_id = db_int64(&q, 1),
                                         .created_ms = db_ms(&q, 2),
                                         .sent_ms = sent ? db_ms(&q, 3) : WHEN_UNKNOWN_MS,
                                         .event = db_text(&q, 4),
                                         .state = db_text(&q, 5),
                                         .held = db_text(&q, 6)};
        rc = each(arg, &mail);
    }
    return db_end(&q, rc);
}

int outbox_recipients(struct store *store, int64_t mail_id, outbox_each_recipient each, void *arg,
                      struct error *err)
{
    static const char SQL[] =
        "SELECT d.recipient, CASE WHEN d.state = 'waiting' AND o.held IS NOT NULL THEN 'parked'"
        " ELSE d.state END, coalesce(o.held, d.last_error), d.attempts, d.due_ms, d.sent_ms"
        " FROM outbox_delivery d JOIN outbox o ON o.id = d.mail_id WHERE d.mail_id = ?1";
    struct db_query q = db_query(store, SQL, DB(DB_INT(mail_id)), err);
    int rc = 0;
    while (!rc && db_next(&q)) {
        const struct outbox_recipient recipient = {.recipient = db_text(&q, 0),
                                                   .state = db_text(&q, 1),
                                                   .last_error = db_text(&q, 2),
                                                   .attempts = db_int(&q, 3),
                                                   .due_ms = db_ms(&q, 4),
                                                   .sent_ms = db_ms(&q, 5)};
        rc = each(arg, &recipient);
    }
    return db_end(&q, rc);
}

#include "store/measured.h"
#include "store/db.h"
#include "store/seen_inside.h"
#include <assert.h>
#include <string.h>

#define COLUMNS                                                                                    \
    "m.id, m.lot_id, m.quantity, m.lab, m.sample, m.said, m.value, m.unit, m.word, m.method,"      \
    " m.note, m.at_ms, m.case_id, m.by_name, m.by_user, m.logged_ms"
#define ROWS "SELECT " COLUMNS " FROM measured m WHERE m.ended_ms IS NULL AND m.lot_id = ?1"
#define KEY " AND m.quantity = ?2 AND m.lab = ?3 AND m.sample = ?4"

static struct measured_row row_of(struct db_query *q)
{
    return (struct measured_row){.id = db_int64(q, 0),
                                 .lot_id = db_int64(q, 1),
                                 .quantity = db_text(q, 2),
                                 .lab = db_text(q, 3),
                                 .sample = db_text(q, 4),
                                 .said = db_text(q, 5),
                                 .value = db_real(q, 6),
                                 .unit = db_text(q, 7),
                                 .word = db_text(q, 8),
                                 .method = db_text(q, 9),
                                 .note = db_text(q, 10),
                                 .at_ms = db_ms(q, 11),
                                 .case_id = db_int64(q, 12),
                                 .by_name = db_text(q, 13),
                                 .user = db_text(q, 14),
                                 .logged_ms = db_ms(q, 15),
                                 .reason = ""};
}

static int each_row(struct db_query *q, measured_each each, void *arg)
{
    int rc = 0;
    db_keep(q);
    while (!rc && db_next(q)) {
        const struct measured_row row = row_of(q);
        rc = each(arg, &row);
    }
    return db_end(q, rc);
}

#define HELD " EXISTS(SELECT 1 FROM hold h WHERE h.lot_id = m.lot_id AND h.ended_ms IS NULL)"
#define DECIDED                                                                                    \
    " EXISTS(SELECT 1 FROM hold h WHERE h.lot_id = m.lot_id AND h.ended_ms >= m.logged_ms)"
#define IN_WORDS "(m.value IS NULL OR m.note <> '')"

int measured_in_words(struct store *store, struct when_span entered, measured_each_lot each,
                      void *arg, struct error *err)
{
    enum { LOT = 16, PLANT, IS_HELD, IS_DECIDED };
    static const char SQL[] =
        "SELECT " COLUMNS ", l.lot, l.plant," HELD "," DECIDED
        " FROM measured m JOIN lot l ON l.id = m.lot_id WHERE m.ended_ms IS NULL"
        " AND " IN_WORDS " AND m.logged_ms >= ?1 AND m.logged_ms < ?2 "
        "AND " SEEN_IN("?3", "l.plant") " ORDER BY m.logged_ms DESC, m.id DESC";
    int rc = 0;
    struct db_query q =
        db_query(store, SQL,
                 DB(DB_MS(entered.from_ms), DB_MS(entered.to_ms), DB_TEXT(seen_list(store))), err);
    db_keep(&q);
    while (!rc && db_next(&q)) {
        const struct measured_row row = row_of(&q);
        const struct measured_lot lot = {db_text(&q, LOT), db_text(&q, PLANT), db_int(&q, IS_HELD),
                                         db_int(&q, IS_DECIDED)};
        rc = each(arg, &row, &lot);
    }
    return db_end(&q, rc);
}

int measured_words_behind(struct store *store, int64_t id, measured_each each, void *arg,
                          struct error *err)
{
    static const char SQL[] = "SELECT " COLUMNS " FROM measured m WHERE m.id > ?1 AND m.ended_ms"
                              " IS NULL AND " IN_WORDS " ORDER BY m.id LIMIT ?2";
    struct db_query q = db_query(store, SQL, DB(DB_INT(id), DB_INT(MEASURED_AT_ONCE)), err);
    int rc = 0;
    while (!rc && db_next(&q)) {
        const struct measured_row row = row_of(&q);
        rc = each(arg, &row);
    }
    return db_end(&q, rc);
}

struct measured_reading *measured_reading(struct store *store)
{
    static const char OF[] = "measured_reading";
    return db_memo(store, OF, sizeof(struct measured_reading));
}

int measured_fate(struct store *store, int64_t id, struct measured_fate *ret, struct error *err)
{
    static const char SQL[] = "SELECT l.lot, m.ended_ms IS NULL, (" SEEN_IN(
        "?2", "l.plant") ")," HELD "," DECIDED
                         " FROM measured m JOIN lot l ON l.id = m.lot_id WHERE m.id = ?1";
    struct db_query q = db_query(store, SQL, DB(DB_INT(id), DB_TEXT(seen_list(store))), err);
    *ret = (struct measured_fate){0};
    if (db_next(&q)) {
        db_copy(&q, 0, ret->lot, sizeof ret->lot);
        ret->stands = db_int(&q, 1);
        ret->seen = db_int(&q, 2);
        ret->held = db_int(&q, 3);
        ret->decided = db_int(&q, 4);
    }
    return db_end(&q, 0);
}

int measured_of_lot(struct store *store, int64_t lot_id, measured_each each, void *arg,
                    struct error *err)
{
    static const char SQL[] = ROWS " ORDER BY m.quantity, m.at_ms, m.id";
    struct db_query q = db_query(store, SQL, DB(DB_INT(lot_id)), err);
    return each_row(&q, each, arg);
}

int measured_find(struct store *store, const struct measured_row *key, measured_each each,
                  void *arg, struct error *err)
{
    static const char SQL[] = ROWS KEY;
    struct db_query q = db_query(
        store, SQL,
        DB(DB_INT(key->lot_id), DB_TEXT(key->quantity), DB_TEXT(key->lab), DB_TEXT(key->sample)),
        err);
    return each_row(&q, each, arg);
}

/* ---- writing ---- */

struct putting {
    struct store *store;
    const struct measured_row *row;
    enum measured_outcome outcome;
    struct error *err;
};

static int add(struct store *store, const struct measured_row *row, int64_t replaces,
               struct error *err)
{
    static const char SQL[] =
        "INSERT INTO measured(lot_id, quantity, lab, sample, said, value, unit, word, method, note,"
        " at_ms, case_id, by_name, by_user, logged_ms, replaces)"
        " VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16)";
    return db_run(
        store, SQL,
        DB(DB_INT(row->lot_id), DB_TEXT(row->quantity), DB_TEXT(row->lab), DB_TEXT(row->sample),
           DB_TEXT(row->said), DB_REAL(row->value), DB_TEXT(row->unit), DB_TEXT(row->word),
           DB_TEXT(row->method), DB_TEXT(row->note), DB_MS(row->at_ms), DB_ID(row->case_id),
           DB_TEXT(row->by_name), DB_TEXT(row->user), DB_MS(row->logged_ms), DB_ID(replaces)),
        err);
}

static int end(struct store *store, int64_t id, const struct measured_row *row, struct error *err)
{
    static const char SQL[] =
        "UPDATE measured SET ended_by = ?2, ended_ms = ?3, end_reason = ?4 WHERE id = ?1";
    return db_run(
        store, SQL,
        DB(DB_INT(id), DB_TEXT(row->by_name), DB_MS(row->logged_ms), DB_SAID(row->reason)), err);
}

static bool is_same(const struct measured_row *was, const struct measured_row *row)
{
    bool value = isnan(row->value) ? isnan(was->value) && strcmp(row->said, was->said) == 0
                                   : row->value == was->value && strcmp(row->unit, was->unit) == 0;
    return value && strcmp(row->word, was->word) == 0 && strcmp(row->method, was->method) == 0 &&
           strcmp(row->note, was->note) == 0 && row->at_ms == was->at_ms &&
           row->case_id == was->case_id;
}

/* What is not said again stays as it was. */
static int put_over(void *arg, const struct measured_row *was)
{
    struct putting *p = arg;
    struct measured_row row = *p->row;
    row.method = row.method ? row.method : was->method;
    row.note = row.note ? row.note : was->note;
    row.at_ms = row.at_ms != WHEN_UNKNOWN_MS ? row.at_ms : was->at_ms;
    row.case_id = row.case_id ? row.case_id : was->case_id;
    p->outcome = is_same(was, &row) ? MEASURED_SAME : MEASURED_CORRECTED;
    if (p->outcome == MEASURED_SAME)
        return 0;
    int rc = end(p->store, was->id, &row, p->err);
    return rc ? rc : add(p->store, &row, was->id, p->err);
}

int measured_put(struct store *store, const struct measured_row *row, enum measured_outcome *ret,
                 struct error *err)
{
    assert(store_writing(store));
    struct putting p = {store, row, MEASURED_NEW, err};
    int rc = measured_find(store, row, put_over, &p, err);
    if (!rc && p.outcome == MEASURED_NEW) {
        struct measured_row first = *row;
        first.method = row->method ? row->method : "";
        first.note = row->note ? row->note : "";
        first.at_ms = row->at_ms != WHEN_UNKNOWN_MS ? row->at_ms : row->logged_ms;
        rc = add(store, &first, 0, err);
    }
    if (!rc)
        *ret = p.outcome;
    return rc;
}

static int take_back(void *arg, const struct measured_row *was)
{
    struct putting *p = arg;
    p->outcome = MEASURED_TAKEN_BACK;
    return end(p->store, was->id, p->row, p->err);
}

int measured_take_back(struct store *store, const struct measured_row *row, struct error *err)
{
    assert(store_writing(store));
    struct putting p = {store, row, MEASURED_SAME, err};
    int rc = measured_find(store, row, take_back, &p, err);
    if (rc || p.outcome == MEASURED_TAKEN_BACK)
        return rc;
    error_set(err, ERROR_NOT_FOUND, "there is no result of %s by %.60s, sample %.60s",
              row->quantity, row->lab, row->sample);
    error_hint(err, "`oddloaf lot` lists a lot's results");
    return ERROR_NOT_FOUND;
}

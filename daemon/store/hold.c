#include "store/hold.h"
#include "base/short_id.h"
#include "base/text.h"
#include "store/db.h"
#include "store/hold_inside.h"
#include "store/lot_find.h"
#include "store/numbers.h"
#include "store/seen_inside.h"
#include <assert.h>
#include <stdio.h>
#include <string.h>

/* ---- reading ---- */

#define ROWS                                                                                       \
    "SELECT h.id, h.lot_id, h.code, p.product, p.name, l.line, h.reason, h.by_name, h.by_user,"    \
    " coalesce(c.moved_to, h.case_id), h.at_ms, l.units, l.code_day, h.disposition, "              \
    "h.end_reason, h.ended_by,"                                                                    \
    " h.ended_ms, " HOLD_PLANT("h") " FROM hold h" HOLD_OWNERS(                                    \
        "h") " LEFT JOIN product p ON p.id = l.product_id"
/* What is held of a lot: codes that were held while it was loaded, too. */
#define OF_LOT(lot)                                                                                \
    "(h.lot_id = " lot " OR (h.lot_id IS NULL AND h.fold = (SELECT fold FROM lot WHERE id = " lot  \
    ")))"
#define OF_CODE(fold, list)                                                                        \
    "(h.lot_id IS NULL AND h.fold = " fold " AND " SEEN_IN(list, HOLD_PLANT("h")) ")"

static struct hold_row row_of(struct db_query *q)
{
    return (struct hold_row){.id = db_int64(q, 0),
                             .lot_id = db_int64(q, 1),
                             .lot = db_text(q, 2),
                             .product = db_text(q, 3),
                             .name = db_text(q, 4),
                             .line = db_text(q, 5),
                             .reason = db_text(q, 6),
                             .by_name = db_text(q, 7),
                             .user = db_text(q, 8),
                             .case_id = db_int64(q, 9),
                             .at_ms = db_ms(q, 10),
                             .units = db_int64(q, 11),
                             .code_day = db_day(q, 12),
                             .disposition = db_text(q, 13),
                             .end_reason = db_text(q, 14),
                             .ended_by = db_text(q, 15),
                             .ended_ms = db_ms(q, 16),
                             .plant = db_text(q, 17)};
}

static int each_row(struct db_query *q, hold_each each, void *arg)
{
    int rc = 0;
    db_keep(q);
    while (!rc && db_next(q)) {
        struct hold_row row = row_of(q);
        rc = each(arg, &row);
    }
    return db_end(q, rc);
}

int hold_each_of(struct store *store, const struct hold_of *of, hold_each each, void *arg,
                 struct error *err)
{
    static const char SQL_LOT[] = ROWS " WHERE " OF_LOT("?1") " ORDER BY h.at_ms, h.id";
    static const char SQL_CODE[] = ROWS " WHERE " OF_CODE("?1", "?2") " ORDER BY h.at_ms, h.id";
    char fold[LOT_FIND_CODE];
    struct db_query q = of->lot_id
                            ? db_query(store, SQL_LOT, DB(DB_INT(of->lot_id)), err)
                            : db_query(store, SQL_CODE,
                                       DB(DB_TEXT(lot_find_fold(of->code, fold, sizeof fold)),
                                          DB_TEXT(seen_list(store))),
                                       err);
    return each_row(&q, each, arg);
}

int hold_each_standing(struct store *store, int64_t until_ms, hold_each each, void *arg,
                       struct error *err)
{
    static const char SQL[] =
        ROWS " WHERE h.at_ms <= ?1 AND (h.ended_ms IS NULL OR"
             " h.ended_ms > ?1) AND " SEEN_IN("?2", HOLD_PLANT("h")) " ORDER BY h.at_ms, h.id";
    struct db_query q = db_query(store, SQL, DB(DB_MS(until_ms), DB_TEXT(seen_list(store))), err);
    return each_row(&q, each, arg);
}

bool hold_stands(struct store *store, int64_t lot_id)
{
    static const char SQL[] =
        "SELECT count(*) FROM hold h WHERE " OF_LOT("?1") " AND h.ended_ms IS NULL";
    int64_t count = 0;
    return db_number(store, SQL, DB(DB_INT(lot_id)), &count, NULL) == 0 && count > 0;
}

/* ---- what is so of a lot, for what is recorded of it ---- */

struct state {
    const struct hold_entry *entry; /* to be added; NULL */
    const struct hold_end *end;     /* or to end some; NULL */
    int rows, standing, meant;      /* meant: to end */
    bool later;                     /* one of those began after its end */
    bool stood;                     /* the entry */
    int64_t first_id;               /* of those standing */
    struct text_buffer all;         /* "H3 (glass, mira), H5 (C12: wet bags, jo)": those standing */
    int64_t last_ms;
    char last[LENGTH_WORD + 1], last_says[LENGTH_REASON + LENGTH_PERSON + 8];
};

/* Of a code that no lot bears two plants may each have one. */
static bool is_whose(const struct hold_entry *entry, const struct hold_row *row)
{
    const char *plant = entry->plant ? entry->plant : "";
    if (row->lot_id)
        return true;
    return *plant ? strcmp(row->plant, plant) == 0 : entry->case_id || !*row->plant;
}

static bool is_entry(const struct hold_entry *entry, const struct hold_row *row)
{
    return row->case_id == entry->case_id && is_whose(entry, row) &&
           strcmp(row->reason, entry->reason) == 0 && strcmp(row->by_name, entry->by_name) == 0;
}

static bool is_meant(const struct hold_end *end, const struct hold_row *row)
{
    return (!end->id || row->id == end->id) && (!end->case_id || row->case_id == end->case_id);
}

static void take_standing(struct state *s, const struct hold_row *row)
{
    s->first_id = s->standing ? s->first_id : row->id;
    text_appendf(&s->all, "%s%s (", s->standing++ ? ", " : "", HOLD_ID(row->id));
    if (row->case_id)
        text_appendf(&s->all, "%s: ", CASE_ID(row->case_id));
    text_appendf(&s->all, "%.40s, %.20s)", row->reason, row->by_name);
    s->stood = s->stood || (s->entry && is_entry(s->entry, row));
    bool meant = s->end && is_meant(s->end, row);
    s->meant += meant;
    s->later = s->later || (meant && row->at_ms > s->end->at_ms);
}

static int take_row(void *arg, const struct hold_row *row)
{
    struct state *s = arg;
    s->rows++;
    if (row->ended_ms == WHEN_UNKNOWN_MS) {
        take_standing(s, row);
    } else if (!s->last[0] || row->ended_ms >= s->last_ms) {
        s->last_ms = row->ended_ms;
        text_clip(row->disposition, s->last, sizeof s->last);
        snprintf(s->last_says, sizeof s->last_says, "%s: %s", row->ended_by, row->end_reason);
    }
    return 0;
}

/* What came of a lot: of base/words.h. */
static const struct outcome {
    const char *disposition, *past;
    bool gone; /* nothing of it is left to be held */
} OUTCOMES[] = {{"release", "released", false},
                {"rework", "reworked", true},
                {"divert", "diverted", false},
                {"destroy", "destroyed", true}};

static struct outcome outcome_of(const char *disposition)
{
    for (size_t i = 0; i < sizeof OUTCOMES / sizeof OUTCOMES[0]; i++) {
        if (strcmp(OUTCOMES[i].disposition, disposition) == 0)
            return OUTCOMES[i];
    }
    return (struct outcome){disposition, disposition, false};
}

/* ---- holding ---- */

static int check_left(const struct hold_of *of, const struct state *s, struct error *err)
{
    const struct outcome last = outcome_of(s->last);
    if (!last.gone || s->standing || s->entry->still_about)
        return 0;
    error_set(err, ERROR_CONFLICT, "lot %.60s was %s (by %.120s); nothing was recorded", of->code,
              last.past, s->last_says);
    error_field(err, "lots", of->code);
    error_hint(err, "if packs of it are still about, say so: --still-about");
    return ERROR_CONFLICT;
}

int hold_gone(struct store *store, const struct hold_of *of, struct text_buffer *out,
              struct error *err)
{
    struct state s = {0};
    int rc = hold_each_of(store, of, take_row, &s, err);
    const struct outcome last = outcome_of(s.last);
    if (!rc && last.gone && !s.standing)
        text_appendf(out, "%s (by %s)", last.past, s.last_says);
    text_buffer_free(&s.all);
    return rc;
}

static int insert(struct store *store, const struct hold_of *of, const struct hold_entry *entry,
                  struct error *err)
{
    static const char SQL[] =
        "INSERT INTO hold(id, lot_id, code, fold, reason, by_name, by_user, case_id, at_ms,"
        " plant)"
        " VALUES(" NUMBERS_NEXT("hold", "hold/last") ", ?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)";
    char fold[LOT_FIND_CODE];
    lot_find_fold(of->code, fold, sizeof fold);
    const char *plant = !of->lot_id && entry->plant ? entry->plant : "";
    return db_run(store, SQL,
                  DB(DB_ID(of->lot_id), DB_TEXT(of->code), DB_TEXT(fold), DB_TEXT(entry->reason),
                     DB_TEXT(entry->by_name), DB_TEXT(entry->user), DB_ID(entry->case_id),
                     DB_MS(entry->at_ms), DB_TEXT(plant)),
                  err);
}

/* The lot may have been loaded since its code was looked up. */
static int take_loaded(struct store *store, struct hold_of *of, struct error *err)
{
    enum { TWO = 2 };
    struct lot_find_row rows[TWO];
    struct lot_find_rows same = {.row = rows, .capacity = TWO};
    char fold[LOT_FIND_CODE];
    if (of->lot_id)
        return 0;
    bool some = seen_whole(store);
    int rc = lot_find_by_fold(store, lot_find_fold(of->code, fold, sizeof fold), TWO, &same, err);
    seen_again(store, some);
    if (!rc && same.count == 1) {
        of->lot_id = rows[0].lot_id;
        text_clip(rows[0].code, of->code, sizeof of->code);
    }
    return rc;
}

int hold_add(struct store *store, const struct hold_of *of, const struct hold_entry *entry,
             bool *ret_stood, struct error *err)
{
    assert(store_writing(store));
    struct state s = {.entry = entry};
    struct hold_of held = *of;
    int rc = take_loaded(store, &held, err);
    if (!rc)
        rc = hold_each_of(store, &held, take_row, &s, err);
    text_buffer_free(&s.all);
    if (!rc)
        rc = check_left(&held, &s, err);
    if (rc)
        return rc;
    *ret_stood = s.stood;
    return s.stood ? 0 : insert(store, &held, entry, err);
}

int hold_take_code(struct store *store, int64_t lot_id, struct error *err)
{
    assert(store_writing(store));
    static const char SQL[] =
        "UPDATE hold SET lot_id = ?1, code = (SELECT lot FROM lot WHERE id = ?1) WHERE lot_id IS"
        " NULL AND fold = (SELECT fold FROM lot WHERE id = ?1)";
    return db_run(store, SQL, DB(DB_INT(lot_id)), err);
}

/* ---- ending ---- */

static int refuse_none(const struct hold_of *of, const struct state *s, struct error *err)
{
    int rc = s->rows || of->lot_id ? ERROR_CONFLICT : ERROR_NOT_FOUND;
    if (rc == ERROR_NOT_FOUND)
        error_set(err, rc, "there is no lot %.60s and no hold on that code; nothing was recorded",
                  of->code);
    else if (s->rows)
        error_set(err, rc, "lot %.60s is not on hold: it was %s (by %.120s); nothing was recorded",
                  of->code, outcome_of(s->last).past, s->last_says);
    else
        error_set(err, rc, "lot %.60s is not on hold and never was; nothing was recorded",
                  of->code);
    error_hint(err, rc == ERROR_NOT_FOUND ? "`oddloaf lot CODE` shows what a code means"
                                          : "`oddloaf holds` lists what is held");
    return rc;
}

static int check_meant(const struct hold_of *of, const struct state *s, struct error *err)
{
    bool named = s->end->id || s->end->case_id || s->end->all;
    if (s->standing == 0) {
        refuse_none(of, s, err);
    } else if (s->meant == 0) {
        error_set(err, ERROR_CONFLICT,
                  "that hold does not stand on lot %.60s: %.150s; nothing was"
                  " recorded",
                  of->code, s->all.data);
    } else if (!named && s->standing > 1) {
        error_set(err, ERROR_CONFLICT, "%d holds stand on lot %.60s: %.150s; nothing was recorded",
                  s->standing, of->code, s->all.data);
        error_hint(err, "say which: --hold %s, --case CASE, or --all", HOLD_ID(s->first_id));
    } else if (s->later) {
        error_set(err, ERROR_CONFLICT, "lot %.60s was not on hold then; nothing was recorded",
                  of->code);
    } else {
        return 0;
    }
    error_field(err, "lots", of->code);
    return s->standing || s->rows || of->lot_id ? ERROR_CONFLICT : ERROR_NOT_FOUND;
}

int hold_end(struct store *store, const struct hold_of *of, const struct hold_end *end,
             struct error *err)
{
    assert(store_writing(store));
    static const char SQL[] =
        "UPDATE hold SET disposition = ?1, end_reason = ?2, ended_by = ?3, ended_user = ?4,"
        " ended_ms = ?5 WHERE ended_ms IS NULL AND id IN (SELECT h.id FROM hold "
        "h" HOLD_OWNERS("h") " WHERE " OF_LOT("?6") " OR (?6 IS NULL AND " OF_CODE(
            "?7", "?10") "))"
                         " AND (?8 IS NULL OR id = ?8) AND (?9 IS NULL OR case_id IN (SELECT id"
                         " FROM complaint_case WHERE id = ?9 OR moved_to = ?9))";
    struct state s = {.end = end};
    char fold[LOT_FIND_CODE];
    int rc = hold_each_of(store, of, take_row, &s, err);
    if (!rc)
        rc = check_meant(of, &s, err);
    text_buffer_free(&s.all);
    if (rc)
        return rc;
    return db_run(store, SQL,
                  DB(DB_TEXT(end->disposition), DB_TEXT(end->reason), DB_TEXT(end->by_name),
                     DB_TEXT(end->user), DB_MS(end->at_ms), DB_ID(of->lot_id),
                     DB_TEXT(lot_find_fold(of->code, fold, sizeof fold)), DB_ID(end->id),
                     DB_ID(end->case_id), DB_TEXT(seen_list(store))),
                  err);
}

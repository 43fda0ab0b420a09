#include "store/verdict.h"
#include "base/short_id.h"
#include "base/text.h"
#include "store/db.h"
#include "store/pattern.h"
#include "store/ranking_pack.h"
#include <assert.h>
#include <string.h>

static int case_set_state(struct store *store, int64_t case_id, const char *state,
                          struct error *err)
{
    static const char SQL[] = "UPDATE complaint_case SET state = ?2, harm_unseen = 0"
                              " WHERE id = ?1 AND complaints > 0";
    int rc = pattern_count_case(store, case_id, PATTERN_OUT, err);
    if (!rc)
        rc = db_run(store, SQL, DB(DB_INT(case_id), DB_TEXT(state)), err);
    return rc ? rc : pattern_count_case(store, case_id, PATTERN_IN, err);
}

static int standing(struct store *store, int64_t case_id, int64_t *ret, struct error *err)
{
    static const char SQL[] =
        "SELECT count(*) FROM verdict WHERE case_id = ?1 AND reopened_ms IS NULL";
    return db_number(store, SQL, DB(DB_INT(case_id)), ret, err);
}

static int check_open(struct store *store, int64_t case_id, struct error *err)
{
    static const char SQL[] =
        "SELECT count(*) FROM complaint_case WHERE id = ?1 AND complaints = 0";
    int64_t empty = 0, settled = 0;
    int rc = db_number(store, SQL, DB(DB_INT(case_id)), &empty, err);
    if (!rc && empty)
        return error_set(err, ERROR_CONFLICT, "case %s has no complaints", CASE_ID(case_id));
    if (!rc)
        rc = standing(store, case_id, &settled, err);
    if (rc || !settled)
        return rc;
    error_set(err, ERROR_CONFLICT, "case %s is settled already", CASE_ID(case_id));
    error_hint(err, "reopen it first: oddloaf settle %s --reopen", CASE_ID(case_id));
    return ERROR_CONFLICT;
}

int verdict_add(struct store *store, const struct verdict_new *v, struct error *err)
{
    assert(v->cause && v->confirmed_by && v->by_name);
    assert(store_writing(store));
    static const char SQL[] =
        "INSERT INTO verdict(case_id, cause, confirmed_by, note, by_name, at_ms, revision)"
        " SELECT ?1, ?2, ?3, ?4, ?5, ?6, revision FROM complaint_case WHERE id = ?1";
    static const char SQL_KEEP[] = "UPDATE ranking SET kept = 1 WHERE case_id = ?1 AND revision ="
                                   " (SELECT revision FROM complaint_case WHERE id = ?1)";
    int rc = check_open(store, v->case_id, err);
    if (!rc)
        rc = pattern_count_causes(store, v->case_id, PATTERN_OUT, err);
    if (!rc)
        rc = db_run(store, SQL,
                    DB(DB_INT(v->case_id), DB_TEXT(v->cause), DB_TEXT(v->confirmed_by),
                       DB_TEXT(v->note), DB_TEXT(v->by_name), DB_MS(v->at_ms)),
                    err);
    if (!rc)
        rc = db_run(store, SQL_KEEP, DB(DB_INT(v->case_id)), err);
    if (!rc)
        rc = case_set_state(store, v->case_id, "settled", err);
    if (!rc)
        rc = pattern_verdict_given(store, v->case_id, err);
    return rc ? rc : pattern_count_causes(store, v->case_id, PATTERN_IN, err);
}

int verdict_reopen(struct store *store, int64_t case_id, const char *note, const char *by_name,
                   int64_t now_ms, struct error *err)
{
    assert(store_writing(store));
    static const char SQL[] =
        "UPDATE verdict SET reopened_ms = ?2, note = coalesce(note, '') || " DB_LINE_BREAK " ||"
        " 'reopened by ' || ?3 || ': ' || coalesce(?4, '') WHERE case_id = ?1 AND reopened_ms IS "
        "NULL";
    int64_t settled = 0;
    int rc = standing(store, case_id, &settled, err);
    if (!rc && !settled)
        return error_set(err, ERROR_NOT_FOUND, "case %s has no verdict to reopen",
                         CASE_ID(case_id));
    if (!rc)
        rc = pattern_count_causes(store, case_id, PATTERN_OUT, err);
    if (!rc)
        rc = db_run(store, SQL, DB(DB_INT(case_id), DB_MS(now_ms), DB_TEXT(by_name), DB_TEXT(note)),
                    err);
    if (!rc)
        rc = case_set_state(store, case_id, "open", err);
    return rc ? rc : pattern_count_causes(store, case_id, PATTERN_IN, err);
}

int verdict_serial(struct store *store, int64_t *ret, struct error *err)
{
    /* ids grow and no verdict is deleted; among equal newest ids, fewer stand the more were
     * reopened */
    static const char SQL[] = "SELECT coalesce(max(id), 0) * 16777216 -"
                              " (SELECT count(*) FROM verdict WHERE reopened_ms IS NULL)"
                              " FROM verdict";
    struct db_query q = db_query(store, SQL, NULL, err);
    if (db_next(&q))
        *ret = db_int64(&q, 0);
    return db_end(&q, 0);
}

/* A line for each cause of the ranking that stood, in its order; one with no cause if none did. */
#define VERDICT_COLUMNS                                                                            \
    "SELECT v.id, v.case_id, v.at_ms, c.as_of_ms, c.opened_ms, v.revision, c.symptom, v.cause,"    \
    " v.confirmed_by, v.by_name, v.note, k.name, r.probability, l.packed_from_ms,"                 \
    " coalesce(l.plant, ''), coalesce(l.line, ''), c.plant FROM verdict v JOIN complaint_case"     \
    " c ON c.id = v.case_id LEFT JOIN ranking_cause r ON r.case_id = v.case_id"                    \
    " AND r.revision = v.revision LEFT JOIN cause k ON k.id = r.cause_id LEFT JOIN lot l ON l.id " \
    "="                                                                                            \
    " c.lot_id "
#define VERDICT_ORDER " ORDER BY v.at_ms, v.id, r.place"

static void take_row(struct db_query *q, struct verdict_row *row)
{
    *row = (struct verdict_row){.id = db_int64(q, 0),
                                .case_id = db_int64(q, 1),
                                .at_ms = db_ms(q, 2),
                                .as_of_ms = db_ms(q, 3),
                                .opened_ms = db_ms(q, 4),
                                .revision = db_int(q, 5)};
    db_copy(q, 6, row->symptom, sizeof row->symptom);
    db_copy(q, 7, row->cause, sizeof row->cause);
    db_copy(q, 8, row->confirmed_by, sizeof row->confirmed_by);
    db_copy(q, 9, row->by_name, sizeof row->by_name);
    db_copy(q, 10, row->note, sizeof row->note);
    row->lot_packed_ms = db_ms(q, 13);
    db_copy(q, 14, row->lot_plant, sizeof row->lot_plant);
    db_copy(q, 15, row->lot_line, sizeof row->lot_line);
    db_copy(q, 16, row->plant, sizeof row->plant);
}

static int tell_verdict(struct verdict_row *row, const struct ranking *said, verdict_each each,
                        void *arg)
{
    row->said = said->causes;
    row->said_count = said->cause_count;
    return row->id ? each(arg, row) : 0;
}

static int each_verdict(struct db_query *q, verdict_each each, void *arg)
{
    struct verdict_row row = {0};
    struct ranking said = {0};
    int rc = 0;
    while (!rc && db_next(q)) {
        if (db_int64(q, 0) != row.id) {
            rc = tell_verdict(&row, &said, each, arg);
            take_row(q, &row);
            said.cause_count = 0;
        }
        if (*db_text(q, 11))
            ranking_pack_cause(&said, db_text(q, 11), db_real(q, 12));
    }
    rc = db_end(q, rc);
    if (!rc)
        rc = tell_verdict(&row, &said, each, arg);
    ranking_clear(&said);
    return rc;
}

int verdict_between(struct store *store, struct when_span span, verdict_each each, void *arg,
                    struct error *err)
{
    static const char SQL[] = VERDICT_COLUMNS "WHERE v.reopened_ms IS NULL AND v.at_ms >= ?1"
                                              " AND v.at_ms < ?2" VERDICT_ORDER;
    struct db_query q = db_query(store, SQL, DB(DB_MS(span.from_ms), DB_MS(span.to_ms)), err);
    return each_verdict(&q, each, arg);
}

bool verdict_is_of(const struct verdict_row *row, const char *plant)
{
    return !plant || !*plant || strcmp(plant, row->plant) == 0;
}

int verdict_of_case(struct store *store, int64_t case_id, verdict_each each, void *arg,
                    struct error *err)
{
    static const char SQL[] =
        VERDICT_COLUMNS "WHERE v.reopened_ms IS NULL AND v.case_id = ?1" VERDICT_ORDER;
    struct db_query q = db_query(store, SQL, DB(DB_INT(case_id)), err);
    return each_verdict(&q, each, arg);
}

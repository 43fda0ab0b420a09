#include "store/pattern.h"
#include "base/text.h"
#include "base/tz_of.h"
#include "store/db.h"
#include "store/pattern_cuts.h"
#include <stdlib.h>
#include <string.h>

/* as it was called before plants had zones of their own */
static const char CLOCKS_KEY[] = "pattern/zone";

int pattern_week_of_day(int32_t day)
{
    int32_t shifted = day + 3;
    return (shifted - (shifted < 0 ? 6 : 0)) / 7;
}

int32_t pattern_monday(int week)
{
    return week * 7 - 3;
}

/* ---- clocks ---- */

static int add_clock(void *arg, const char *plant, const struct tz *of)
{
    text_appendf(arg, "\n%s\t%s", plant, tz_name(of));
    return 0;
}

/* By what clocks weeks are counted: the company's zone, and each plant's that has another. */
static char *clocks(const struct tz *tz)
{
    struct text_buffer text = {0};
    text_append(&text, tz_name(tz_of_company(tz)));
    tz_of_each(tz, add_clock, &text);
    return text.data; /* no clock's name is empty */
}

/* Whether the file's counts are by other clocks; as its tables were made, weeks begin in UTC. */
static int other_clocks(struct store *store, const char *wanted, bool *ret, struct error *err)
{
    char *kept = NULL;
    int rc = store_setting_get(store, CLOCKS_KEY, &kept, err);
    *ret = !rc && strcmp(kept ? kept : "UTC", wanted) != 0;
    free(kept);
    return rc;
}

struct moving {
    struct store *store;
    struct error *err;
};

static int move_weeks(void *arg, const char *plant, const struct tz *of)
{
    static const char COMPANY[] = "INSERT INTO pattern_week(week, from_ms) VALUES(?1, ?2)";
    static const char PLANT[] =
        "INSERT INTO pattern_clock(week, from_ms, plant) VALUES(?1, ?2, ?3)";
    struct moving *m = arg;
    int rc = 0;
    for (int week = PATTERN_FIRST_WEEK; week <= PATTERN_LAST_WEEK && !rc; week++) {
        const struct db_value at = DB_INT(tz_day_start_ms(of, pattern_monday(week)));
        rc = *plant ? db_run(m->store, PLANT, DB(DB_INT(week), at, DB_TEXT(plant)), m->err)
                    : db_run(m->store, COMPANY, DB(DB_INT(week), at), m->err);
    }
    return rc;
}

static int move_clocks(struct store *store, const struct tz *tz, struct error *err)
{
    static const char CLEAR[] =
        "DELETE FROM pattern_week WHERE week > 0; DELETE FROM pattern_clock";
    struct moving m = {store, err};
    int rc = db_exec(store, CLEAR, err);
    if (!rc)
        rc = move_weeks(&m, "", tz_of_company(tz));
    return rc ? rc : tz_of_each(tz, move_weeks, &m);
}

int pattern_set_up(struct store *store, const struct tz *tz, struct error *err)
{
    char *wanted = clocks(tz);
    bool new_cuts = false, new_clocks;
    int rc = other_clocks(store, wanted, &new_clocks, err);
    if (!rc && new_clocks)
        rc = move_clocks(store, tz, err);
    if (!rc)
        rc = pattern_cuts(store, &new_cuts, err);
    if (!rc && (new_clocks || new_cuts))
        rc = pattern_recount(store, err);
    if (!rc && new_clocks)
        rc = store_setting_set(store, CLOCKS_KEY, wanted, err);
    free(wanted);
    return rc;
}

int pattern_check_zone(struct store *store, const struct tz *tz, struct error *err)
{
    char *wanted = clocks(tz);
    bool other;
    int rc = other_clocks(store, wanted, &other, err);
    if (!rc && other)
        rc = error_set(err, ERROR_BUSY, "weeks are being counted again for the zone %s",
                       tz_name(tz_of_company(tz)));
    free(wanted);
    return rc;
}

/* ---- reading ---- */

int pattern_series(struct store *store, pattern_series_each each, void *arg, struct error *err)
{
    static const char SQL[] = "SELECT id, factor, level, plant, symptom FROM pattern_series ORDER "
                              "BY factor, level, plant";
    struct db_query q = db_query(store, SQL, NULL, err);
    int rc = 0;
    while (!rc && db_next(&q)) {
        struct pattern_series row = {db_int64(&q, 0), db_text(&q, 1), db_text(&q, 2),
                                     db_text(&q, 3), db_text(&q, 4)};
        rc = each(arg, &row);
    }
    return db_end(&q, rc);
}

/* Columns: series, count, week, week of receipt. */
static int each_count(struct db_query *q, pattern_count_each each, void *arg)
{
    int rc = 0;
    while (!rc && db_next(q)) {
        struct pattern_count row = {db_int64(q, 0), db_int64(q, 1), db_int(q, 2), db_int(q, 3)};
        rc = each(arg, &row);
    }
    return db_end(q, rc);
}

int pattern_received(struct store *store, struct pattern_weeks weeks, pattern_count_each each,
                     void *arg, struct error *err)
{
    static const char SQL[] = "SELECT series_id, n, week, week FROM pattern_received"
                              " WHERE week BETWEEN ?1 AND ?2";
    struct db_query q =
        db_query(store, SQL, DB(DB_INT(weeks.from_week), DB_INT(weeks.to_week)), err);
    return each_count(&q, each, arg);
}

int pattern_units(struct store *store, struct pattern_weeks weeks, pattern_count_each each,
                  void *arg, struct error *err)
{
    static const char SQL[] = "SELECT series_id, n, week, week FROM pattern_units"
                              " WHERE week BETWEEN ?1 AND ?2";
    struct db_query q =
        db_query(store, SQL, DB(DB_INT(weeks.from_week), DB_INT(weeks.to_week)), err);
    return each_count(&q, each, arg);
}

int pattern_units_of(struct store *store, int64_t series_id, struct pattern_weeks weeks,
                     pattern_count_each each, void *arg, struct error *err)
{
    /* one look-up a week rather than a walk over all series of the weeks */
    static const char SQL[] =
        "SELECT u.series_id, u.n, u.week, u.week FROM pattern_week w CROSS JOIN pattern_units u"
        " ON u.week = w.week AND u.series_id = ?1 WHERE w.week BETWEEN ?2 AND ?3";
    struct db_query q = db_query(
        store, SQL, DB(DB_INT(series_id), DB_INT(weeks.from_week), DB_INT(weeks.to_week)), err);
    return each_count(&q, each, arg);
}

int pattern_made(struct store *store, int64_t series_id, struct pattern_weeks weeks,
                 pattern_count_each each, void *arg, struct error *err)
{
    static const char SQL[] = "SELECT series_id, n, week, received_week FROM pattern_made"
                              " WHERE series_id = ?1 AND week BETWEEN ?2 AND ?3";
    struct db_query q = db_query(
        store, SQL, DB(DB_INT(series_id), DB_INT(weeks.from_week), DB_INT(weeks.to_week)), err);
    return each_count(&q, each, arg);
}

int pattern_made_week(struct store *store, int week, pattern_count_each each, void *arg,
                      struct error *err)
{
    static const char SQL[] =
        "SELECT m.series_id, m.n, m.week, m.received_week FROM pattern_series s CROSS JOIN"
        " pattern_made m ON m.series_id = s.id AND m.week = ?1 WHERE s.symptom <> ''";
    struct db_query q = db_query(store, SQL, DB(DB_INT(week)), err);
    return each_count(&q, each, arg);
}

int pattern_between(struct store *store, struct when_span span, pattern_count_each each, void *arg,
                    struct error *err)
{
    static const char SQL[] =
        "SELECT s.id, sum(v.n), v.made_week, v.received_week FROM pattern_part v"
        " JOIN pattern_series s ON s.factor = v.factor AND s.level = v.level AND s.plant = v.plant"
        " AND s.symptom = v.symptom WHERE v.received_ms >= ?1 AND v.received_ms < ?2"
        " GROUP BY 1, 3, 4";
    struct db_query q = db_query(store, SQL, DB(DB_INT(span.from_ms), DB_INT(span.to_ms)), err);
    return each_count(&q, each, arg);
}

int pattern_open(struct store *store, const char *plant, pattern_open_each each, void *arg,
                 struct error *err)
{
    static const char SQL[] = "SELECT symptom, week, sum(n) FROM pattern_open WHERE ?1 IS NULL OR"
                              " plant = ?1 GROUP BY 1, 2 HAVING sum(n) <> 0 ORDER BY 2, 1";
    struct db_query q = db_query(store, SQL, DB(DB_SAID(plant)), err);
    int rc = 0;
    while (!rc && db_next(&q)) {
        rc = each(arg, db_text(&q, 0), db_int(&q, 1), db_int64(&q, 2));
    }
    return db_end(&q, rc);
}

int pattern_verdicts(struct store *store, struct when_span span, const char *plant,
                     pattern_verdict_each each, void *arg, struct error *err)
{
    static const char SQL[] =
        "SELECT c.opened_ms, v.at_ms, coalesce(s.place, 0), s.probability, s.brier FROM verdict v"
        " JOIN complaint_case c ON c.id = v.case_id LEFT JOIN pattern_verdict s"
        " ON s.verdict_id = v.id WHERE v.reopened_ms IS NULL AND v.at_ms >= ?1 AND v.at_ms < ?2"
        " AND (?3 IS NULL OR c.plant = ?3) ORDER BY v.at_ms";
    struct db_query q =
        db_query(store, SQL, DB(DB_INT(span.from_ms), DB_INT(span.to_ms), DB_SAID(plant)), err);
    int rc = 0;
    while (!rc && db_next(&q)) {
        struct pattern_verdict row = {db_ms(&q, 0), db_ms(&q, 1), db_int(&q, 2), db_real(&q, 3),
                                      db_real(&q, 4)};
        rc = each(arg, &row);
    }
    return db_end(&q, rc);
}

int pattern_lots(struct store *store, const struct pattern_scope *scope, pattern_lot_each each,
                 void *arg, struct error *err)
{
    static const char SQL[] =
        "SELECT l.id, l.packed_from_ms, l.units, (SELECT CASE ?6 WHEN '' THEN 1e6 * count(*) ELSE"
        " coalesce(sum((SELECT h.n FROM pattern_series s JOIN pattern_share h ON h.series_id = "
        "s.id AND"
        " h.case_id = c.case_id WHERE s.factor = 'cause' AND s.level = ?6 AND s.symptom ="
        " c.symptom)), 0) END FROM complaint c WHERE c.lot_id = l.id AND (?5 = '' OR c.symptom = "
        "?5)"
        " AND c.received_ms < ?3 AND c.withdrawn_ms IS NULL) FROM lot l WHERE l.packed_from_ms >= "
        "?1 AND l.packed_from_ms < ?2"
        " AND (?4 = '' OR l.line = ?4) AND l.line <> ?7 AND (?8 IS NULL OR l.plant = ?8)"
        " ORDER BY l.packed_from_ms, l.id";
    struct db_query q =
        db_query(store, SQL,
                 DB(DB_INT(scope->span.from_ms), DB_INT(scope->span.to_ms), DB_INT(scope->until_ms),
                    DB_TEXT(scope->line), DB_TEXT(scope->symptom), DB_TEXT(scope->cause),
                    DB_TEXT(scope->not_line), DB_SAID(scope->plant)),
                 err);
    int rc = 0;
    while (!rc && db_next(&q)) {
        struct pattern_lot row = {db_int64(&q, 0), db_ms(&q, 1), db_int64(&q, 2),
                                  db_real(&q, 3) / PATTERN_MILLION};
        rc = each(arg, &row);
    }
    return db_end(&q, rc);
}

int pattern_other(struct store *store, struct when_span span, const char *plant,
                  pattern_other_each each, void *arg, struct error *err)
{
    static const char SQL[] = "SELECT body FROM complaint WHERE received_ms >= ?1 AND"
                              " received_ms < ?2 AND symptom = 'other' AND withdrawn_ms IS NULL"
                              " AND (?3 IS NULL OR plant = ?3)";
    int rc = 0;
    struct db_query q =
        db_query(store, SQL, DB(DB_INT(span.from_ms), DB_INT(span.to_ms), DB_SAID(plant)), err);
    while (!rc && db_next(&q))
        rc = each(arg, db_text(&q, 0));
    return db_end(&q, rc);
}

int pattern_harm(struct store *store, struct when_span span, const char *plant, int64_t *ret,
                 struct error *err)
{
    static const char SQL[] = "SELECT count(*) FROM complaint WHERE received_ms >= ?1 AND"
                              " received_ms < ?2 AND withdrawn_ms IS NULL AND harm <> 0"
                              " AND (?3 IS NULL OR plant = ?3)";
    return db_number(store, SQL, DB(DB_INT(span.from_ms), DB_INT(span.to_ms), DB_SAID(plant)), ret,
                     err);
}

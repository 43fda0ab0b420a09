/* The writing side of pattern.h: sharing cases out among causes, counting again, checking. */
#include "base/text.h"
#include "store/db.h"
#include "store/pattern.h"
#include <stdlib.h>

enum {
    SHARES_MOST = 64, /* causes of one symptom; far fewer exist */
    SHARE_LEAST = 100 /* millionths: below that a cause is not worth a row */
};

struct share {
    int64_t series_id, n;
};
struct shares {
    struct share rows[SHARES_MOST];
    int count;
};

/* ---- shares ---- */

/* What a case's causes should have: cause, millionths. */
#define WANTED                                                                                     \
    "SELECT v.cause AS cause, c.symptom AS symptom, 1000000 AS n FROM complaint_case c"            \
    " JOIN verdict v ON v.case_id = c.id AND v.reopened_ms IS NULL WHERE c.id = ?1"                \
    " UNION ALL SELECT k.name, c.symptom, CAST(round(r.probability * 1e6) AS INTEGER)"             \
    " FROM complaint_case c JOIN ranking_cause r ON r.case_id = c.id AND r.revision ="             \
    " (SELECT max(revision) FROM ranking WHERE case_id = c.id) JOIN cause k ON k.id = r.cause_id"  \
    " WHERE c.id = ?1 AND NOT EXISTS (SELECT 1 FROM verdict v WHERE v.case_id = c.id"              \
    " AND v.reopened_ms IS NULL)"

static int read_shares(struct store *store, const char *sql, int64_t case_id, struct shares *ret,
                       struct error *err)
{
    struct db_query q = db_query(store, sql, DB(DB_INT(case_id)), err);
    ret->count = 0;
    while (ret->count < SHARES_MOST && db_next(&q)) {
        struct share row = {db_int64(&q, 0), db_int64(&q, 1)};
        if (row.n >= SHARE_LEAST)
            ret->rows[ret->count++] = row;
    }
    return db_end(&q, 0);
}

static int read_wanted(struct store *store, int64_t case_id, struct shares *ret, struct error *err)
{
    static const char SQL[] = "SELECT s.id, w.n FROM (" WANTED ") w JOIN pattern_series s ON"
                              " s.factor = 'cause' AND s.level = w.cause AND s.symptom = w.symptom"
                              " ORDER BY s.id";
    return read_shares(store, SQL, case_id, ret, err);
}

static int read_present(struct store *store, int64_t case_id, struct shares *ret, struct error *err)
{
    static const char SQL[] = "SELECT series_id, n FROM pattern_share WHERE case_id = ?1"
                              " ORDER BY series_id";
    return read_shares(store, SQL, case_id, ret, err);
}

/* Both in order of series: a walk along the two lists. Without `write`, only counts. */
static int apply_shares(struct store *store, int64_t case_id, const struct shares *is,
                        const struct shares *wanted, bool write, int *ret_changes,
                        struct error *err)
{
    static const char SQL_NEW[] =
        "INSERT INTO pattern_share(case_id, series_id, n) VALUES(?1, ?2, ?3)";
    static const char SQL_SET[] =
        "UPDATE pattern_share SET n = ?3 WHERE case_id = ?1 AND series_id = ?2";
    static const char SQL_GONE[] =
        "DELETE FROM pattern_share WHERE case_id = ?1 AND series_id = ?2";
    int i = 0, w = 0, rc = 0;
    *ret_changes = 0;
    while ((i < is->count || w < wanted->count) && !rc) {
        const struct share *old = i < is->count ? &is->rows[i] : NULL;
        const struct share *new = w < wanted->count ? &wanted->rows[w] : NULL;
        const char *sql = NULL;
        const struct share *row = new;
        if (!new || (old && old->series_id < new->series_id)) {
            sql = SQL_GONE;
            row = old;
            i++;
        } else if (!old || new->series_id < old->series_id) {
            sql = SQL_NEW;
            w++;
        } else {
            sql = old->n != new->n ? SQL_SET : NULL;
            i++;
            w++;
        }
        *ret_changes += sql != NULL;
        if (sql && write)
            rc = sql == SQL_GONE
                     ? db_run(store, sql, DB(DB_INT(case_id), DB_INT(row->series_id)), err)
                     : db_run(store, sql,
                              DB(DB_INT(case_id), DB_INT(row->series_id), DB_INT(row->n)), err);
    }
    return rc;
}

int pattern_case_changed(struct store *store, int64_t case_id, struct error *err)
{
    static const char SQL_SERIES[] =
        "INSERT OR IGNORE INTO pattern_series(factor, level, symptom)"
        " SELECT 'cause', cause, symptom FROM (" WANTED ") WHERE n >= 100";
    struct shares is, wanted;
    int changes;
    int rc = db_run(store, SQL_SERIES, DB(DB_INT(case_id)), err);
    if (!rc)
        rc = read_present(store, case_id, &is, err);
    if (!rc)
        rc = read_wanted(store, case_id, &wanted, err);
    return rc ? rc : apply_shares(store, case_id, &is, &wanted, true, &changes, err);
}

int pattern_verdict_given(struct store *store, int64_t case_id, struct error *err)
{
    /* causes as probable as the confirmed one count as ranked before it */
    static const char SQL[] =
        "INSERT OR REPLACE INTO pattern_verdict(verdict_id, place, probability, brier)"
        " SELECT id, 1 + sum(cause <> confirmed AND p >= own), own,"
        " sum((p - (cause = confirmed)) * (p - (cause = confirmed))) FROM (SELECT v.id,"
        " v.cause AS confirmed, k.name AS cause, r.probability AS p, coalesce((SELECT o.probability"
        " FROM ranking_cause o JOIN cause n ON n.id = o.cause_id WHERE o.case_id = v.case_id"
        " AND o.revision = v.revision AND n.name = v.cause), 0) AS own FROM verdict v"
        " JOIN ranking_cause r ON r.case_id = v.case_id AND r.revision = v.revision"
        " JOIN cause k ON k.id = r.cause_id WHERE v.case_id = ?1 AND v.reopened_ms IS NULL)"
        " GROUP BY id";
    return db_run(store, SQL, DB(DB_INT(case_id)), err);
}

/* ---- counting again, checking ---- */

typedef int (*case_each_id)(void *arg, struct store *store, int64_t case_id, struct error *err);

/* Cases in steps, so that no statement stays open while others write. */
static int each_case(struct store *store, case_each_id each, void *arg, struct error *err)
{
    static const char SQL[] = "SELECT id FROM complaint_case WHERE id > ?1 ORDER BY id LIMIT 1";
    int64_t id = 0;
    int rc = db_number(store, SQL, DB(DB_INT(0)), &id, err);
    while (!rc && id > 0) {
        rc = each(arg, store, id, err);
        if (!rc)
            rc = db_number(store, SQL, DB(DB_INT(id)), &id, err);
    }
    return rc;
}

static int share_again(void *arg, struct store *store, int64_t case_id, struct error *err)
{
    (void)arg;
    int rc = pattern_case_changed(store, case_id, err);
    return rc ? rc : pattern_verdict_given(store, case_id, err);
}

int pattern_recount(struct store *store, struct error *err)
{
    static const char SQL[] =
        "DELETE FROM pattern_case; DELETE FROM pattern_share; DELETE FROM pattern_received;"
        "DELETE FROM pattern_made; DELETE FROM pattern_units; DELETE FROM pattern_open;"
        "INSERT OR IGNORE INTO pattern_series(factor, level, symptom)"
        " SELECT DISTINCT factor, level, symptom FROM pattern_part;"
        "INSERT OR IGNORE INTO pattern_series(factor, level, symptom)"
        " SELECT DISTINCT factor, level, '' FROM pattern_packed;"
        "INSERT INTO pattern_made SELECT s.id, v.made_week, v.received_week, sum(v.n)"
        " FROM pattern_part v JOIN pattern_series s ON s.factor = v.factor AND s.level = v.level"
        " AND s.symptom = v.symptom GROUP BY 1, 2, 3;"
        "INSERT INTO pattern_received SELECT received_week, series_id, sum(n) FROM pattern_made"
        " GROUP BY 1, 2;"
        "INSERT INTO pattern_case SELECT case_id, received_week, made_week, count(*)"
        " FROM pattern_place GROUP BY 1, 2, 3;"
        "INSERT INTO pattern_units SELECT v.week, s.id, sum(v.n) FROM pattern_packed v JOIN"
        " pattern_series s ON s.factor = v.factor AND s.level = v.level AND s.symptom = ''"
        " GROUP BY 1, 2;"
        "INSERT INTO pattern_open SELECT (SELECT week FROM pattern_week WHERE from_ms <= opened_ms"
        " ORDER BY from_ms DESC LIMIT 1), symptom, count(*) FROM complaint_case"
        " WHERE state = 'open' GROUP BY 1, 2;";
    int rc = db_exec(store, SQL, err);
    return rc ? rc : each_case(store, share_again, NULL, err);
}

struct share_check {
    int64_t differences;
};

static int check_shares(void *arg, struct store *store, int64_t case_id, struct error *err)
{
    struct share_check *check = arg;
    struct shares is, wanted;
    int changes = 0;
    int rc = read_present(store, case_id, &is, err);
    if (!rc)
        rc = read_wanted(store, case_id, &wanted, err);
    if (!rc)
        rc = apply_shares(store, case_id, &is, &wanted, false, &changes, err);
    check->differences += changes;
    return rc;
}

#define DIFFERENT(kept, counted)                                                                   \
    "SELECT count(*) FROM (SELECT a, b, c FROM (SELECT " kept " UNION ALL " counted                \
    ") GROUP BY a, b, c HAVING sum(n) <> 0)"
#define NAMED " JOIN pattern_series s ON s.factor = v.factor AND s.level = v.level AND s.symptom = "

int pattern_differences(struct store *store, int64_t *ret, struct error *err)
{
    static const char RECEIVED[] =
        DIFFERENT("week AS a, series_id AS b, 0 AS c, n FROM pattern_received",
                  "SELECT v.received_week, s.id, 0, -sum(v.n) FROM pattern_part v" NAMED "v.symptom"
                  " GROUP BY 1, 2");
    static const char MADE[] =
        DIFFERENT("series_id AS a, week AS b, received_week AS c, n FROM pattern_made",
                  "SELECT s.id, v.made_week, v.received_week, -sum(v.n) FROM pattern_part v" NAMED
                  "v.symptom GROUP BY 1, 2, 3");
    static const char UNITS[] = DIFFERENT(
        "week AS a, series_id AS b, 0 AS c, n FROM pattern_units",
        "SELECT v.week, s.id, 0, -sum(v.n) FROM pattern_packed v" NAMED "'' GROUP BY 1, 2");
    static const char CASES[] = DIFFERENT(
        "case_id AS a, received_week AS b, made_week AS c, n FROM pattern_case",
        "SELECT case_id, received_week, made_week, -count(*) FROM pattern_place GROUP BY 1, 2, 3");
    static const char OPEN[] = DIFFERENT(
        "week AS a, symptom AS b, 0 AS c, n FROM pattern_open",
        "SELECT (SELECT week FROM pattern_week WHERE from_ms <= opened_ms ORDER BY from_ms DESC"
        " LIMIT 1), symptom, 0, -count(*) FROM complaint_case WHERE state = 'open' GROUP BY 1, 2");
    const char *const ALL[] = {RECEIVED, MADE, UNITS, CASES, OPEN};
    struct share_check check = {0};
    int rc = 0;
    for (size_t i = 0; i < sizeof ALL / sizeof ALL[0] && !rc; i++) {
        int64_t differences = 0;
        rc = db_number(store, ALL[i], NULL, &differences, err);
        check.differences += differences;
    }
    if (!rc)
        rc = each_case(store, check_shares, &check, err);
    if (!rc)
        *ret = check.differences;
    return rc;
}

/* The writing side of pattern.h: sharing cases out among causes, counting again, checking. */
#include "base/text.h"
#include "store/db.h"
#include "store/pattern.h"
#include "store/schema.h"
#include <assert.h>
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

/* ---- what complaints, lots and cases count for ---- */

#define ADD " ON CONFLICT DO UPDATE SET n = n + excluded.n"
#define COMPLAINT_SERIES                                                                           \
    " FROM pattern_part v CROSS JOIN pattern_series s ON s.factor = v.factor AND"                  \
    " s.level = v.level AND s.symptom = v.symptom"

/* ?1 the id, ?2 the sign; each in one step whatever the number of complaints. */
#define COMPLAINTS(which)                                                                          \
    "INSERT INTO pattern_series(factor, level, symptom) SELECT DISTINCT factor, level, symptom"    \
    " FROM pattern_part WHERE " which " AND ?2 > 0 ON CONFLICT DO NOTHING",                        \
        "INSERT INTO pattern_received SELECT v.received_week, s.id, ?2 * "                         \
        "sum(v.n)" COMPLAINT_SERIES " WHERE " which " GROUP BY 1, 2" ADD,                          \
        "INSERT INTO pattern_made SELECT s.id, v.made_week, v.received_week,"                      \
        " ?2 * sum(v.n)" COMPLAINT_SERIES " WHERE " which " GROUP BY 1, 2, 3" ADD,                 \
        "INSERT INTO pattern_case SELECT case_id, received_week, made_week, ?2 * count(*)"         \
        " FROM pattern_place WHERE " which " GROUP BY 1, 2, 3" ADD
#define UNIT_SERIES                                                                                \
    " CROSS JOIN pattern_series s ON s.factor = v.factor AND s.level = v.level AND s.symptom = ''"
#define UNITS(of, which, way)                                                                      \
    "INSERT INTO pattern_series(factor, level, symptom) SELECT DISTINCT factor, level, ''"         \
    " FROM " of " WHERE " which " AND " way " > 0 ON CONFLICT DO NOTHING",                         \
        "INSERT INTO pattern_units SELECT v.week, s.id, " way " * sum(v.n) FROM " of               \
        " v" UNIT_SERIES " WHERE " which " GROUP BY 1, 2" ADD
#define LOTS_OF_PRODUCT "lot_id IN (SELECT id FROM lot WHERE product_id = ?1)"
#define COMPLAINTS_OF_PRODUCT                                                                      \
    "complaint_id IN (SELECT c.id FROM complaint c LEFT JOIN lot l ON l.id = c.lot_id"             \
    " WHERE coalesce(l.product_id, c.product_id) = ?1)"

static int run_all(struct store *store, const char *const *sql, int64_t id, enum pattern_way way,
                   struct error *err)
{
    int rc = 0;
    for (; *sql && !rc; sql++)
        rc = db_run(store, *sql, DB(DB_INT(id), DB_INT(way)), err);
    return rc;
}

int pattern_count_complaint(struct store *store, int64_t complaint_id, enum pattern_way way,
                            struct error *err)
{
    static const char *const ALL[] = {COMPLAINTS("complaint_id = ?1"), NULL};
    return run_all(store, ALL, complaint_id, way, err);
}

int pattern_forget(struct store *store, const char *level, struct error *err)
{
    assert(store_writing(store));
#define OF_LEVEL "(SELECT id FROM pattern_series WHERE level = ?1) AND n = 0"
#define NONE(table)                                                                                \
    " AND NOT EXISTS (SELECT 1 FROM " table " t WHERE t.series_id = pattern_series.id)"
    static const char *const SQL[] = {
        "DELETE FROM pattern_received WHERE series_id IN " OF_LEVEL,
        "DELETE FROM pattern_made WHERE series_id IN " OF_LEVEL,
        "DELETE FROM pattern_units WHERE series_id IN " OF_LEVEL,
        "DELETE FROM pattern_series WHERE level = ?1 AND factor <> 'cause'" NONE("pattern_received")
            NONE("pattern_made") NONE("pattern_units"),
    };
    int rc = 0;
    for (size_t i = 0; i < sizeof SQL / sizeof SQL[0] && !rc; i++)
        rc = db_run(store, SQL[i], DB(DB_TEXT(level)), err);
    return rc;
}

int pattern_count_lot(struct store *store, int64_t lot_id, enum pattern_way way, struct error *err)
{
    static const char *const ALL[] = {UNITS("pattern_packed", "lot_id = ?1", "?2"),
                                      COMPLAINTS("lot_id = ?1"), NULL};
    return run_all(store, ALL, lot_id, way, err);
}

int pattern_count_product(struct store *store, int64_t product_id, enum pattern_way way,
                          struct error *err)
{
    static const char *const ALL[] = {UNITS("pattern_packed", LOTS_OF_PRODUCT, "?2"),
                                      COMPLAINTS(COMPLAINTS_OF_PRODUCT), NULL};
    return run_all(store, ALL, product_id, way, err);
}

int pattern_count_sent(struct store *store, const struct record_cell *key, enum pattern_way way,
                       struct error *err)
{
    enum { KEYS = 4 };
    static const char *const ALL[] = {
        UNITS("pattern_sent", "lot_id = ?1 AND route = ?2 AND store = ?3 AND at_ms = ?4", "?5"),
        NULL};
    struct record_cell with[KEYS + 1];
    int rc = 0;
    for (int i = 0; i < KEYS; i++)
        with[i] = key[i];
    with[KEYS] = (struct record_cell){.form = RECORD_INTEGER, .integer = way};
    for (const char *const *sql = ALL; *sql && !rc; sql++) {
        struct db_query q = db_query_cells(store, *sql, with, KEYS + 1, err);
        db_next(&q);
        rc = db_end(&q, 0);
    }
    return rc;
}

int pattern_count_case(struct store *store, int64_t case_id, enum pattern_way way,
                       struct error *err)
{
    assert(store_writing(store));
    static const char SQL[] = "INSERT INTO pattern_open SELECT " SCHEMA_WEEK_OF(
        "opened_ms") ", symptom, ?2"
                     " FROM complaint_case WHERE id = ?1 AND state = 'open'" ADD;
    return db_run(store, SQL, DB(DB_INT(case_id), DB_INT(way)), err);
}

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

/* Its complaints count for so much more of that series each. */
static int add_share(struct store *store, int64_t case_id, int64_t series_id, int64_t n,
                     struct error *err)
{
    static const char SQL_RECEIVED[] = "INSERT INTO pattern_received SELECT received_week, ?2,"
                                       " ?3 * n FROM pattern_case WHERE case_id = ?1" ADD;
    static const char SQL_MADE[] =
        "INSERT INTO pattern_made SELECT ?2, made_week, received_week, ?3 * n FROM pattern_case"
        " WHERE case_id = ?1" ADD;
    const struct db_value *with = DB(DB_INT(case_id), DB_INT(series_id), DB_INT(n));
    int rc = db_run(store, SQL_RECEIVED, with, err);
    return rc ? rc : db_run(store, SQL_MADE, with, err);
}

/* n 0: none any more. */
static int set_share(struct store *store, int64_t case_id, const struct share *was,
                     const struct share *is, struct error *err)
{
    static const char SQL_SET[] = "INSERT INTO pattern_share(case_id, series_id, n)"
                                  " VALUES(?1, ?2, ?3) ON CONFLICT DO UPDATE SET n = excluded.n";
    static const char SQL_GONE[] =
        "DELETE FROM pattern_share WHERE case_id = ?1 AND series_id = ?2";
    int64_t series_id = is ? is->series_id : was->series_id;
    int rc = is ? db_run(store, SQL_SET, DB(DB_INT(case_id), DB_INT(series_id), DB_INT(is->n)), err)
                : db_run(store, SQL_GONE, DB(DB_INT(case_id), DB_INT(series_id)), err);
    return rc ? rc
              : add_share(store, case_id, series_id, (is ? is->n : 0) - (was ? was->n : 0), err);
}

/* What a case's shares are and should be, both in order of series. */
struct shares_walk {
    struct shares present, wanted;
    int at_present, at_wanted;
    const struct share *was, *is; /* of one series; NULL: none */
};

static int read_both(struct store *store, int64_t case_id, struct shares_walk *ret,
                     struct error *err)
{
    ret->at_present = ret->at_wanted = 0;
    int rc = read_present(store, case_id, &ret->present, err);
    return rc ? rc : read_wanted(store, case_id, &ret->wanted, err);
}

/* The next series in which they differ. */
static bool next_difference(struct shares_walk *walk)
{
    while (walk->at_present < walk->present.count || walk->at_wanted < walk->wanted.count) {
        const struct share *was =
            walk->at_present < walk->present.count ? &walk->present.rows[walk->at_present] : NULL;
        const struct share *is =
            walk->at_wanted < walk->wanted.count ? &walk->wanted.rows[walk->at_wanted] : NULL;
        if (was && is && was->series_id != is->series_id) {
            was = was->series_id < is->series_id ? was : NULL;
            is = was ? NULL : is;
        }
        walk->at_present += was != NULL;
        walk->at_wanted += is != NULL;
        walk->was = was;
        walk->is = is;
        if (!was || !is || was->n != is->n)
            return true;
    }
    return false;
}

int pattern_case_changed(struct store *store, int64_t case_id, struct error *err)
{
    assert(store_writing(store));
    static const char SQL_SERIES[] =
        "INSERT INTO pattern_series(factor, level, symptom)"
        " SELECT 'cause', cause, symptom FROM (" WANTED ") WHERE n >= 100 ON CONFLICT DO NOTHING";
    struct shares_walk walk;
    int rc = db_run(store, SQL_SERIES, DB(DB_INT(case_id)), err);
    if (!rc)
        rc = read_both(store, case_id, &walk, err);
    while (!rc && next_difference(&walk))
        rc = set_share(store, case_id, walk.was, walk.is, err);
    return rc;
}

int pattern_verdict_given(struct store *store, int64_t case_id, struct error *err)
{
    assert(store_writing(store));
    /* causes as probable as the confirmed one count as ranked before it */
    static const char SQL[] =
        "INSERT INTO pattern_verdict(verdict_id, place, probability, brier)"
        " SELECT id, 1 + sum(cause <> confirmed AND p >= own), own,"
        " sum((p - (cause = confirmed)) * (p - (cause = confirmed))) FROM (SELECT v.id,"
        " v.cause AS confirmed, k.name AS cause, r.probability AS p, coalesce((SELECT o.probability"
        " FROM ranking_cause o JOIN cause n ON n.id = o.cause_id WHERE o.case_id = v.case_id"
        " AND o.revision = v.revision AND n.name = v.cause), 0) AS own FROM verdict v"
        " JOIN ranking_cause r ON r.case_id = v.case_id AND r.revision = v.revision"
        " JOIN cause k ON k.id = r.cause_id WHERE v.case_id = ?1 AND v.reopened_ms IS NULL)"
        " GROUP BY id ON CONFLICT(verdict_id) DO UPDATE SET place = excluded.place,"
        " probability = excluded.probability, brier = excluded.brier";
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
        /* WHERE true: else ON would belong to the join */
        "INSERT INTO pattern_series(factor, level, symptom)"
        " SELECT DISTINCT factor, level, symptom FROM pattern_part WHERE true"
        " ON CONFLICT DO NOTHING;"
        "INSERT INTO pattern_series(factor, level, symptom)"
        " SELECT DISTINCT factor, level, '' FROM pattern_packed WHERE true ON CONFLICT DO NOTHING;"
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
        "INSERT INTO pattern_open SELECT " SCHEMA_WEEK_OF(
            "opened_ms") ", symptom, count(*)"
                         " FROM complaint_case WHERE state = 'open' GROUP BY 1, 2;";
    int rc = db_exec(store, SQL, err);
    return rc ? rc : each_case(store, share_again, NULL, err);
}

struct share_check {
    int64_t differences;
};

static int check_shares(void *arg, struct store *store, int64_t case_id, struct error *err)
{
    struct share_check *check = arg;
    struct shares_walk walk;
    int rc = read_both(store, case_id, &walk, err);
    while (!rc && next_difference(&walk))
        check->differences++;
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
        "SELECT " SCHEMA_WEEK_OF("opened_ms") ", symptom, 0, -count(*) FROM complaint_case"
                                              " WHERE state = 'open' GROUP BY 1, 2");
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

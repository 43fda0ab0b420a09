/* The writing side of pattern.h: sharing cases out among causes, counting again, checking. */
#include "base/text.h"
#include "store/db.h"
#include "store/pattern.h"
#include "store/pattern_cuts.h"
#include <assert.h>

/* ---- what complaints, lots and cases count for ---- */

#define ADD_TO(table, key) " ON CONFLICT(" key ") DO UPDATE SET n = " table ".n + excluded.n"
#define ADD_RECEIVED ADD_TO("pattern_received", "week, series_id")
#define ADD_MADE ADD_TO("pattern_made", "series_id, week, received_week")
#define ADD_CASE ADD_TO("pattern_case", "case_id, received_week, made_week")
#define ADD_UNITS ADD_TO("pattern_units", "week, series_id")
#define ADD_OPEN ADD_TO("pattern_open", "week, symptom, plant")
/* Asked before a row is put in: a server makes a number for it, whether it stays or not. */
#define NO_SERIES(factor_, level_, plant_, symptom_)                                               \
    " AND NOT EXISTS (SELECT 1 FROM pattern_series s WHERE s.factor = " factor_                    \
    " AND s.level = " level_ " AND s.plant = " plant_ " AND s.symptom = " symptom_                 \
    ") ON CONFLICT DO NOTHING"
#define NO_SERIES_OF(row, symptom_) NO_SERIES(row ".factor", row ".level", row ".plant", symptom_)
#define COMPLAINT_SERIES                                                                           \
    " FROM pattern_part v CROSS JOIN pattern_series s ON s.factor = v.factor AND"                  \
    " s.level = v.level AND s.plant = v.plant AND s.symptom = v.symptom"

/* ?1 the id, ?2 the sign; each in one step whatever the number of complaints. */
#define COMPLAINTS(which)                                                                          \
    "INSERT INTO pattern_series(factor, level, plant, symptom) SELECT DISTINCT factor, level,"     \
    " plant, symptom FROM pattern_part v WHERE " which                                             \
    " AND ?2 > 0" NO_SERIES_OF("v", "v.symptom"),                                                  \
        "INSERT INTO pattern_received SELECT v.received_week, s.id, ?2 * "                         \
        "sum(v.n)" COMPLAINT_SERIES " WHERE " which " GROUP BY 1, 2" ADD_RECEIVED,                 \
        "INSERT INTO pattern_made SELECT s.id, v.made_week, v.received_week,"                      \
        " ?2 * sum(v.n)" COMPLAINT_SERIES " WHERE " which " GROUP BY 1, 2, 3" ADD_MADE,            \
        "INSERT INTO pattern_case SELECT case_id, received_week, made_week, ?2 * count(*)"         \
        " FROM pattern_place WHERE " which " GROUP BY 1, 2, 3" ADD_CASE
#define UNIT_SERIES                                                                                \
    " CROSS JOIN pattern_series s ON s.factor = v.factor AND s.level = v.level AND"                \
    " s.plant = v.plant AND s.symptom = ''"
#define UNITS(of, which, way)                                                                      \
    "INSERT INTO pattern_series(factor, level, plant, symptom) SELECT DISTINCT factor, level,"     \
    " plant, '' FROM " of " v WHERE " which " AND " way " > 0" NO_SERIES_OF("v", "''"),            \
        "INSERT INTO pattern_units SELECT v.week, s.id, " way " * sum(v.n) FROM " of               \
        " v" UNIT_SERIES " WHERE " which " GROUP BY 1, 2" ADD_UNITS
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

/* What one complaint counts for: its series with how often, as json_each() reads them. */
struct parts {
    struct text_buffer list;
    bool any, any_new; /* any_new: there is no such series yet */
};
struct weeks {
    bool found; /* not withdrawn */
    int received, made;
};

static int read_weeks(struct store *store, int64_t complaint_id, struct weeks *ret,
                      struct error *err)
{
    static const char SQL[] =
        "SELECT received_week, made_week FROM pattern_place WHERE complaint_id = ?1";
    struct db_query q = db_query(store, SQL, DB(DB_INT(complaint_id)), err);
    *ret = (struct weeks){.found = db_next(&q)};
    if (ret->found) {
        ret->received = db_int(&q, 0);
        ret->made = db_int(&q, 1);
    }
    return db_end(&q, 0);
}

/* The view would look for the weeks once a series. */
static int read_parts(struct store *store, int64_t complaint_id, enum pattern_way way,
                      struct parts *parts, struct error *err)
{
    static const char SQL[] =
        "SELECT coalesce(s.id, 0), v.n FROM pattern_part v LEFT JOIN pattern_series s"
        " ON s.factor = v.factor AND s.level = v.level AND s.plant = v.plant"
        " AND s.symptom = v.symptom WHERE v.complaint_id = ?1";
    struct db_query q = db_query(store, SQL, DB(DB_INT(complaint_id)), err);
    text_reset(&parts->list);
    text_append(&parts->list, "{");
    parts->any = parts->any_new = false;
    while (db_next(&q)) {
        const long long series_id = db_int64(&q, 0), n = way * db_int64(&q, 1);
        if (series_id)
            text_appendf(&parts->list, "%s\"%lld\":%lld", parts->any ? "," : "", series_id, n);
        parts->any = parts->any || series_id;
        parts->any_new = parts->any_new || !series_id;
    }
    text_append(&parts->list, "}");
    return db_end(&q, 0);
}

/* All series in one statement a table: a server is asked once, not once a series. */
static int count_parts(struct store *store, const struct parts *parts, const struct weeks *weeks,
                       struct error *err)
{
    static const char RECEIVED[] =
        "INSERT INTO pattern_received SELECT ?2, CAST(key AS INTEGER), value FROM json_each(?1)"
        " WHERE true" ADD_RECEIVED;
    static const char MADE[] =
        "INSERT INTO pattern_made SELECT CAST(key AS INTEGER), ?3, ?2, value FROM json_each(?1)"
        " WHERE true" ADD_MADE;
    const struct db_value list = DB_TEXT(parts->list.data), received = DB_INT(weeks->received);
    int rc = db_run(store, RECEIVED, DB(list, received), err);
    return rc ? rc : db_run(store, MADE, DB(list, received, DB_INT(weeks->made)), err);
}

static int count_case(struct store *store, int64_t complaint_id, const struct weeks *weeks,
                      enum pattern_way way, struct error *err)
{
    static const char SQL[] = "INSERT INTO pattern_case SELECT case_id, ?2, ?3, ?4 FROM complaint"
                              " WHERE id = ?1" ADD_CASE;
    return db_run(
        store, SQL,
        DB(DB_INT(complaint_id), DB_INT(weeks->received), DB_INT(weeks->made), DB_INT(way)), err);
}

/* Of one there is nothing to sum up first, and the view is looked at once: it took a fifth of a
 * complaint's processor time to look once a table. */
int pattern_count_complaint(struct store *store, int64_t complaint_id, enum pattern_way way,
                            struct error *err)
{
    static const char SERIES[] =
        "INSERT INTO pattern_series(factor, level, plant, symptom) SELECT factor, level, plant,"
        " symptom FROM pattern_part v WHERE complaint_id = ?1" NO_SERIES_OF("v", "v.symptom");
    struct parts parts = {0};
    struct weeks weeks;
    int rc = read_weeks(store, complaint_id, &weeks, err);
    if (rc || !weeks.found)
        return rc;
    rc = read_parts(store, complaint_id, way, &parts, err);
    if (!rc && parts.any_new && way > 0) {
        rc = db_run(store, SERIES, DB(DB_INT(complaint_id)), err);
        if (!rc)
            rc = read_parts(store, complaint_id, way, &parts, err);
    }
    if (!rc && parts.any)
        rc = count_parts(store, &parts, &weeks, err);
    text_buffer_free(&parts.list);
    return rc ? rc : count_case(store, complaint_id, &weeks, way, err);
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

/* Most lots that are loaded have none yet: to look for what they count for took four fifths of it.
 */
static int is_complained_of(struct store *store, int64_t lot_id, bool *ret, struct error *err)
{
    static const char SQL[] = "SELECT EXISTS(SELECT 1 FROM complaint WHERE lot_id = ?1)";
    int64_t any = 0;
    int rc = db_number(store, SQL, DB(DB_INT(lot_id)), &any, err);
    *ret = any != 0;
    return rc;
}

int pattern_count_lot(struct store *store, int64_t lot_id, enum pattern_way way, struct error *err)
{
    static const char *const OF_LOT[] = {UNITS("pattern_packed", "lot_id = ?1", "?2"), NULL};
    static const char *const OF_COMPLAINTS[] = {COMPLAINTS("lot_id = ?1"), NULL};
    bool any = false;
    int rc = run_all(store, OF_LOT, lot_id, way, err);
    if (!rc)
        rc = is_complained_of(store, lot_id, &any, err);
    return rc || !any ? rc : run_all(store, OF_COMPLAINTS, lot_id, way, err);
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

int pattern_count_routed(struct store *store, const struct record_cell *key, enum pattern_way way,
                         struct error *err)
{
    enum { LOT, ROUTE, STORE };
    /* +id: by the lot's index, not along all ids */
    static const char NEXT[] = "SELECT coalesce(min(+id), 0) FROM complaint WHERE lot_id = ?1"
                               " AND store = ?2 AND +id > ?3";
    int64_t id = 0;
    int rc = 0;
    if (key[STORE].form != RECORD_TEXT || !*key[STORE].text)
        return 0;
    do {
        rc =
            db_number(store, NEXT,
                      DB(DB_INT(key[LOT].integer), DB_TEXT(key[STORE].text), DB_INT(id)), &id, err);
        if (!rc && id)
            rc = pattern_count_complaint(store, id, way, err);
    } while (!rc && id);
    return rc;
}

int pattern_count_case(struct store *store, int64_t case_id, enum pattern_way way,
                       struct error *err)
{
    assert(store_writing(store));
    static const char SQL[] = "INSERT INTO pattern_open SELECT " PATTERN_WEEK_AT(
        "opened_ms",
        "complaint_case.plant") ", symptom, plant, ?2"
                                " FROM complaint_case WHERE id = ?1 AND state = 'open'" ADD_OPEN;
    return db_run(store, SQL, DB(DB_INT(case_id), DB_INT(way)), err);
}

/* ---- causes ---- */

#define SHARES                                                                                     \
    " FROM pattern_case p CROSS JOIN pattern_share h WHERE p.case_id = ?1 AND h.case_id = ?1"
/* Those that a case's complaints are shared out among. */
#define CAUSES(of_ranking, of_verdict)                                                             \
    "INSERT INTO pattern_series(factor, level, plant, symptom) SELECT DISTINCT 'cause', k.name,"   \
    " c.plant, c.symptom FROM complaint_case c JOIN ranking_cause r ON r.case_id = c.id AND "      \
    "r.revision ="                                                                                 \
    " c.revision JOIN cause k ON k.id = r.cause_id WHERE " of_ranking NO_SERIES(                   \
        "'cause'", "k.name", "c.plant", "c.symptom"),                                              \
        "INSERT INTO pattern_series(factor, level, plant, symptom) SELECT DISTINCT 'cause',"       \
        " v.cause, c.plant, c.symptom FROM verdict v JOIN complaint_case c ON c.id = v.case_id "   \
        "WHERE "                                                                                   \
        "v.reopened_ms IS NULL AND " of_verdict NO_SERIES("'cause'", "v.cause", "c.plant",         \
                                                          "c.symptom")

/* With the sign that run_all() brings. */
#define OF_CASE "c.id = ?1 AND ?2 > 0"

int pattern_name_causes(struct store *store, int64_t case_id, struct error *err)
{
    assert(store_writing(store));
    static const char *const ALL[] = {CAUSES(OF_CASE, OF_CASE), NULL};
    return run_all(store, ALL, case_id, PATTERN_IN, err);
}

int pattern_count_causes(struct store *store, int64_t case_id, enum pattern_way way,
                         struct error *err)
{
    assert(store_writing(store));
    static const char *const ALL[] = {
        CAUSES(OF_CASE, OF_CASE),
        "INSERT INTO pattern_received SELECT p.received_week, h.series_id, ?2 * sum(h.n * p.n)" //
        SHARES " GROUP BY 1, 2" ADD_RECEIVED,
        "INSERT INTO pattern_made SELECT h.series_id, p.made_week, p.received_week,"
        " ?2 * sum(h.n * p.n)" SHARES " GROUP BY 1, 2, 3" ADD_MADE,
        NULL};
    return run_all(store, ALL, case_id, way, err);
}

int pattern_verdict_given(struct store *store, int64_t case_id, struct error *err)
{
    assert(store_writing(store));
    /* causes as probable as the confirmed one count as ranked before it */
    static const char SQL[] =
        "INSERT INTO pattern_verdict(verdict_id, place, probability, brier)"
        " SELECT id, 1 + count(*) FILTER (WHERE cause <> confirmed AND p >= own), min(own),"
        " sum(CASE WHEN cause = confirmed THEN (1 - p) * (1 - p) ELSE p * p END) FROM (SELECT v.id,"
        " v.cause AS confirmed, k.name AS cause, r.probability AS p, coalesce((SELECT o.probability"
        " FROM ranking_cause o JOIN cause n ON n.id = o.cause_id WHERE o.case_id = v.case_id"
        " AND o.revision = v.revision AND n.name = v.cause), 0) AS own FROM verdict v"
        " JOIN ranking_cause r ON r.case_id = v.case_id AND r.revision = v.revision"
        " JOIN cause k ON k.id = r.cause_id WHERE v.case_id = ?1 AND v.reopened_ms IS NULL) s"
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

static int verdict_again(void *arg, struct store *store, int64_t case_id, struct error *err)
{
    (void)arg;
    return pattern_verdict_given(store, case_id, err);
}

static int causes_again(struct store *store, struct error *err)
{
    static const char *const ALL[] = {CAUSES("true", "true")};
    int rc = 0;
    for (size_t i = 0; i < sizeof ALL / sizeof ALL[0] && !rc; i++)
        rc = db_run(store, ALL[i], NULL, err);
    return rc;
}

int pattern_recount(struct store *store, struct error *err)
{
    static const char SQL[] =
        "DELETE FROM pattern_case; DELETE FROM pattern_received; DELETE FROM pattern_made;"
        "DELETE FROM pattern_units; DELETE FROM pattern_open;"
        /* WHERE true: else ON would belong to the join */
        "INSERT INTO pattern_series(factor, level, plant, symptom)"
        " SELECT DISTINCT factor, level, plant, symptom FROM pattern_part WHERE true"
        " ON CONFLICT DO NOTHING;"
        "INSERT INTO pattern_series(factor, level, plant, symptom)"
        " SELECT DISTINCT factor, level, plant, '' FROM pattern_packed WHERE true ON CONFLICT DO "
        "NOTHING;"
        "INSERT INTO pattern_made SELECT s.id, v.made_week, v.received_week, sum(v.n)"
        " FROM pattern_part v JOIN pattern_series s ON s.factor = v.factor AND s.level = v.level"
        " AND s.plant = v.plant AND s.symptom = v.symptom GROUP BY 1, 2, 3;"
        "INSERT INTO pattern_received SELECT received_week, series_id, sum(n) FROM pattern_made"
        " GROUP BY 1, 2;"
        "INSERT INTO pattern_case SELECT case_id, received_week, made_week, count(*)"
        " FROM pattern_place GROUP BY 1, 2, 3;"
        "INSERT INTO pattern_units SELECT v.week, s.id, sum(v.n) FROM pattern_packed v JOIN"
        " pattern_series s ON s.factor = v.factor AND s.level = v.level AND s.plant = v.plant"
        " AND s.symptom = '' GROUP BY 1, 2;"
        "INSERT INTO pattern_open SELECT " PATTERN_WEEK_AT(
            "opened_ms",
            "complaint_case.plant") ", symptom, plant, count(*)"
                                    " FROM complaint_case WHERE state = 'open' GROUP BY 1, 2, 3;";
    int rc = causes_again(store, err);
    if (!rc)
        rc = db_exec(store, SQL, err);
    return rc ? rc : each_case(store, verdict_again, NULL, err);
}

#define DIFFERENT(kept, counted)                                                                   \
    "SELECT count(*) FROM (SELECT a, b, c FROM (SELECT " kept " UNION ALL " counted                \
    ") s GROUP BY a, b, c HAVING sum(n) <> 0) t"
#define NAMED                                                                                      \
    " JOIN pattern_series s ON s.factor = v.factor AND s.level = v.level AND s.plant = v.plant"    \
    " AND s.symptom = "

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
        "week AS a, symptom AS b, plant AS c, n FROM pattern_open",
        "SELECT " PATTERN_WEEK_AT(
            "opened_ms", "complaint_case.plant") ", symptom, plant, -count(*) FROM complaint_case"
                                                 " WHERE state = 'open' GROUP BY 1, 2, 3");
    const char *const ALL[] = {RECEIVED, MADE, UNITS, CASES, OPEN};
    int64_t all = 0;
    int rc = 0;
    for (size_t i = 0; i < sizeof ALL / sizeof ALL[0] && !rc; i++) {
        int64_t differences = 0;
        rc = db_number(store, ALL[i], NULL, &differences, err);
        all += differences;
    }
    if (!rc)
        *ret = all;
    return rc;
}

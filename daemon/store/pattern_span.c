#include "store/pattern_span.h"
#include "base/cuts.h"
#include "store/case_inside.h"
#include "store/db.h"

/* No two clocks are further apart. */
#define CLOCKS_APART_MS (2 * WHEN_DAY_MS)

struct pattern_span pattern_span(const struct tz *tz, int32_t from_day, int32_t to_day,
                                 int64_t now_ms)
{
    struct pattern_span s = {.all = {tz_day_start_ms(tz, from_day), tz_day_start_ms(tz, to_day)}};
    if (s.all.to_ms > now_ms) {
        s.all.to_ms = now_ms > s.all.from_ms ? now_ms : s.all.from_ms;
        to_day = tz_day(tz, s.all.to_ms);
    }
    s.from_week = pattern_week_of_day(from_day + 6);
    s.to_week = pattern_week_of_day(to_day) - 1;
    s.first_until_ms = s.last_from_ms = s.all.to_ms;
    if (s.from_week > s.to_week) { /* days alone: all of them lie before a week that never comes */
        s.from_week = PATTERN_LAST_WEEK + 1;
        s.to_week = PATTERN_LAST_WEEK;
        return s;
    }
    int64_t weeks_from_ms = tz_day_start_ms(tz, pattern_monday(s.from_week));
    int64_t weeks_to_ms = tz_day_start_ms(tz, pattern_monday(s.to_week + 1));
    s.first_until_ms =
        weeks_from_ms > s.all.from_ms ? weeks_from_ms + CLOCKS_APART_MS : s.all.from_ms;
    s.last_from_ms = weeks_to_ms < s.all.to_ms ? weeks_to_ms - CLOCKS_APART_MS : s.all.to_ms;
    return s;
}

static int each_sum(struct store *store, const char *sql, const struct pattern_span *span,
                    pattern_count_each each, void *arg, struct error *err)
{
    struct db_query q = db_query(store, sql,
                                 DB(DB_INT(span->from_week), DB_INT(span->to_week),
                                    DB_INT(span->all.from_ms), DB_INT(span->first_until_ms),
                                    DB_INT(span->last_from_ms), DB_INT(span->all.to_ms)),
                                 err);
    int rc = 0;
    while (!rc && db_next(&q)) {
        struct pattern_count row = {.series_id = db_int64(&q, 0), .n = db_int64(&q, 1)};
        rc = each(arg, &row);
    }
    return db_end(&q, rc);
}

/* statements laid out by hand */
/* clang-format off */
#define NAMED(symptom) \
    " JOIN pattern_series s ON s.factor = v.factor AND s.level = v.level AND s.plant = v.plant" \
    " AND s.symptom = " symptom
#define RECEIVED(from, until, of_week) \
    " UNION ALL SELECT s.id, v.n FROM pattern_part v" NAMED("v.symptom") \
    " WHERE v.received_ms >= " from " AND v.received_ms < " until " AND v.received_week " of_week
#define PACKED(from, until, of_week) \
    " UNION ALL SELECT s.id, v.n FROM pattern_packed v" NAMED("''") \
    " WHERE v.lot_id IN (SELECT id FROM lot WHERE packed_from_ms >= " from \
    " AND packed_from_ms < " until ") AND v.week " of_week
#define SUMMED(weeks, edge) \
    "SELECT id, sum(n) FROM (SELECT series_id AS id, n FROM " weeks \
    " WHERE week BETWEEN ?1 AND ?2" edge("?3", "?4", "< ?1") edge("?5", "?6", "> ?2") \
    ") s GROUP BY id"
/* clang-format on */

int pattern_span_received(struct store *store, const struct pattern_span *span,
                          pattern_count_each each, void *arg, struct error *err)
{
    static const char SQL[] = SUMMED("pattern_received", RECEIVED);
    return each_sum(store, SQL, span, each, arg, err);
}

int pattern_span_units(struct store *store, const struct pattern_span *span,
                       pattern_count_each each, void *arg, struct error *err)
{
    static const char SQL[] = SUMMED("pattern_units", PACKED);
    return each_sum(store, SQL, span, each, arg, err);
}

int pattern_span_parts(struct store *store, const struct pattern_scope *scope,
                       pattern_part_each each, void *arg, struct error *err)
{
    static const char SQL[] =
        "SELECT complaint_id, n, factor, level, lot_id, plant FROM pattern_part WHERE"
        " received_ms >= ?1 AND received_ms < ?2 AND symptom = ?3 AND (?4 IS NULL OR plant = ?4)"
        " ORDER BY complaint_id";
    struct db_query q = db_query(store, SQL,
                                 DB(DB_INT(scope->span.from_ms), DB_INT(scope->span.to_ms),
                                    DB_TEXT(scope->symptom), DB_SAID(scope->plant)),
                                 err);
    int rc = 0;
    while (!rc && db_next(&q)) {
        struct pattern_part row = {db_int64(&q, 0), db_int64(&q, 1), db_text(&q, 2),
                                   db_text(&q, 3),  db_text(&q, 5),  db_int64(&q, 4)};
        rc = each(arg, &row);
    }
    return db_end(&q, rc);
}

int pattern_span_harm(struct store *store, const struct pattern_scope *scope, pattern_id_each each,
                      void *arg, struct error *err)
{
/* statements laid out by hand */
/* clang-format off */
#define RECEIVED_THEN(c) \
    c ".received_ms >= ?1 AND " c ".received_ms < ?2 AND " c ".symptom = ?3"
    static const char SQL[] =
        "SELECT c.id FROM complaint c WHERE " RECEIVED_THEN("c") " AND c.withdrawn_ms IS NULL AND"
        " (?4 IS NULL OR c.plant = ?4) AND c.case_id IN (SELECT k.id FROM complaint_case k WHERE k.id"
        " IN (SELECT d.case_id FROM complaint d WHERE " RECEIVED_THEN("d") ") AND (k.harm <> 0 OR"
        " EXISTS (SELECT 1 FROM complaint e WHERE e.case_id = k.id AND e.withdrawn_ms IS NULL AND"
        " " CASE_COMPLAINT_MAY_HARM("e") "))) ORDER BY c.id";
#undef RECEIVED_THEN
    /* clang-format on */
    struct db_query q = db_query(store, SQL,
                                 DB(DB_INT(scope->span.from_ms), DB_INT(scope->span.to_ms),
                                    DB_TEXT(scope->symptom), DB_SAID(scope->plant)),
                                 err);
    int rc = 0;
    while (!rc && db_next(&q))
        rc = each(arg, db_int64(&q, 0));
    return db_end(&q, rc);
}

/* Of each lot its newest. */
int pattern_span_hit(struct store *store, const struct pattern_scope *scope,
                     const struct pattern_series *level, pattern_hit_each each, void *arg,
                     struct error *err)
{
    static const char SQL[] =
        "SELECT l.id, l.units, l.code_day, c.case_id, h.received_ms, l.lot, h.of_lot FROM (SELECT"
        " v.lot_id, v.complaint_id, v.received_ms, count(*) OVER (PARTITION BY v.lot_id) AS of_lot,"
        " row_number() OVER (PARTITION BY v.lot_id ORDER BY"
        " v.received_ms DESC, v.complaint_id) AS nr FROM pattern_part v WHERE v.received_ms >= ?1"
        " AND v.received_ms < ?2 AND v.symptom = ?3 AND v.factor = ?4 AND v.level = ?5 AND v.n >="
        " ?6 AND (?7 IS NULL OR v.plant = ?7) AND (?8 IS NULL OR v.plant = ?8)) h JOIN complaint c "
        "ON c.id = h.complaint_id JOIN lot l ON l.id = h.lot_id WHERE"
        " h.nr = 1 ORDER BY l.id";
    const struct cut *cut = cuts_find(level->factor);
    int64_t least = cut && cuts_fractional(cut) ? (int64_t)(PATTERN_MILLION / 2) : 1;
    struct db_query q = db_query(
        store, SQL,
        DB(DB_INT(scope->span.from_ms), DB_INT(scope->span.to_ms), DB_TEXT(scope->symptom),
           DB_TEXT(level->factor), DB_TEXT(level->level), DB_INT(least), DB_SAID(scope->plant),
           cut && cut->flags & CUT_OWN ? DB_TEXT(level->plant) : DB_SAID(NULL)),
        err);
    int rc = 0;
    while (!rc && db_next(&q)) {
        struct pattern_hit row = {
            .lot_id = db_int64(&q, 0),
            .units = db_int64(&q, 1),
            .code_day = (int32_t)db_int64(&q, 2),
            .case_id = db_int64(&q, 3),
            .newest_ms = db_int64(&q, 4),
            .lot = db_text(&q, 5),
            .complaints = db_int64(&q, 6),
        };
        rc = each(arg, &row);
    }
    return db_end(&q, rc);
}

/* What each complaint and lot counts for, as views, and the triggers that keep its counts with
 * every change: made from the table of cuts. In the tables of schema_pattern.c a series is a level
 * of a cut ('' '': all together) and a symptom ('': units). */
#include "store/pattern_cuts.h"
#include "base/cuts.h"
#include "store/db.h"
#include <stdlib.h>
#include <string.h>

static const char VIEWS_KEY[] = "pattern/views";

enum {
    OF_LOT = 1 << CUT_LOT,
    OF_PRODUCT = 1 << CUT_PRODUCT,
    OF_COMPLAINT = 1 << CUT_COMPLAINT,
    OF_ALL = OF_LOT | OF_PRODUCT | OF_COMPLAINT
};

/* Appends the pattern once a cut of these sources: @ is its name, # its column. */
static void each_cut(struct text_buffer *sql, int sources, unsigned flags, const char *pattern)
{
    for (const struct cut *c = cuts_all(); c->name; c++) {
        if (!(sources & 1 << c->source) || (c->flags & flags) != flags)
            continue;
        for (const char *at = pattern; *at; at++) {
            if (*at == '@')
                text_append(sql, c->name);
            else if (*at == '#')
                text_append(sql, c->column);
            else
                text_append_bytes(sql, at, 1);
        }
    }
}

/* statements laid out by hand */
/* clang-format off */

#define WEEK_OF(ms) \
    "(SELECT week FROM pattern_week WHERE from_ms <= " ms " ORDER BY from_ms DESC LIMIT 1)"

/* ---- what counts for what ---- */

static void add_views(struct text_buffer *sql)
{
    text_append(sql,
        "CREATE VIEW pattern_place AS SELECT c.id AS complaint_id, c.case_id, c.lot_id,"
        " c.received_ms, c.symptom, " WEEK_OF("c.received_ms") " AS received_week,"
        " coalesce(" WEEK_OF("l.packed_from_ms") ", -1) AS made_week");
    each_cut(sql, OF_LOT, 0, ", l.# AS cut_@");
    each_cut(sql, OF_PRODUCT, 0, ", p.# AS cut_@");
    each_cut(sql, OF_COMPLAINT, 0, ", c.# AS cut_@");
    text_append(sql,
        " FROM complaint c LEFT JOIN lot l ON l.id = c.lot_id"
        " LEFT JOIN product p ON p.id = coalesce(l.product_id, c.product_id);");

    text_append(sql,
        "CREATE VIEW pattern_part AS SELECT complaint_id, lot_id, received_ms, received_week,"
        " made_week, factor, level, symptom, 1 AS n FROM (SELECT c.*, f.factor, CASE f.factor"
        " WHEN '' THEN ''");
    each_cut(sql, OF_ALL, 0, " WHEN '@' THEN c.cut_@");
    text_append(sql,
        " END AS level FROM pattern_place c CROSS JOIN pattern_factor f)"
        " WHERE factor = '' OR level <> ''"
        " UNION ALL SELECT c.complaint_id, c.lot_id, c.received_ms, c.received_week, c.made_week,"
        " s.factor, s.level, s.symptom, h.n FROM pattern_place c CROSS JOIN pattern_share h"
        " ON h.case_id = c.case_id CROSS JOIN pattern_series s ON s.id = h.series_id;");

    text_append(sql,
        "CREATE VIEW pattern_packed AS SELECT lot_id, week, factor, level, n FROM (SELECT"
        " l.id AS lot_id, " WEEK_OF("l.packed_from_ms") " AS week, f.factor, CASE f.factor"
        " WHEN '' THEN ''");
    each_cut(sql, OF_LOT, 0, " WHEN '@' THEN l.#");
    each_cut(sql, OF_PRODUCT, 0, " WHEN '@' THEN p.#");
    text_append(sql,
        " END AS level, l.units AS n FROM lot l JOIN product p ON p.id = l.product_id CROSS JOIN"
        " pattern_factor f) WHERE factor = '' OR level <> ''");
    each_cut(sql, OF_COMPLAINT, CUT_SENT,
        " UNION ALL SELECT d.lot_id, " WEEK_OF("l.packed_from_ms") ", '@', d.@, d.units"
        " FROM dispatch d JOIN lot l ON l.id = d.lot_id WHERE d.@ <> ''");
    text_append(sql, ";");
}

static void add_factors(struct text_buffer *sql)
{
    text_append(sql, "DELETE FROM pattern_factor; INSERT INTO pattern_factor VALUES('')");
    each_cut(sql, OF_ALL, 0, ", ('@')");
    text_append(sql, ";");
}

/* ---- what moves them ---- */

#define ADD " ON CONFLICT DO UPDATE SET n = n + excluded.n;"
#define COUNT(sign, where) \
    "INSERT INTO pattern_add SELECT received_week, made_week, factor, level, symptom, " sign "n" \
    " FROM pattern_part WHERE " where ";" \
    "INSERT INTO pattern_case SELECT case_id, received_week, made_week, " sign "1" \
    " FROM pattern_place WHERE " where ADD
#define UNITS(sign, where) \
    "INSERT INTO pattern_add_units SELECT week, factor, level, " sign "n FROM pattern_packed" \
    " WHERE " where ";"
#define SENT(row, sign) \
    "INSERT INTO pattern_add_units SELECT " WEEK_OF("packed_from_ms") ", '@', " row ".@," \
    " " sign row ".units FROM lot WHERE id = " row ".lot_id AND " row ".@ <> '';"

#define LOTS_OF "lot_id IN (SELECT id FROM lot WHERE product_id = OLD.id)"
#define COMPLAINTS_OF \
    "complaint_id IN (SELECT c.id FROM complaint c LEFT JOIN lot l ON l.id = c.lot_id" \
    " WHERE coalesce(l.product_id, c.product_id) = OLD.id)"

/* A change of a row: taken off as it was, counted as it is. */
static void add_change(struct text_buffer *sql, const char *table, int source, const char *columns,
                       const char *less, const char *more)
{
    for (int after = 0; after < 2; after++) {
        text_appendf(sql, "CREATE TRIGGER pattern_%s_%s %s UPDATE OF %s", table,
                     after ? "is" : "was", after ? "AFTER" : "BEFORE", columns);
        each_cut(sql, source, 0, ", #");
        text_appendf(sql, " ON %s WHEN 0", table);
        each_cut(sql, source, 0, " OR OLD.# IS NOT NEW.#");
        for (const char *at = columns; *at; at += strcspn(at, ", "), at += strspn(at, ", ")) {
            int length = (int)strcspn(at, ", ");
            text_appendf(sql, " OR OLD.%.*s IS NOT NEW.%.*s", length, at, length, at);
        }
        text_appendf(sql, " BEGIN %s END;", after ? more : less);
    }
}

static void add_dispatch(struct text_buffer *sql, const char *name, const char *when,
                         const char *less, const char *more)
{
    text_appendf(sql, "CREATE TRIGGER pattern_dispatch_%s AFTER %s ON dispatch BEGIN ", name, when);
    each_cut(sql, OF_COMPLAINT, CUT_SENT, less);
    each_cut(sql, OF_COMPLAINT, CUT_SENT, more);
    text_append(sql, " END;");
}

static void add_triggers(struct text_buffer *sql)
{
    add_change(sql, "complaint", OF_COMPLAINT, "received_ms, symptom, case_id, lot_id, product_id",
               COUNT("-", "complaint_id = OLD.id"), COUNT("", "complaint_id = NEW.id"));
    add_change(sql, "lot", OF_LOT, "product_id, packed_from_ms, units",
               UNITS("-", "lot_id = OLD.id") COUNT("-", "lot_id = OLD.id"),
               UNITS("", "lot_id = NEW.id") COUNT("", "lot_id = NEW.id"));
    add_change(sql, "product", OF_PRODUCT, "id",
               UNITS("-", LOTS_OF) COUNT("-", COMPLAINTS_OF), UNITS("", LOTS_OF) COUNT("", COMPLAINTS_OF));
    add_dispatch(sql, "new", "INSERT", "", SENT("NEW", ""));
    add_dispatch(sql, "is", "UPDATE", SENT("OLD", "-"), SENT("NEW", ""));
    add_dispatch(sql, "gone", "DELETE", SENT("OLD", "-"), "");
}
/* clang-format on */

/* ---- making them ---- */

static int make(struct store *store, const char *views, struct error *err)
{
    /* IF EXISTS: older files have no triggers on products */
    static const char DROP[] =
        "DROP VIEW pattern_place; DROP VIEW pattern_part; DROP VIEW pattern_packed;"
        "DROP TRIGGER pattern_complaint_was; DROP TRIGGER pattern_complaint_is;"
        "DROP TRIGGER pattern_lot_was; DROP TRIGGER pattern_lot_is;"
        "DROP TRIGGER IF EXISTS pattern_product_was; DROP TRIGGER IF EXISTS pattern_product_is;"
        "DROP TRIGGER pattern_dispatch_new; DROP TRIGGER pattern_dispatch_is;"
        "DROP TRIGGER pattern_dispatch_gone;";
    int rc = db_exec(store, DROP, err);
    if (!rc)
        rc = db_exec(store, views, err);
    return rc ? rc : store_setting_set(store, VIEWS_KEY, views, err);
}

int pattern_cuts(struct store *store, bool *ret_new, struct error *err)
{
    struct text_buffer views = {0};
    char *present = NULL;
    add_views(&views);
    add_factors(&views);
    add_triggers(&views);
    int rc = store_setting_get(store, VIEWS_KEY, &present, err);
    *ret_new = !rc && (!present || strcmp(present, views.data) != 0);
    if (*ret_new)
        rc = make(store, views.data, err);
    free(present);
    text_buffer_free(&views);
    return rc;
}

/* What each complaint, lot and dispatch counts for, as views made from the table of cuts. In the
 * tables of schema_pattern.c a series is a level of a cut ('' '': all together), a plant ('': not
 * known) and a symptom ('': units): a level of two plants is two series. */
#include "store/pattern_cuts.h"
#include "base/cuts.h"
#include "store/db.h"
#include "store/schema.h"
#include <stdlib.h>
#include <string.h>

static const char VIEWS_KEY[] = "pattern/views";

enum {
    OF_LOT = 1 << CUT_LOT,
    OF_PRODUCT = 1 << CUT_PRODUCT,
    OF_PLANT = 1 << CUT_PLANT,
    OF_COMPLAINT = 1 << CUT_COMPLAINT,
    OF_ALL = OF_LOT | OF_PRODUCT | OF_PLANT | OF_COMPLAINT
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

/* A level that a complaint does not tell is that by which all of its lot went to its store. */
static void add_complaint_cuts(struct text_buffer *sql)
{
    for (const struct cut *c = cuts_all(); c->name; c++) {
        if (c->source != CUT_COMPLAINT)
            continue;
        text_append(sql, ", coalesce(");
        if (c->column)
            text_appendf(sql, "c.%s, ", c->column);
        if (c->flags & CUT_BY_STORE)
            text_appendf(sql,
                         "(SELECT CASE WHEN min(d.%s) = max(d.%s) THEN max(d.%s)"
                         " END FROM dispatch d WHERE d.lot_id = c.lot_id AND d.store = c.store), ",
                         c->name, c->name, c->name);
        text_append(sql, "NULL)");
        text_appendf(sql, " AS cut_%s", c->name);
    }
}

/* statements laid out by hand */
/* clang-format off */

static void add_views(struct text_buffer *sql)
{
    text_append(sql,
        "CREATE VIEW pattern_place AS SELECT c.id AS complaint_id, c.case_id, c.lot_id,"
        " c.received_ms, c.symptom, c.plant, " PATTERN_WEEK_AT("c.received_ms", "c.plant")
        " AS received_week,"
        " coalesce(" PATTERN_WEEK_AT("l.packed_from_ms", "l.plant") ", -1) AS made_week");
    each_cut(sql, OF_LOT, 0, ", l.# AS cut_@");
    each_cut(sql, OF_PRODUCT, 0, ", p.# AS cut_@");
    each_cut(sql, OF_PLANT, 0, ", c.# AS cut_@");
    add_complaint_cuts(sql);
    text_append(sql,
        " FROM complaint c LEFT JOIN lot l ON l.id = c.lot_id"
        " LEFT JOIN product p ON p.id = coalesce(l.product_id, c.product_id)"
        " WHERE c.withdrawn_ms IS NULL;");

    text_append(sql,
        "CREATE VIEW pattern_part AS SELECT complaint_id, lot_id, received_ms, received_week,"
        " made_week, factor, level, plant, symptom, 1 AS n FROM (SELECT c.*, f.factor, CASE f.factor"
        " WHEN '' THEN ''");
    each_cut(sql, OF_ALL, 0, " WHEN '@' THEN c.cut_@");
    text_append(sql,
        " END AS level FROM pattern_place c CROSS JOIN pattern_factor f)"
        " WHERE factor = '' OR level <> ''"
        " UNION ALL SELECT c.complaint_id, c.lot_id, c.received_ms, c.received_week, c.made_week,"
        " s.factor, s.level, s.plant, s.symptom, h.n FROM pattern_place c CROSS JOIN pattern_share h"
        " ON h.case_id = c.case_id CROSS JOIN pattern_series s ON s.id = h.series_id;");

    text_append(sql,
        "CREATE VIEW pattern_sent AS SELECT lot_id, route, store, at_ms, week, factor, level, plant,"
        " n FROM (SELECT d.lot_id, d.route, d.store, d.at_ms, d.units AS n, l.plant,"
        " " PATTERN_WEEK_AT("l.packed_from_ms", "l.plant") " AS week, f.factor, CASE f.factor"
        " WHEN '' THEN ''");
    each_cut(sql, OF_COMPLAINT, CUT_SENT, " WHEN '@' THEN d.@");
    text_append(sql,
        " END AS level FROM dispatch d JOIN lot l ON l.id = d.lot_id CROSS JOIN pattern_factor f)"
        " WHERE level <> '';");

    text_append(sql,
        "CREATE VIEW pattern_packed AS SELECT lot_id, week, factor, level, plant, n FROM (SELECT"
        " l.id AS lot_id, l.plant, " PATTERN_WEEK_AT("l.packed_from_ms", "l.plant") " AS week,"
        " f.factor, CASE f.factor WHEN '' THEN ''");
    each_cut(sql, OF_LOT | OF_PLANT, 0, " WHEN '@' THEN l.#");
    each_cut(sql, OF_PRODUCT, 0, " WHEN '@' THEN p.#");
    text_append(sql,
        " END AS level, l.units AS n FROM lot l JOIN product p ON p.id = l.product_id CROSS JOIN"
        " pattern_factor f) WHERE factor = '' OR level <> ''");
    text_append(sql,
        " UNION ALL SELECT lot_id, week, factor, level, plant, n FROM pattern_sent;");
}

static void add_factors(struct text_buffer *sql)
{
    text_append(sql, "DELETE FROM pattern_factor; INSERT INTO pattern_factor VALUES('')");
    each_cut(sql, OF_ALL, 0, ", ('@')");
    text_append(sql, ";");
}
/* clang-format on */

/* ---- making them ---- */

static int make(struct store *store, const char *views, struct error *err)
{
    static const char DROP[] =
        "DROP VIEW pattern_part; DROP VIEW pattern_place; DROP VIEW pattern_packed;"
        "DROP VIEW pattern_sent;";
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
    int rc = store_setting_get(store, VIEWS_KEY, &present, err);
    *ret_new = !rc && (!present || strcmp(present, views.data) != 0);
    if (*ret_new)
        rc = make(store, views.data, err);
    free(present);
    text_buffer_free(&views);
    return rc;
}

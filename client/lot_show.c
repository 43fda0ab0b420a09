#include "lot_show.h"
#include "base/text.h"
#include "pick.h"
#include "show.h"
#include "table.h"
#include <stdlib.h>
#include <string.h>

#define ODD_Z 3.0 /* robust z beyond which a lot is unlike the recent ones */
#define ROUTES_SHOWN 12

/* ---- readings ---- */

static const struct column reading_columns[] = {
    {"quantity", COLUMN_LEFT, 12}, {"value", COLUMN_RIGHT, 0},       {"target", COLUMN_RIGHT, 0},
    {"allowed", COLUMN_LEFT, 0},   {"recent lots", COLUMN_RIGHT, 0}, {"", COLUMN_LEFT, 8}};

static void add_number(struct table *t, const json_t *object, const char *name)
{
    char number[VIEW_NUMBER];
    table_add(t, pick_has(object, name) ? view_number(pick_number(object, name, 0), number) : "");
}

/* "4.9 to 5.3", of members low and high. */
static void add_range(struct table *t, const json_t *object)
{
    char low[VIEW_NUMBER];
    char high[VIEW_NUMBER];
    bool has_low = pick_has(object, "low");
    bool has_high = pick_has(object, "high");
    view_number(pick_number(object, "low", 0), low);
    view_number(pick_number(object, "high", 0), high);
    if (has_low && has_high)
        table_addf(t, "%s" VIEW_NBSP "to" VIEW_NBSP "%s", low, high);
    else if (has_low)
        table_addf(t, "from" VIEW_NBSP "%s", low);
    else if (has_high)
        table_addf(t, "to" VIEW_NBSP "%s", high);
    else
        table_add(t, "");
}

/* In words, where a value stands; never by colour. Of several readings the value is the middle. */
static void add_mark(struct table *t, const json_t *reading)
{
    char number[VIEW_NUMBER];
    char most[VIEW_NUMBER];
    struct text_buffer text = {0};
    double value = pick_number(reading, "value", 0);
    double z = pick_number(reading, "z", 0);
    if (pick_has(reading, "low") && value < pick_number(reading, "low", 0))
        text_append(&text, "TOO LOW");
    else if (pick_has(reading, "high") && value > pick_number(reading, "high", 0))
        text_append(&text, "TOO HIGH");
    if (z > ODD_Z || z < -ODD_Z)
        text_appendf(&text, "%sunlike recent lots (%s" VIEW_NBSP "sigma)", text.length ? ", " : "",
                     view_bits(z, number));
    if (pick_int(reading, "n", 1) > 1)
        text_appendf(&text, "%s%s" VIEW_NBSP "to" VIEW_NBSP "%s", text.length ? ", " : "",
                     view_number(pick_number(reading, "min", 0), number),
                     view_number(pick_number(reading, "max", 0), most));
    if (pick_bool(reading, "computed", false))
        text_appendf(&text, "%scomputed", text.length ? ", " : "");
    table_add(t, text.data);
    text_buffer_free(&text);
}

static void show_readings(const struct view *v, const json_t *readings)
{
    struct table *t = table_new(reading_columns, sizeof reading_columns / sizeof *reading_columns);
    size_t i;
    const json_t *reading;
    json_array_foreach(readings, i, reading)
    {
        char *value = pick_shown(reading, "value");
        const char *unit = pick_text(reading, "unit", "");
        bool plain = !*unit || strcmp(unit, "1") == 0;
        table_add(t, pick_text(reading, "quantity", "?"));
        table_addf(t, "%s%s%s", value, plain ? "" : VIEW_NBSP, plain ? "" : unit);
        add_number(t, reading, "target");
        add_range(t, reading);
        add_number(t, reading, "usual");
        add_mark(t, reading);
        free(value);
    }
    view_section(v, "Readings");
    if (table_rows(t) > 0)
        table_print(t, v, 2);
    else
        view_text(v, VIEW_PLAIN, 2, 0, "None on record.");
    table_free(t);
}

/* ---- what went in, where it went ---- */

static void show_materials(const struct view *v, const json_t *materials)
{
    static const struct column columns[] = {{"material", COLUMN_LEFT, 0},
                                            {"lot", COLUMN_LEFT, 10},
                                            {"supplier", COLUMN_LEFT, 10},
                                            {"kg", COLUMN_RIGHT, 0},
                                            {"active %", COLUMN_RIGHT, 0}};
    struct table *t = table_new(columns, sizeof columns / sizeof *columns);
    size_t i;
    const json_t *use;
    json_array_foreach(materials, i, use)
    {
        table_add(t, pick_text(use, "material", "?"));
        table_add(t, pick_text(use, "material_lot", ""));
        table_add(t, pick_text(use, "supplier", ""));
        add_number(t, use, "kg");
        add_number(t, use, "active_pct");
    }
    if (table_rows(t) > 0) {
        view_section(v, "Materials");
        table_print(t, v, 2);
    }
    table_free(t);
}

static void show_dispatch(const struct view *v, const json_t *dispatch)
{
    static const struct column columns[] = {{"route", COLUMN_LEFT, 0},
                                            {"store", COLUMN_LEFT, 0},
                                            {"sent", COLUMN_LEFT, 0},
                                            {"units", COLUMN_RIGHT, 0},
                                            {"on the way", COLUMN_RIGHT, 0}};
    struct table *t = table_new(columns, sizeof columns / sizeof *columns);
    size_t i;
    size_t count = json_array_size(dispatch);
    const json_t *row;
    json_array_foreach(dispatch, i, row)
    {
        char text[VIEW_NUMBER];
        if (i == ROUTES_SHOWN)
            break;
        table_add(t, pick_text(row, "route", "?"));
        table_add(t, pick_text(row, "store", ""));
        table_add(t, view_when(pick_text(row, "at", ""), text));
        add_number(t, row, "units");
        if (pick_has(row, "transit_c"))
            table_addf(t, "%s" VIEW_NBSP "degC",
                       view_number(pick_number(row, "transit_c", 0), text));
        else
            table_add(t, "");
    }
    if (table_rows(t) > 0) {
        view_section(v, "Dispatched");
        table_print(t, v, 2);
    }
    if (count > ROUTES_SHOWN)
        view_textf(v, VIEW_DIM, 2, 0, "%zu further; --json has all", count - ROUTES_SHOWN);
    table_free(t);
}

/* ---- what the models expect ---- */

static void show_span(const struct view *v, const char *label, const json_t *span)
{
    char low[VIEW_NUMBER];
    char typical[VIEW_NUMBER];
    char high[VIEW_NUMBER];
    if (!json_is_object(span))
        return;
    if (!pick_bool(span, "valid", true)) {
        view_label(v, label, "cannot be said: %s",
                   pick_text(span, "reason", "too little is known"));
        return;
    }
    view_label(v, label, "%s%s days (%s to %s)",
               pick_bool(span, "beyond", false) ? "more than " : "",
               view_number(pick_number(span, "typical", 0), typical),
               view_number(pick_number(span, "low", 0), low),
               view_number(pick_number(span, "high", 0), high));
}

static void show_prediction(const struct view *v, const json_t *document)
{
    const json_t *days = json_object_get(json_object_get(document, "prediction"), "mold_free_days");
    size_t i;
    const json_t *term;
    if (!days)
        return;
    view_section(v, "Days without mold, as the models expect them");
    show_span(v, "as made", json_object_get(days, "as_made"));
    show_span(v, "as specified", json_object_get(days, "as_specified"));
    json_array_foreach(json_object_get(days, "terms"), i, term)
    {
        char number[VIEW_NUMBER];
        view_label(v, i ? "" : "days lost to", "%s: %s", pick_text(term, "term", "?"),
                   view_number(pick_number(term, "days_lost", 0), number));
    }
}

/* ---- the whole ---- */

static void show_hold(const struct view *v, const json_t *hold)
{
    char when[VIEW_NUMBER];
    if (!json_is_object(hold))
        return;
    bool held = strcmp(pick_text(hold, "what", "hold"), "hold") == 0;
    view_label(v, held ? "ON HOLD" : "disposition", "%s%s%s, %s, %s",
               held ? "" : pick_text(hold, "disposition", ""), held ? "" : ": ",
               pick_text(hold, "reason", "no reason given"), pick_text(hold, "by", "?"),
               view_when(pick_text(hold, "at", ""), when));
}

void lot_show(const struct view *v, const json_t *document)
{
    char number[VIEW_NUMBER];
    char *line = show_lot_line(document);
    bool exact = pick_bool(document, "exact", true);
    view_title(v, "Lot %s%s", pick_text(document, "lot", "not known"),
               exact ? "" : " (likeliest; the code is not exact)");
    if (*line)
        view_text(v, VIEW_PLAIN, 2, 2, line);
    free(line);
    if (pick_has(document, "units"))
        view_label(v, "units", "%s", view_number(pick_number(document, "units", 0), number));
    show_hold(v, json_object_get(document, "hold"));
    if (!exact && json_array_size(json_object_get(document, "candidates")) > 1) {
        view_section(v, "Could be");
        show_candidates(v, json_object_get(document, "candidates"));
    }
    show_readings(v, json_object_get(document, "readings"));
    show_materials(v, json_object_get(document, "materials"));
    show_dispatch(v, json_object_get(document, "dispatch"));
    show_prediction(v, document);
}

#include "show/lot_show.h"
#include "base/plant_level.h"
#include "base/text.h"
#include "show/harm.h"
#include "show/hold.h"
#include "show/measured_show.h"
#include "show/pick.h"
#include "show/show.h"
#include "show/standing.h"
#include "show/table.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define ODD_Z 3.0 /* robust z beyond which a lot is unlike the recent ones */
#define ROUTES_SHOWN 12
#define CURVE_STEP 3
#define CURVE_CELLS 16

/* ---- readings ---- */

static const struct column reading_columns[] = {{"quantity", COLUMN_LEFT, 18},
                                                {"value", COLUMN_RIGHT, 0},
                                                {"target (allowed)", COLUMN_LEFT, 0},
                                                {"recent", COLUMN_RIGHT, 0},
                                                {"", COLUMN_LEFT, 10}};

static void add_number(struct table *t, const json_t *object, const char *name)
{
    char number[VIEW_NUMBER];
    table_add(t, pick_has(object, name) ? view_number(pick_number(object, name, 0), number) : "");
}

/* "5.1 (4.9 to 5.3)" */
static void add_target(struct table *t, const json_t *reading)
{
    char n[3][VIEW_NUMBER];
    struct text_buffer text = {0};
    bool low = pick_has(reading, "low");
    bool high = pick_has(reading, "high");
    if (pick_has(reading, "target"))
        text_append(&text, view_number(pick_number(reading, "target", 0), n[0]));
    text_append(&text, text.length && (low || high) ? VIEW_NBSP : "");
    if (low && high)
        text_appendf(&text, "(%s" VIEW_NBSP "to" VIEW_NBSP "%s)",
                     view_number(pick_number(reading, "low", 0), n[1]),
                     view_number(pick_number(reading, "high", 0), n[2]));
    else if (low)
        text_appendf(&text, "(at" VIEW_NBSP "least" VIEW_NBSP "%s)",
                     view_number(pick_number(reading, "low", 0), n[1]));
    else if (high)
        text_appendf(&text, "(at" VIEW_NBSP "most" VIEW_NBSP "%s)",
                     view_number(pick_number(reading, "high", 0), n[2]));
    table_add(t, text.data);
    text_buffer_free(&text);
}

/* What laboratories found of it and is not allowed: it stands for the plant's own value. */
static void append_measured(struct text_buffer *text, const json_t *reading, const json_t *document)
{
    char number[VIEW_NUMBER];
    size_t i;
    const json_t *result;
    json_array_foreach(json_object_get(document, "measured"), i, result)
    {
        const char *word =
            strcmp(pick_text(result, "quantity", ""), pick_text(reading, "quantity", "?")) == 0
                ? measured_show_out(result, reading)
                : "";
        if (*word)
            text_appendf(text, "%slaboratory %s:" VIEW_NBSP "%s", text->length ? ", " : "", word,
                         view_number(pick_number(result, "value", 0), number));
    }
}

/* In words, where the readings stand; never by colour. The value is the middle of several. */
static void add_mark(struct table *t, const json_t *reading, const json_t *document)
{
    char number[VIEW_NUMBER];
    struct text_buffer text = {0};
    double value = pick_number(reading, "value", 0);
    double low = pick_number(reading, "low", -INFINITY);
    double high = pick_number(reading, "high", INFINITY);
    double z = pick_number(reading, "z", 0);
    if (value < low)
        text_append(&text, "TOO LOW");
    else if (value > high)
        text_append(&text, "TOO HIGH");
    else if (pick_number(reading, "min", value) < low)
        text_appendf(&text, "some too low:" VIEW_NBSP "%s",
                     view_number(pick_number(reading, "min", 0), number));
    else if (pick_number(reading, "max", value) > high)
        text_appendf(&text, "some too high:" VIEW_NBSP "%s",
                     view_number(pick_number(reading, "max", 0), number));
    if (z > ODD_Z || z < -ODD_Z)
        text_appendf(&text, "%s%s" VIEW_NBSP "spreads", text.length ? ", " : "",
                     view_bits(z, number));
    append_measured(&text, reading, document);
    table_add(t, text.data);
    text_buffer_free(&text);
}

/* What has a target but was not measured. */
static void show_missing(const struct view *v, const json_t *readings)
{
    struct text_buffer line = {0};
    size_t i;
    const json_t *reading;
    json_array_foreach(readings, i, reading)
    {
        bool none = pick_number(reading, "high", 1) <= 0; /* there is to be none of it */
        if (!pick_has(reading, "value") && !none)
            text_appendf(&line, "%s%s", line.length ? ", " : "Not on record: ",
                         pick_text(reading, "title", pick_text(reading, "quantity", "?")));
    }
    if (line.length)
        view_text(v, VIEW_PLAIN, 2, 2, line.data);
    text_buffer_free(&line);
}

static void show_readings(const struct view *v, const json_t *document)
{
    const json_t *readings = json_object_get(document, "readings");
    struct table *t = table_new(reading_columns, sizeof reading_columns / sizeof *reading_columns);
    size_t i;
    const json_t *reading;
    json_array_foreach(readings, i, reading)
    {
        if (!pick_has(reading, "value"))
            continue;
        char *value = pick_shown(reading, "value");
        const char *unit = pick_text(reading, "unit", "");
        bool plain = !*unit || strcmp(unit, "1") == 0;
        table_add(t, pick_text(reading, "title", pick_text(reading, "quantity", "?")));
        table_addf(t, "%s%s%s", value, plain ? "" : VIEW_NBSP, plain ? "" : unit);
        add_target(t, reading);
        add_number(t, reading, "usual");
        add_mark(t, reading, document);
        free(value);
    }
    view_section(v, "Readings");
    if (table_rows(t) > 0)
        table_print(t, v, 2);
    else
        view_text(v, VIEW_PLAIN, 2, 0, "None on record.");
    show_missing(v, readings);
    if (table_rows(t) > 0)
        view_text(v, VIEW_DIM, 2, 0,
                  "recent: the product's recent lots; spreads: how far from them, in parts of "
                  "what they usually differ by.");
    table_free(t);
}

/* ---- what went in, where it went ---- */

/* "inhibitor: potassium-sorbate, on the surface" */
static void add_material(struct table *t, const json_t *use)
{
    const char *kind = pick_text(use, "kind", NULL);
    bool on_surface = strcmp(pick_text(use, "applied", ""), "surface") == 0;
    table_addf(t, "%s%s%s%s", pick_text(use, "material", "?"), kind ? ": " : "", kind ? kind : "",
               on_surface ? ", on the surface" : "");
}

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
        add_material(t, use);
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

/* ---- what stands around it ---- */

static void show_cases(const struct view *v, const json_t *document)
{
    static const struct column columns[] = {{"case", COLUMN_LEFT, 0},
                                            {"symptom", COLUMN_LEFT, 0},
                                            {"n", COLUMN_RIGHT, 0},
                                            {"newest", COLUMN_LEFT, 0},
                                            {"likely cause", COLUMN_LEFT, 16}};
    struct table *t = table_new(columns, sizeof columns / sizeof *columns);
    size_t i;
    const json_t *item;
    int64_t may_be = pick_int(document, "may_be", 0);
    char count[VIEW_COUNT];
    json_array_foreach(json_object_get(document, "cases"), i, item)
    {
        char text[VIEW_NUMBER];
        const json_t *top = json_object_get(item, "top");
        bool settled = strcmp(pick_text(item, "state", ""), "settled") == 0;
        bool other = strcmp(pick_text(item, "symptom", ""), "other") == 0;
        table_add(t, pick_text(item, "case", "?"));
        table_add(t, pick_text(item, "symptom", ""));
        add_number(t, item, "complaints");
        table_addf(t, "%.10s", pick_text(item, "as_of", ""));
        if (pick_bool(item, "harm", false) || pick_bool(item, "harm_possible", false))
            table_addf(t, "%s%s",
                       pick_bool(item, "harm", false) ? "HARM" : "MAY BE HARM, to be read",
                       settled ? ", settled" : "");
        else if (pick_has(item, "settled_on")) /* a verdict stands before what was likely */
            table_addf(t, "settled: %s", pick_text(item, "settled_on", ""));
        else
            table_addf(t, "%s%s %s", settled ? "settled, " : "",
                       top     ? view_chance(pick_number(top, "probability", 0), text)
                       : other ? "to be read: no causes to rank"
                               : "not ranked yet",
                       pick_text(top, "cause", ""));
    }
    if (pick_has(document, "cases"))
        view_section(v, "Cases");
    if (table_rows(t) > 0)
        table_print(t, v, 2);
    else if (pick_has(document, "cases"))
        view_text(v, VIEW_PLAIN, 2, 0, "None.");
    if (may_be)
        view_textf(v, VIEW_PLAIN, 2, 2, "%s whose lot is open may be about it.",
                   view_count((double)may_be, "complaint", count));
    table_free(t);
}

static void show_samples(const struct view *v, const json_t *samples)
{
    size_t i;
    const json_t *sample;
    if (json_array_size(samples) == 0)
        return;
    view_section(v, "Samples kept back");
    json_array_foreach(samples, i, sample)
    {
        char days[VIEW_NUMBER], when[VIEW_NUMBER];
        const char *note = pick_text(sample, "note", "");
        view_textf(v, VIEW_PLAIN, 2, 4, "%s: %s %s days%s%s%s",
                   view_when(pick_text(sample, "at", ""), when), "without mold for",
                   view_number(pick_number(sample, "value", 0), days), *note ? " (" : "", note,
                   *note ? ")" : "");
    }
}

static void show_neighbours(const struct view *v, const json_t *neighbours)
{
    static const struct column columns[] = {
        {"", COLUMN_LEFT, 0},       {"lot", COLUMN_LEFT, 10},        {"product", COLUMN_LEFT, 0},
        {"packed", COLUMN_LEFT, 0}, {"complaints", COLUMN_RIGHT, 0}, {"", COLUMN_LEFT, 0}};
    struct table *t = table_new(columns, sizeof columns / sizeof *columns);
    size_t i;
    const json_t *lot;
    json_array_foreach(neighbours, i, lot)
    {
        char when[VIEW_NUMBER];
        table_add(t, pick_text(lot, "side", ""));
        table_add(t, pick_text(lot, "lot", "?"));
        table_add(t, pick_text(lot, "product", ""));
        table_add(t, view_when(pick_text(lot, "packed_from", ""), when));
        add_number(t, lot, "complaints");
        table_add(t, json_array_size(json_object_get(lot, "holds")) ? "on hold" : "");
    }
    if (table_rows(t) > 0) {
        view_section(v, "Beside it on its line");
        table_print(t, v, 2);
    }
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
    bool beyond = pick_bool(span, "beyond", false); /* then so is the range's end */
    view_rough(pick_number(span, "typical", 0), typical);
    view_rough(pick_number(span, "low", 0), low);
    view_rough(pick_number(span, "high", 0), high);
    if (beyond && strcmp(low, high) == 0)
        view_label(v, label, "more than %s days", typical);
    else
        view_label(v, label, "%s%s days (%s to %s%s)", beyond ? "more than " : "", typical, low,
                   beyond ? "more than " : "", high);
}

static void show_curve(const struct view *v, const json_t *days)
{
    static const struct column columns[] = {{"day", COLUMN_RIGHT, 0},
                                            {"as made", COLUMN_RIGHT, 0},
                                            {"", COLUMN_LEFT, 0},
                                            {"as specified", COLUMN_RIGHT, 0},
                                            {"", COLUMN_LEFT, 0}};
    struct table *t = table_new(columns, sizeof columns / sizeof *columns);
    size_t i;
    const json_t *point;
    json_array_foreach(json_object_get(days, "curve"), i, point)
    {
        static const char *const ways[] = {"as_made", "as_specified"};
        char text[VIEW_NUMBER];
        if (pick_int(point, "day", 0) % CURVE_STEP != 0)
            continue;
        table_add(t, view_number(pick_number(point, "day", 0), text));
        for (size_t w = 0; w < 2; w++) {
            char bar[VIEW_BAR];
            bool known = pick_has(point, ways[w]);
            double share = pick_number(point, ways[w], 0);
            table_add(t, known ? view_percent(share, text) : "");
            table_add(t, known ? view_bar(v, share, CURVE_CELLS, bar) : "");
        }
    }
    if (table_rows(t) > 0) {
        view_section(v, "With visible mold by days after packing, of packs that carry a spore");
        table_print(t, v, 2);
        view_textf(v, VIEW_DIM, 2, 0,
                   "Of the packs that carry a spore after the oven, not of all packs: how many "
                   "carry one is not said. The model is %s.",
                   pick_bool(days, "calibrated", false)
                       ? "calibrated to this plant's retained samples"
                       : "not calibrated to this plant");
    }
    table_free(t);
}

static void show_terms(const struct view *v, const json_t *days)
{
    size_t i;
    const json_t *term;
    const char *costliest = pick_text(days, "costliest", "");
    json_array_foreach(json_object_get(days, "terms"), i, term)
    {
        char number[VIEW_NUMBER];
        const char *name = pick_text(term, "term", "?");
        double lost = pick_number(term, "days_lost", 0);
        bool counted = pick_has(term, "days_lost");
        bool gained = pick_bool(term, "gained", lost < 0);
        view_label(v, i ? "" : "against that", "%s: %s days %s%s", name,
                   counted ? view_rough(fabs(lost), number) : "more than can be said,",
                   gained ? "gained" : "lost", strcmp(name, costliest) == 0 ? ", the most" : "");
    }
}

static void show_prediction(const struct view *v, const json_t *document)
{
    const json_t *days = json_object_get(json_object_get(document, "prediction"), "mold_free_days");
    bool valid = pick_bool(json_object_get(days, "as_made"), "valid", true);
    if (!days)
        return;
    view_section(v, "Days until half of the packs that carry a spore are moldy, by the models");
    show_span(v, "as made", json_object_get(days, "as_made"));
    show_span(v, "as specified", json_object_get(days, "as_specified"));
    if (!valid)
        return; /* it is said why; terms and curve would say what the models do not hold for */
    show_terms(v, days);
    show_curve(v, days);
}

/* ---- the whole ---- */

/* A code on no record still tells where and when it was packed. */
static void show_read(const struct view *v, const json_t *document)
{
    const char *at = pick_text(document, "made_at", NULL);
    if (pick_has(document, "made_on"))
        view_label(v, "made on", "%s%s%s", pick_text(document, "made_on", "?"), at ? ", " : "",
                   at ? at : "");
    char line[PLANT_LEVEL];
    if (pick_has(document, "line"))
        view_label(v, "line", "%s", plant_level_of(document, "line", line));
    hold_show_lot(v, document);
}

/* Of one lot, or of the likeliest where it is not certain: said so before anything else. */
static void show_records(const struct view *v, const json_t *document)
{
    char number[VIEW_NUMBER];
    char *line = show_lot_line(document);
    if (!standing_names_one(document))
        view_section(v, "On record of the likeliest");
    view_textf(v, VIEW_PLAIN, 2, 2, "%s%s%s", pick_text(document, "shown", ""), *line ? ": " : "",
               line);
    free(line);
    if (pick_has(document, "units"))
        view_label(v, "units", "%s", view_number(pick_number(document, "units", 0), number));
    hold_show_lot(v, document);
    show_cases(v, document);
    show_readings(v, document);
    measured_show(v, document);
    show_materials(v, json_object_get(document, "materials"));
    show_dispatch(v, json_object_get(document, "dispatch"));
    show_neighbours(v, json_object_get(document, "neighbours"));
    show_samples(v, json_object_get(document, "samples"));
    show_prediction(v, document);
}

void lot_show(const struct view *v, const json_t *document)
{
    char *says = standing_text(document, NULL);
    view_title(v, "Lot %s", says);
    free(says);
    harm_show_open(v, document);
    standing_show_rest(v, document);
    if (pick_has(document, "shown"))
        show_records(v, document);
    else if (!pick_has(document, "elsewhere"))
        show_read(v, document);
}

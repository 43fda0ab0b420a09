#include "base/when.h"
#include "commands.h"
#include "form.h"
#include "pick.h"
#include "said_date.h"
#include "show.h"
#include "table.h"
#include <stdlib.h>
#include <string.h>

static const struct option_row options[] = {{"product", "CODE", "helps when the code is not exact"},
                                            {"code-date", "DATE", "likewise: the best-by date"},
                                            {"store", "NAME", "likewise: the store it came from"},
                                            {0}};

static const struct column columns[] = {
    {"quantity", COLUMN_LEFT, 12}, {"value", COLUMN_RIGHT, 0},       {"target", COLUMN_RIGHT, 0},
    {"allowed", COLUMN_LEFT, 0},   {"recent lots", COLUMN_LEFT, 10}, {"", COLUMN_LEFT, 8}};

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

/* The plant's recent lots: a list of values becomes a line of marks, a summary its middle. */
static void add_recent(struct table *t, const struct view *v, const json_t *reading)
{
    const json_t *recent = json_object_get(reading, "recent");
    double values[40];
    size_t count = 0;
    char spark[VIEW_BAR];
    char number[VIEW_NUMBER];
    if (json_is_object(recent)) {
        struct text_buffer text = {0};
        if (pick_has(recent, "median"))
            text_appendf(&text, "median" VIEW_NBSP "%s",
                         view_number(pick_number(recent, "median", 0), number));
        if (pick_has(recent, "lots"))
            text_appendf(&text, " of" VIEW_NBSP "%s",
                         view_number(pick_number(recent, "lots", 0), number));
        table_add(t, text.data);
        text_buffer_free(&text);
        return;
    }
    size_t i;
    const json_t *item;
    json_array_foreach(recent, i,
                       item) if (json_is_number(item) && count < sizeof values / sizeof *values)
        values[count++] = json_number_value(item);
    table_add(t, count ? view_spark(v, values, count, spark) : "");
}

/* In words, where a value stands; never by colour. */
static void add_mark(struct table *t, const json_t *reading)
{
    char number[VIEW_NUMBER];
    struct text_buffer text = {0};
    const json_t *recent = json_object_get(reading, "recent");
    double value = pick_number(reading, "value", 0);
    if (pick_has(reading, "low") && value < pick_number(reading, "low", 0))
        text_append(&text, "TOO LOW");
    else if (pick_has(reading, "high") && value > pick_number(reading, "high", 0))
        text_append(&text, "TOO HIGH");
    double z = pick_number(reading, "z", pick_number(recent, "z", 0));
    if (z > 3 || z < -3)
        text_appendf(&text, "%sunlike recent lots (%s" VIEW_NBSP "sigma)", text.length ? ", " : "",
                     view_bits(z, number));
    table_add(t, text.data);
    text_buffer_free(&text);
}

static void show_readings(const struct view *v, const json_t *readings)
{
    struct table *t = table_new(columns, sizeof columns / sizeof *columns);
    size_t i;
    const json_t *reading;
    json_array_foreach(readings, i, reading)
    {
        char *value = pick_shown(reading, "value");
        char *target = pick_shown(reading, "target");
        const char *unit = pick_text(reading, "unit", "");
        table_add(t, pick_text(reading, "quantity", "?"));
        table_addf(t, "%s%s%s", value, *unit && strcmp(unit, "1") != 0 ? VIEW_NBSP : "",
                   strcmp(unit, "1") != 0 ? unit : "");
        table_add(t, target);
        add_range(t, reading);
        add_recent(t, v, reading);
        add_mark(t, reading);
        free(value);
        free(target);
    }
    view_section(v, "Readings");
    if (table_rows(t) > 0)
        table_print(t, v, 2);
    else
        view_text(v, VIEW_PLAIN, 2, 0, "None on record.");
    table_free(t);
}

static void show_span(const struct view *v, const char *label, const json_t *span)
{
    char low[VIEW_NUMBER];
    char typical[VIEW_NUMBER];
    char high[VIEW_NUMBER];
    if (!json_is_object(span))
        return;
    view_label(v, label, "%s days (%s to %s)",
               view_number(pick_number(span, "typical", 0), typical),
               view_number(pick_number(span, "low", 0), low),
               view_number(pick_number(span, "high", 0), high));
}

static void show_prediction(const struct view *v, const json_t *document)
{
    const json_t *days = json_object_get(json_object_get(document, "prediction"), "mold_free_days");
    if (!days)
        return;
    view_section(v, "Days without mold, as the models expect them");
    show_span(v, "as made", json_object_get(days, "as_made"));
    show_span(v, "as specified", json_object_get(days, "as_specified"));
}

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

static void show(const struct client *c, const json_t *document)
{
    const struct view *v = &c->view;
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
    show_prediction(v, document);
}

static int lot(struct client *c, const struct args *a)
{
    struct text_buffer path = {0};
    struct error err = {0};
    int32_t day = 0;
    char date[16];
    const char *said = args_value(a, "code-date");
    if (said && said_date(said, form_day_now().today, SAID_NEAR, &day, &err) != 0) {
        error_field(&err, "--code-date", said);
        client_fail(c, &err);
        return EXIT_USAGE;
    }
    text_append(&path, "/v1/lots/");
    path_word(&path, a->words[0]);
    path_query(&path, "product", args_value(a, "product"));
    path_query(&path, "code_date", said ? day_format(day, date) : NULL);
    path_query(&path, "store", args_value(a, "store"));
    json_t *document = NULL;
    int rc = client_get(c, path.data, &document);
    text_buffer_free(&path);
    if (rc)
        return rc;
    if (c->json)
        client_print(document);
    else
        show(c, document);
    json_decref(document);
    return EXIT_DONE;
}

const struct command cmd_lot = {
    .name = "lot",
    .args = "CODE",
    .help = "what a lot code means, and the lot's records",
    .more = "CODE is any text read from a pack; what is not exact gets candidates with weights.",
    .options = options,
    .least = 1,
    .most = 1,
    .exec = lot,
};

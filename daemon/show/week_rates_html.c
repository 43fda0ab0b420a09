/* Rates by factor, by week of receipt and by week of packing, as tables of the page. */
#include "base/plant_level.h"
#include "show/page.h"
#include <math.h>
#include <stdint.h>
#include <string.h>

enum { ROWS_MOST = 12 };

/* Fewer expected complaints on a cause or a place are noise. */
#define COMPLAINTS_LEAST 0.25

static double most_of(const json_t *rows)
{
    double most = 0;
    size_t i;
    const json_t *row;
    json_array_foreach(rows, i, row)
    {
        double rate = page_number(row, "per_million"), high = page_number(row, "high");
        if (page_number(row, "complaints") > 0 && isfinite(rate))
            most = fmax(most, fmin(high, 3 * rate));
    }
    return most;
}

static void add_rate(struct text_buffer *b, const json_t *row, double most)
{
    const json_t *made = json_object_get(row, "made");
    double rate = page_number(row, "per_million"), low = page_number(row, "low");
    double high = page_number(row, "high");
    text_append(b, "<tr>");
    struct text_buffer kind = {0};
    text_append(&kind, page_text(row, "symptom"));
    if (json_object_get(row, "target"))
        text_appendf(&kind, ", target %.4g: %s", page_number(row, "target"),
                     page_text(row, "target_met"));
    char level[PLANT_LEVEL];
    const char *title = page_text(row, "title");
    page_cell_what(b, *title ? title : plant_level_of(row, "level", level), kind.data);
    text_buffer_free(&kind);
    page_cell_about(b, "n", page_number(row, "complaints"));
    page_cell_number(b, "n wide", page_number(row, "units"));
    page_cell_number(b, "n", rate);
    page_cell_range(b, "n", low, high);
    text_append(b, "<td class=\"wide\">");
    page_whisker(b, rate, low, high, most);
    text_append(b, "</td>");
    page_cell_about(b, "n wide", page_number(made, "complaints"));
    page_cell_number(b, "n wide", page_number(made, "per_million"));
    page_cell_range(b, "n wide", page_number(made, "low"), page_number(made, "high"));
    text_append(b, "</tr>");
}

static bool is_told(const json_t *row)
{
    return page_number(row, "complaints") >= COMPLAINTS_LEAST ||
           page_number(json_object_get(row, "made"), "complaints") >= COMPLAINTS_LEAST;
}

static void add_factor(struct text_buffer *b, const char *factor, const json_t *rows, size_t limit)
{
    static const struct page_column COLUMNS[] = {{"level", ""},
                                                 {"count", "n"},
                                                 {"units packed", "n wide"},
                                                 {"per million", "n"},
                                                 {"95&nbsp;% interval", "n"},
                                                 {"<span class=\"hidden\">interval</span>", "wide"},
                                                 {"about this week’s packing", "n wide"},
                                                 {"per million due", "n wide"},
                                                 {"95&nbsp;% interval", "n wide"},
                                                 {NULL, NULL}};
    size_t i, shown = 0, rest = 0;
    const json_t *row;
    double most = most_of(rows);
    text_append(b, "<h3>By ");
    text_append_html(b, factor);
    text_append(b, "</h3>");
    json_array_foreach(rows, i, row)
    {
        if (!is_told(row) || shown == limit) {
            rest++;
            continue;
        }
        if (!shown++)
            page_open_table(b, COLUMNS);
        add_rate(b, row, most);
    }
    if (shown)
        page_close_table(b);
    else
        text_append(b, "<p class=\"soft small\">No complaints.</p>");
    if (shown && rest)
        text_appendf(b, "<p class=\"soft small\">%zu further with fewer or none.</p>", rest);
}

static void add_unplaced(struct text_buffer *b, const char *factor, const json_t *unplaced)
{
    size_t told = 0;
    const char *symptom;
    json_t *count;
    json_object_foreach((json_t *)(uintptr_t)unplaced, symptom, count)
    {
        text_append(b, told++ ? ", " : "<p class=\"soft small\">In no row, since the ");
        if (told == 1) {
            text_append_html(b, factor);
            text_append(b, " is not known: ");
        }
        text_append_html(b, symptom);
        text_appendf(b, " %.0f", json_number_value(count));
    }
    if (told)
        text_append(b, ".</p>");
}

void page_against(struct text_buffer *b, const json_t *report)
{
    static const struct page_column COLUMNS[] = {{"complaints", ""}, {"now", "n"},
                                                 {"then", "n"},      {"per million then", "n wide"},
                                                 {"times", "n"},     {"95&nbsp;% interval", "n"},
                                                 {NULL, NULL}};
    const json_t *against = json_object_get(report, "against");
    const char *symptom;
    json_t *count;
    if (!against)
        return;
    text_append(b, "<h2>Against ");
    page_add_text(b, against, "span");
    text_append(b, "</h2>");
    page_open_table(b, COLUMNS);
    json_object_foreach(json_object_get(report, "complaints"), symptom, count)
    {
        const json_t *was = json_object_get(against, symptom);
        text_append(b, "<tr>");
        page_cell_text(b, "", symptom);
        page_cell_number(b, "n", json_number_value(count));
        page_cell_number(b, "n", page_number(was, "complaints"));
        page_cell_number(b, "n wide", page_number(was, "per_million"));
        page_cell_number(b, "n", page_number(was, "ratio"));
        page_cell_range(b, "n", page_number(was, "low"), page_number(was, "high"));
        text_append(b, "</tr>");
    }
    page_close_table(b);
    text_append(b, "<p class=\"soft small\">Rate now over the rate from ");
    page_add_text(b, against, "from");
    text_append(b, " to ");
    page_add_text(b, against, "to");
    text_append(b, page_true(against, "over") && page_true(report, "over")
                       ? ".</p>"
                       : ". One of them is not over: fewer complaints can be in.</p>");
}

void page_rates(struct text_buffer *b, const json_t *report)
{
    bool asked = json_is_array(json_object_get(report, "by_only"));
    const char *factor;
    json_t *rows;
    text_append(b, "<h2>Rates</h2>");
    json_object_foreach(json_object_get(report, "by"), factor, rows)
    {
        add_factor(b, factor, rows, asked ? json_array_size(rows) : ROWS_MOST);
        add_unplaced(b, factor, json_object_get(json_object_get(report, "unplaced"), factor));
    }
    text_append(b,
                "<p class=\"soft small\">Complaints received this week over what was packed this "
                "week, exact limits. About this week’s packing: complaints so far, their rate over "
                "the units whose complaints are due by now, left out while too few are. Causes and "
                "places count expected complaints.</p>");
}

#include "show/week_html.h"
#include "base/when.h"
#include "show/page.h"
#include <math.h>
#include <string.h>

/* ---- head ---- */

static void add_head(struct text_buffer *b, const json_t *report, const char *plant)
{
    struct iso_week week;
    char from[16], to[16];
    const char *alone = page_text(report, "plant"); /* it is of that one of them */
    text_append(b, "<!DOCTYPE html>\n<html lang=\"en\">\n<head><meta charset=\"utf-8\">"
                   "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">"
                   "<meta name=\"color-scheme\" content=\"light dark\"><title>");
    text_append_html(b, plant);
    text_append(b, *alone ? ", " : "");
    text_append_html(b, alone);
    text_append(b, ", week ");
    page_add_text(b, report, "week");
    text_appendf(b, "</title><style>%s</style></head>\n<body><main>\n<p class=\"soft\">",
                 PAGE_STYLE);
    text_append_html(b, plant);
    text_append(b, *alone ? "</p><h1>Complaints of " : "</p><h1>Complaints");
    text_append_html(b, alone);
    text_append(b, ", week ");
    page_add_text(b, report, "week");
    text_append(b, "</h1><p class=\"soft\">");
    if (iso_week_parse(page_text(report, "week"), &week, NULL) == 0) {
        int32_t monday = iso_week_monday(week);
        text_appendf(b, "Monday %s to Sunday %s. ", day_format(monday, from),
                     day_format(monday + 6, to));
    }
    text_append(b, page_true(report, "over") ? "As known at " : "The week is not over: as of ");
    const char *as_of = page_text(report, "as_of"); /* RFC 3339 */
    text_appendf(b, "%.10s %.5s.</p>\n", as_of, strlen(as_of) > 16 ? as_of + 11 : "");
}

/* What must be known, before any figure. */
static void add_headline(struct text_buffer *b, const json_t *report)
{
    const json_t *headline = json_object_get(report, "headline");
    size_t i;
    const json_t *line;
    text_append(b, "<ul class=\"headline\">");
    json_array_foreach(headline, i, line)
    {
        const char *text = json_string_value(line);
        bool harm = strstr(text, " of harm") || strstr(text, ", HARM");
        text_append(b, harm ? "<li class=\"harm\">" : "<li>");
        text_append_html(b, text);
        text_append(b, "</li>");
    }
    text_append(b, "</ul>\n");
}

/* ---- tiles ---- */

static const json_t *last_of(const json_t *list)
{
    size_t n = json_array_size(list);
    return n ? json_array_get(list, n - 1) : NULL;
}

/* What came back, if anything was sent out. */
static void add_returned(struct text_buffer *b, const json_t *returns)
{
    if (!(page_number(returns, "dispatched") > 0))
        return;
    if (!page_true(returns, "on_record")) {
        text_append(b, "<li><b>–</b>no returns on record</li>");
        return;
    }
    text_append(b, "<li><b>");
    page_add_number(b, page_number(returns, "units"));
    text_append(b, "</b>units returned<br><span class=\"soft small\">");
    page_add_number(b, 1e6 * page_number(returns, "share"));
    text_append(b, " per million sent out</span></li>");
}

/* What complaints of other things are about. */
static void add_kinds(struct text_buffer *b, const json_t *kinds)
{
    size_t i;
    const json_t *one;
    json_array_foreach(kinds, i, one)
    {
        text_append(b, i ? ", " : "");
        page_add_text(b, one, "says");
        text_append(b, " ");
        page_add_number(b, page_number(one, "complaints"));
    }
}

static void add_tiles(struct text_buffer *b, const json_t *report)
{
    const char *symptom;
    json_t *chart;
    text_append(b, "<ul class=\"tiles\">");
    json_object_foreach(json_object_get(report, "charts"), symptom, chart)
    {
        const json_t *week = last_of(json_object_get(chart, "weeks"));
        double expected = page_number(week, "expected");
        text_append(b, "<li><b>");
        page_add_number(b, page_number(json_object_get(report, "complaints"), symptom));
        text_append(b, "</b>");
        text_append_html(b, symptom);
        if (isfinite(expected) && expected > 0) {
            text_append(b, "<br><span class=\"soft small\">usual: ");
            page_add_number(b, expected);
            text_append(b, "</span>");
        }
        text_append(b, "<br><span class=\"soft small\">");
        page_add_text(b, json_object_get(json_object_get(report, "standing"), symptom), "says");
        text_append(b, "</span></li>");
    }
    text_append(b, "<li><b>");
    page_add_number(b, page_number(report, "units"));
    text_append(b, "</b>units packed</li>");
    if (page_number(report, "other") > 0) {
        text_append(b, "<li><b>");
        page_add_number(b, page_number(report, "other"));
        text_append(b, "</b>other complaints<br><span class=\"soft small\">");
        add_kinds(b, json_object_get(report, "other_kinds"));
        text_append(b, "</span></li>");
    }
    add_returned(b, json_object_get(report, "returns"));
    text_append(b, "</ul>\n");
}

/* ---- charts ---- */

static void add_chart(struct text_buffer *b, const char *symptom, const json_t *chart)
{
    const json_t *sum = json_object_get(chart, "sum");
    text_append(b, "<h2>");
    page_add_name(b, symptom);
    text_append(b, "</h2><div class=\"charts\"><div class=\"chart\"><h3>By week of receipt, "
                   "per million units on sale</h3>");
    page_rate_chart(b, symptom, chart);
    text_append(
        b,
        "<p class=\"soft small\">Shaded: where a week usually lies (three times its usual spread");
    if (page_number(chart, "sigma_factor") > 1.001)
        text_appendf(b, ", widened %.2g times for spread beyond chance",
                     page_number(chart, "sigma_factor"));
    text_append(b, "). Diamonds lie above it.</p>");
    if (isfinite(page_number(sum, "limit"))) {
        text_append(b, "<h3>Beyond the usual, summed up</h3>");
        page_sum_chart(b, symptom, chart);
        text_appendf(b,
                     "<p class=\"soft small\">%sWithout a real rise it crosses its limit about "
                     "once in %.0f weeks.</p>",
                     page_true(sum, "alarm") ? "<strong class=\"up\">Above its limit.</strong> "
                                             : "",
                     page_number(sum, "run_length"));
    }
    text_append(b,
                "</div><div class=\"chart\"><h3>By week of packing, per million units packed</h3>");
    bool foretold = page_made_chart(b, symptom, chart);
    text_appendf(b, "<p class=\"soft small\">Filled: complaints that are in. %s</p></div></div>\n",
                 foretold ? "Dashed: with those still to come; the line is a 90&nbsp;% interval."
                          : "How many are still to come cannot be told yet: too few came so far.");
}

char *week_html(const json_t *report, const char *plant)
{
    struct text_buffer b = {0};
    const char *name;
    json_t *value;
    add_head(&b, report, plant ? plant : "");
    add_headline(&b, report);
    add_tiles(&b, report);
    page_stories(&b, report);
    json_object_foreach(json_object_get(report, "charts"), name, value) add_chart(&b, name, value);
    page_causes(&b, report);
    page_against(&b, report);
    page_rates(&b, report);
    page_to_come(&b, report);
    page_signals(&b, report);
    page_right(&b, report);
    text_append(&b,
                "<p class=\"soft small\">A pattern is a reason to look, not a finding. Reports of "
                "illness, allergic reaction, injury, foreign matter or tampering are not judged "
                "here: they go by the plant's own procedure and the law of the place.</p>\n"
                "</main></body></html>\n");
    return text_take(&b);
}

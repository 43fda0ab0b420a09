#include "base/when.h"
#include "patterns/week.h"
#include "patterns/week_page.h"
#include <math.h>
#include <string.h>

enum { ROWS_MOST = 12, SIGNALS_MOST = 15 };

/* ---- pieces ---- */

double page_number(const json_t *object, const char *name)
{
    const json_t *value = json_object_get(object, name);
    return json_is_number(value) ? json_number_value(value) : NAN;
}

const char *page_text(const json_t *object, const char *name)
{
    const char *text = json_string_value(json_object_get(object, name));
    return text ? text : "";
}

bool page_true(const json_t *object, const char *name)
{
    return json_is_true(json_object_get(object, name));
}

static void add_grouped(struct text_buffer *b, double x)
{
    char digits[40];
    int length = snprintf(digits, sizeof digits, "%.0f", x);
    for (int i = 0; i < length; i++) {
        if (i && (length - i) % 3 == 0)
            text_append(b, "\u202f");
        text_append_bytes(b, digits + i, 1);
    }
}

void page_add_number(struct text_buffer *b, double x)
{
    if (!isfinite(x))
        text_append(b, "–");
    else if (fabs(x) >= 100 && fabs(x) < 1e15)
        add_grouped(b, x);
    else
        text_appendf(b, "%.*f",
                     x == floor(x)      ? 0
                     : fabs(x) >= 10    ? 1
                     : fabs(x) >= 0.095 ? 2
                                        : 3,
                     x);
}

void page_add_range(struct text_buffer *b, double low, double high)
{
    page_add_number(b, low);
    text_append(b, " to ");
    page_add_number(b, high);
}

void page_add_text(struct text_buffer *b, const json_t *object, const char *name)
{
    text_append_html(b, page_text(object, name));
}

static void add_q(struct text_buffer *b, double q)
{
    if (q < 0.001)
        text_append(b, "&lt; 0.001");
    else
        text_appendf(b, "%.3f", q);
}

/* ---- page ---- */

static const char STYLE[] =
    ":root{color-scheme:light dark;--paper:#fdfcf9;--ink:#211d18;--soft:#5a534a;--rule:#d8d1c4;"
    "--band:#ece4d4;--crust:#8a4b08;--blue:#0b5a8a;--red:#a4161a}"
    "@media (prefers-color-scheme:dark){:root{--paper:#181512;--ink:#f3eee6;--soft:#bdb4a6;"
    "--rule:#453d33;--band:#332b20;--crust:#e6ab5e;--blue:#86c8f2;--red:#ff9a8f}}"
    "*{box-sizing:border-box}body{margin:0;background:var(--paper);color:var(--ink);"
    "font:16px/1.45 Georgia,'Times New Roman',serif}main{max-width:70rem;margin:0 auto;"
    "padding:1.2rem 1rem 3rem}h1{font-size:1.7rem;line-height:1.15;margin:.2rem 0}"
    "h2{font-size:1.2rem;margin:2.2rem 0 .5rem;padding-top:.5rem;border-top:3px double var(--rule)}"
    "h3{font-size:1rem;margin:1rem 0 .2rem}p{margin:.4rem 0;max-width:46rem}.soft,caption,th,"
    ".tick{color:var(--soft)}.small{font-size:.86rem}"
    ".tiles{display:grid;grid-template-columns:repeat(auto-fit,minmax(10.5rem,1fr));gap:.7rem;"
    "margin:1rem 0;padding:0;list-style:none}.tiles li{border:1px solid var(--rule);"
    "border-left:6px solid var(--crust);padding:.5rem .8rem}.tiles b{display:block;font-size:2rem;"
    "line-height:1.1;font-weight:normal}.charts{display:grid;gap:.4rem 2rem;"
    "grid-template-columns:repeat(auto-fit,minmax(min(100%,21rem),1fr))}"
    "svg{display:block;width:100%;height:auto;overflow:visible}svg.mini{width:7.5rem;height:.9rem}"
    ".tick{font:12px Georgia,serif;fill:var(--soft)}.grid{stroke:var(--rule);stroke-width:1}"
    ".band{fill:var(--band)}.center{stroke:var(--soft);stroke-width:1.2;stroke-dasharray:6 4}"
    ".line{fill:none;stroke:var(--blue);stroke-width:1.6}.dot{fill:var(--blue)}"
    ".out{fill:var(--red)}.limit{stroke:var(--red);stroke-width:1.5;stroke-dasharray:2 3}"
    ".made,.fill{fill:var(--crust)}.fill{stroke:var(--crust);stroke-width:9}"
    ".rail{stroke:var(--band);stroke-width:9}.come{fill:none;stroke:var(--crust);"
    "stroke-dasharray:3 2}.whisker{stroke:var(--blue);stroke-width:1.6}"
    ".scroll{overflow-x:auto}table{border-collapse:collapse;width:100%;font-size:.94rem}"
    "caption{text-align:left;padding:.2rem 0}th{font-weight:normal;font-style:italic;"
    "text-align:left}th,td{padding:.22rem .7rem .22rem 0;border-bottom:1px solid var(--rule);"
    "vertical-align:top}td.n,th.n{text-align:right;font-variant-numeric:tabular-nums;"
    "white-space:nowrap}.up{color:var(--red)}td.w{white-space:nowrap}"
    "@media (max-width:34rem){.wide{display:none}h1{font-size:1.4rem}table{font-size:.88rem}"
    "td:first-child{min-width:9.5rem}th,td{padding-right:.45rem}}"
    "@media print{:root{--paper:#fff;--ink:#000;--soft:#444;--rule:#bbb;--band:#e8e8e8;"
    "--crust:#6b3a06;--blue:#08456b;--red:#8f1114}body{font-size:10pt}main{max-width:none;"
    "padding:0}h2{break-after:avoid}svg,tr,.tiles li,.chart{break-inside:avoid}"
    ".charts{grid-template-columns:1fr 1fr}.scroll{overflow:visible}@page{margin:15mm}}";

static void add_head(struct text_buffer *b, const json_t *report, const char *plant)
{
    struct iso_week week;
    char from[16], to[16];
    text_append(b, "<!DOCTYPE html>\n<html lang=\"en\">\n<head><meta charset=\"utf-8\">"
                   "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">"
                   "<meta name=\"color-scheme\" content=\"light dark\"><title>");
    text_append_html(b, plant);
    text_append(b, ", week ");
    page_add_text(b, report, "week");
    text_appendf(b, "</title><style>%s</style></head>\n<body><main>\n<p class=\"soft\">", STYLE);
    text_append_html(b, plant);
    text_append(b, "</p><h1>Complaints, week ");
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

static const json_t *last_of(const json_t *list)
{
    size_t n = json_array_size(list);
    return n ? json_array_get(list, n - 1) : NULL;
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
        text_append(b, "</li>");
    }
    text_append(b, "<li><b>");
    page_add_number(b, page_number(report, "units"));
    text_append(b, "</b>units packed</li></ul>\n");
}

/* ---- signals ---- */

static void add_signal(struct text_buffer *b, const json_t *s)
{
    bool titled = *page_text(s, "title") != '\0';
    text_append(b, "<tr><td>");
    page_add_text(b, s, "symptom");
    text_append(b, ", ");
    page_add_text(b, s, "factor");
    text_append(b, " ");
    page_add_text(b, s, titled ? "title" : "level");
    text_append(b, page_true(s, "still") ? " <strong class=\"up\">still up</strong></td>"
                                         : " <span class=\"soft\">easing</span></td>");
    text_append(b, "<td class=\"w\">");
    text_append_html(b, page_text(s, "since") + (strlen(page_text(s, "since")) > 5 ? 5 : 0));
    text_append(b, "</td><td class=\"n\">");
    page_add_number(b, page_number(s, "observed"));
    text_append(b, "</td><td class=\"n\">");
    page_add_number(b, page_number(s, "expected"));
    text_append(b, "</td><td class=\"n wide\">");
    page_add_number(b, page_number(s, "ratio"));
    text_append(b, "</td><td class=\"n wide\">");
    page_add_range(b, page_number(s, "low"), page_number(s, "high"));
    text_append(b, "</td><td class=\"n\">");
    add_q(b, page_number(s, "q"));
    text_append(b, "</td></tr>");
}

static void add_signals(struct text_buffer *b, const json_t *report)
{
    const json_t *signals = json_object_get(report, "signals"), *signal;
    const json_t *tested = json_object_get(report, "tested");
    size_t i, n = json_array_size(signals);
    text_append(b, "<h2>What rose</h2>");
    if (page_number(tested, "recent_weeks") == 0)
        text_append(b, "<p>Too early to tell: there are not yet six weeks of production to compare "
                       "with.</p>");
    else if (!n)
        text_append(b, "<p>Nothing: what was seen fits chance.</p>");
    if (n) {
        text_append(b,
                    "<div class=\"scroll\"><table><tr><th>what</th><th>since</th><th "
                    "class=\"n\">seen</th><th class=\"n\">usual</th><th class=\"n wide\">times</th>"
                    "<th class=\"n wide\">95&nbsp;% interval</th><th class=\"n\">q</th></tr>");
        json_array_foreach(signals, i, signal)
        {
            if (i < SIGNALS_MOST)
                add_signal(b, signal);
        }
        text_append(b, "</table></div>");
    }
    if (n > SIGNALS_MOST)
        text_appendf(b, "<p class=\"soft small\">%zu further, less sure.</p>", n - SIGNALS_MOST);
    text_appendf(b,
                 "<p class=\"soft small\">%.0f series were looked at. Of those listed with q up to "
                 "a number, no more than that share is expected to be chance.</p>\n",
                 page_number(tested, "series"));
}

/* ---- charts ---- */

static void add_chart(struct text_buffer *b, const char *symptom, const json_t *chart)
{
    const json_t *sum = json_object_get(chart, "sum");
    text_append(b, "<h2>");
    text_append_html(b, symptom);
    text_append(b, "</h2><div class=\"charts\"><div class=\"chart\"><h3>By week of receipt, a "
                   "million units on sale</h3>");
    page_rate_chart(b, symptom, chart);
    text_append(b, "<p class=\"soft small\">Shaded: where a week usually lies (three sigma");
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
                "</div><div class=\"chart\"><h3>By week of packing, a million units packed</h3>");
    page_made_chart(b, symptom, chart);
    text_append(b, "<p class=\"soft small\">Filled: complaints that are in. Dashed: with those "
                   "still to come; the line is a 90&nbsp;% interval.</p></div></div>\n");
}

/* ---- rates ---- */

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
    double rate = page_number(row, "per_million"), low = page_number(row, "low");
    double high = page_number(row, "high");
    text_append(b, "<tr><td>");
    page_add_text(b, row, *page_text(row, "title") ? "title" : "level");
    text_append(b, "</td><td>");
    page_add_text(b, row, "symptom");
    text_append(b, "</td><td class=\"n\">");
    page_add_number(b, page_number(row, "complaints"));
    text_append(b, "</td><td class=\"n wide\">");
    page_add_number(b, page_number(row, "units"));
    text_append(b, "</td><td class=\"n\">");
    page_add_number(b, rate);
    text_append(b, "</td><td class=\"n\">");
    page_add_range(b, low, high);
    text_append(b, "</td><td class=\"wide\">");
    page_whisker(b, rate, low, high, most);
    text_append(b, "</td><td class=\"n wide\">");
    page_add_number(b, page_number(json_object_get(row, "made"), "per_million"));
    text_append(b, "</td></tr>");
}

static void add_factor(struct text_buffer *b, const char *factor, const json_t *rows)
{
    size_t i, shown = 0, rest = 0;
    const json_t *row;
    double most = most_of(rows);
    text_append(b, "<h3>By ");
    text_append_html(b, factor);
    text_append(b, "</h3>");
    json_array_foreach(rows, i, row)
    {
        if (!(page_number(row, "complaints") > 0.05) || shown == ROWS_MOST) {
            rest++;
            continue;
        }
        if (!shown++)
            text_append(b, "<div class=\"scroll\"><table><tr><th>level</th><th>symptom</th><th "
                           "class=\"n\">complaints</th><th class=\"n wide\">units packed</th><th "
                           "class=\"n\">a million</th><th class=\"n\">95&nbsp;% interval</th><th "
                           "class=\"wide\"></th><th class=\"n wide\">packed this week</th></tr>");
        add_rate(b, row, most);
    }
    if (shown)
        text_append(b, "</table></div>");
    if (!shown)
        text_append(b, "<p class=\"soft small\">No complaints.</p>");
    else if (rest)
        text_appendf(b, "<p class=\"soft small\">%zu further rows with fewer or none.</p>", rest);
}

/* ---- causes, what is to come, how right ---- */

static void add_causes(struct text_buffer *b, const json_t *causes)
{
    double most = 0;
    size_t i, shown = 0;
    const json_t *cause;
    json_array_foreach(causes, i, cause) most = fmax(most, page_number(cause, "expected"));
    text_append(b, "<h2>Causes</h2>");
    if (!json_array_size(causes)) {
        text_append(b, "<p>No complaint of this week has been ranked.</p>");
        return;
    }
    text_append(b, "<div class=\"scroll\"><table><tr><th>cause</th><th>symptom</th><th "
                   "class=\"n\">complaints</th><th class=\"wide\"></th><th class=\"n\">share</th>"
                   "<th class=\"n\">running</th></tr>");
    json_array_foreach(causes, i, cause)
    {
        if (page_number(cause, "share") < 0.01 || shown == 2 * (size_t)ROWS_MOST)
            continue;
        shown++;
        text_append(b, "<tr><td>");
        page_add_text(b, cause, "title");
        text_append(b, "</td><td>");
        page_add_text(b, cause, "symptom");
        text_appendf(b, "</td><td class=\"n\">%.1f</td><td class=\"wide\">",
                     page_number(cause, "expected"));
        page_bar(b, page_number(cause, "expected") / most);
        text_appendf(b,
                     "</td><td class=\"n\">%.0f&nbsp;%%</td><td class=\"n\">%.0f&nbsp;%%</td></tr>",
                     100 * page_number(cause, "share"), 100 * page_number(cause, "cumulative"));
    }
    text_append(b,
                "</table></div><p class=\"soft small\">Expected complaints: the probabilities of "
                "the rankings added up; settled cases count for what was confirmed.</p>\n");
}

static void add_to_come(struct text_buffer *b, const json_t *rows)
{
    size_t i;
    const json_t *row;
    text_append(b, "<h2>Still to come</h2>");
    if (!json_array_size(rows)) {
        text_append(b, "<p>Nothing to be told: all is in, or there is no past to judge by.</p>");
        return;
    }
    text_append(b,
                "<div class=\"scroll\"><table><tr><th>packed in</th><th>symptom</th><th "
                "class=\"n\">so far</th><th class=\"n\">in the end</th><th class=\"n\">90&nbsp;% "
                "interval</th><th class=\"n wide\">share in</th></tr>");
    json_array_foreach(rows, i, row)
    {
        text_append(b, "<tr><td class=\"w\">");
        page_add_text(b, row, "made_week");
        text_append(b, "</td><td>");
        page_add_text(b, row, "symptom");
        text_append(b, "</td><td class=\"n\">");
        page_add_number(b, page_number(row, "reported"));
        text_append(b, "</td><td class=\"n\">");
        page_add_number(b, round(page_number(row, "expected_final")));
        text_append(b, "</td><td class=\"n\">");
        page_add_range(b, page_number(row, "low"), page_number(row, "high"));
        text_appendf(b, "</td><td class=\"n wide\">%.0f&nbsp;%%%s</td></tr>",
                     100 * page_number(row, "share"), page_true(row, "too_early") ? ", early" : "");
    }
    text_append(b, "</table></div>\n");
}

static void add_verdicts(struct text_buffer *b, const char *when, const json_t *right)
{
    const json_t *days = json_object_get(right, "days_to_verdict");
    text_appendf(b, "<tr><td>%s</td><td class=\"n\">", when);
    page_add_number(b, page_number(right, "verdicts"));
    text_append(b, "</td><td class=\"n\">");
    page_add_number(b, round(100 * page_number(right, "top1")));
    text_append(b, "</td><td class=\"n\">");
    page_add_number(b, round(100 * page_number(right, "top3")));
    text_append(b, "</td><td class=\"n wide\">");
    page_add_number(b, page_number(right, "log_score"));
    text_append(b, "</td><td class=\"n\">");
    page_add_number(b, page_number(days, "median"));
    text_append(b, "</td></tr>");
}

static void add_right(struct text_buffer *b, const json_t *report)
{
    const json_t *right = json_object_get(report, "right"), *open, *row;
    size_t i;
    text_append(
        b, "<h2>How right we were</h2><div class=\"scroll\"><table><tr><th>verdicts of</th>"
           "<th class=\"n\">given</th><th class=\"n\">first was it, %</th><th class=\"n\">among "
           "three, %</th><th class=\"n wide\">log score</th><th class=\"n\">days, "
           "median</th></tr>");
    add_verdicts(b, "this week", json_object_get(right, "week"));
    add_verdicts(b, "13 weeks", json_object_get(right, "quarter"));
    text_append(b, "</table></div><h3>Open cases by age</h3><div class=\"scroll\"><table><tr><th>"
                   "opened</th><th class=\"n\">cases</th></tr>");
    open = json_object_get(report, "open_cases");
    json_array_foreach(open, i, row)
    {
        text_append(b, "<tr><td>");
        page_add_text(b, row, "age");
        text_append(b, "</td><td class=\"n\">");
        page_add_number(b, page_number(row, "cases"));
        text_append(b, "</td></tr>");
    }
    text_append(b, "</table></div>\n");
}

char *week_html(const json_t *report, const char *plant)
{
    struct text_buffer b = {0};
    const char *name;
    json_t *value;
    add_head(&b, report, plant ? plant : "");
    add_tiles(&b, report);
    add_signals(&b, report);
    json_object_foreach(json_object_get(report, "charts"), name, value) add_chart(&b, name, value);
    add_causes(&b, json_object_get(report, "causes"));
    text_append(&b, "<h2>Rates</h2>");
    json_object_foreach(json_object_get(report, "by"), name, value) add_factor(&b, name, value);
    text_append(&b,
                "<p class=\"soft small\">Complaints received this week over what was packed this "
                "week, exact limits. Packed this week: complaints so far about this week's own "
                "packing, over the units whose complaints are due by now.</p>");
    add_to_come(&b, json_object_get(report, "to_come"));
    add_right(&b, report);
    text_append(&b,
                "<p class=\"soft small\">A pattern is a reason to look, not a finding. Reports of "
                "illness, allergic reaction, injury, foreign matter or tampering are not judged "
                "here: they go by the plant's own procedure and the law of the place.</p>\n"
                "</main></body></html>\n");
    return text_take(&b);
}

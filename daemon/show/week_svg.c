#include "show/page.h"
#include "show/svg.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

/* A slot a week. */
struct frame {
    struct svg_frame svg;
    size_t count;
};

static struct frame frame_of(struct text_buffer *b, int height, size_t count, double most)
{
    double slots = count > 1 ? (double)count : 1;
    return (struct frame){{b, height, -0.5, slots - 0.5, 0, most}, count};
}

static double x_at(const struct frame *f, double i)
{
    return svg_x(&f->svg, i);
}

static double y_at(const struct frame *f, double value)
{
    return svg_y(&f->svg, value);
}

/* "W47" under every few weeks, counted back from the newest. */
static void draw_weeks(const struct frame *f, const json_t *weeks)
{
    size_t every = f->count > 30 ? 8 : f->count > 14 ? 4 : 2;
    for (size_t i = 0; i < f->count; i++) {
        const char *name = page_text(json_array_get(weeks, i), "week");
        if ((f->count - 1 - i) % every || strlen(name) < 8)
            continue;
        text_appendf(f->svg.b,
                     "<text class=\"tick\" x=\"%.1f\" y=\"%d\" text-anchor=\"middle\">%s</text>",
                     x_at(f, (double)i), f->svg.height - 5, name + 5);
    }
}

/* `usual` keeps the last limit in sight; a first one that is far out is cut. */
static double top_of(const json_t *weeks, const char *const *names, double usual)
{
    double most = isfinite(usual) ? usual : 0;
    size_t i;
    const json_t *week;
    json_array_foreach(weeks, i, week)
    {
        for (const char *const *name = names; *name; name++) {
            double x = page_number(week, *name);
            most = isfinite(x) && x > most ? x : most;
        }
    }
    return most > 0 ? most * 1.08 : 1;
}

/* ---- rates ---- */

static void draw_band(const struct frame *f, const json_t *weeks)
{
    bool started = false;
    for (size_t i = 0; i < f->count; i++) {
        double high = page_number(json_array_get(weeks, i), "high");
        if (isfinite(high))
            text_appendf(f->svg.b, "%s%.1f %.1f", started ? "L" : "<path class=\"band\" d=\"M",
                         x_at(f, (double)i), y_at(f, high));
        started |= isfinite(high);
    }
    for (size_t i = f->count; i-- > 0 && started;) {
        double low = page_number(json_array_get(weeks, i), "low");
        if (isfinite(low))
            text_appendf(f->svg.b, "L%.1f %.1f", x_at(f, (double)i), y_at(f, low));
    }
    if (started)
        text_append(f->svg.b, "Z\"/>");
}

static void draw_line(const struct frame *f, const json_t *weeks, const char *name,
                      const char *class)
{
    bool down = false, started = false;
    for (size_t i = 0; i < f->count; i++) {
        double value = page_number(json_array_get(weeks, i), name);
        if (!isfinite(value)) {
            down = false;
            continue;
        }
        if (!started)
            text_appendf(f->svg.b, "<path class=\"%s\" d=\"", class);
        text_appendf(f->svg.b, "%s%.1f %.1f", down ? "L" : "M", x_at(f, (double)i), y_at(f, value));
        down = started = true;
    }
    if (started)
        text_append(f->svg.b, "\"/>");
}

static void draw_points(const struct frame *f, const json_t *weeks)
{
    for (size_t i = 0; i < f->count; i++) {
        const json_t *week = json_array_get(weeks, i);
        double value = page_number(week, "per_million"), x = x_at(f, (double)i);
        if (!isfinite(value))
            continue;
        double y = y_at(f, value);
        if (page_number(week, "signal") > 0) /* a diamond, so that colour is not all */
            text_appendf(f->svg.b, "<path class=\"out\" d=\"M%.1f %.1fl6 6l-6 6l-6 -6z\"/>", x,
                         y - 6);
        else
            text_appendf(f->svg.b, "<circle class=\"dot\" cx=\"%.1f\" cy=\"%.1f\" r=\"2.4\"/>", x,
                         y);
    }
}

/* With no usual there is no limit either. */
static void describe_usual(struct text_buffer *text, const json_t *chart, const json_t *week)
{
    double center = page_number(chart, "center"), high = page_number(week, "high");
    if (!isfinite(center) || !isfinite(high)) {
        text_append(text, "; what is usual cannot be told yet. Above the limit: ");
        return;
    }
    text_append(text, "; usual ");
    page_add_number(text, center);
    text_append(text, ", limits ");
    page_add_range(text, page_number(week, "low"), high);
    text_append(text, ". Above the limit: ");
}

static void describe_rates(struct text_buffer *text, const json_t *chart)
{
    const json_t *weeks = json_object_get(chart, "weeks"), *week;
    size_t n = json_array_size(weeks), i, out = 0;
    if (!n) {
        text_append(text, "No weeks of production yet.");
        return;
    }
    week = json_array_get(weeks, n - 1);
    text_appendf(text, "%zu weeks up to %s. The last: ", n, page_text(week, "week"));
    if (isfinite(page_number(week, "per_million")))
        page_add_number(text, page_number(week, "per_million"));
    else
        text_append(text, "no rate");
    describe_usual(text, chart, week);
    json_array_foreach(weeks, i, week)
    {
        if (page_number(week, "signal") > 0)
            text_appendf(text, "%s%s", out++ ? ", " : "", page_text(week, "week"));
    }
    text_append(text, out ? "." : "none.");
}

void page_rate_chart(struct text_buffer *b, const char *symptom, const json_t *chart)
{
    static const char *const NAMES[] = {"per_million", NULL};
    const json_t *weeks = json_object_get(chart, "weeks");
    size_t n = json_array_size(weeks);
    double limit = n ? page_number(json_array_get(weeks, n - 1), "high") : NAN;
    struct frame f = frame_of(b, 190, n, top_of(weeks, NAMES, limit));
    struct text_buffer text = {0};
    char id[32];
    double center = page_number(chart, "center");
    snprintf(id, sizeof id, "rate-%s", symptom);
    describe_rates(&text, chart);
    svg_open(&f.svg, id, "Complaints per million units on sale, by week of receipt", text.data);
    text_buffer_free(&text);
    draw_band(&f, weeks);
    svg_scale(&f.svg);
    if (isfinite(center))
        text_appendf(b, "<path class=\"center\" d=\"M%d %.1fH%d\"/>", SVG_LEFT, y_at(&f, center),
                     SVG_WIDTH - SVG_RIGHT);
    draw_line(&f, weeks, "per_million", "line");
    draw_points(&f, weeks);
    draw_weeks(&f, weeks);
    text_append(b, "</svg>");
}

/* ---- cumulative sum ---- */

void page_sum_chart(struct text_buffer *b, const char *symptom, const json_t *chart)
{
    static const char *const NAMES[] = {"sum", NULL};
    const json_t *weeks = json_object_get(chart, "weeks"), *sum = json_object_get(chart, "sum");
    double limit = page_number(sum, "limit");
    struct frame f = frame_of(b, 92, json_array_size(weeks), top_of(weeks, NAMES, NAN));
    struct text_buffer text = {0};
    char id[32];
    if (!isfinite(limit))
        return;
    f.svg.most = f.svg.most < limit * 1.15 ? limit * 1.15 : f.svg.most;
    snprintf(id, sizeof id, "sum-%s", symptom);
    text_append(&text, "The last is ");
    page_add_number(&text, page_number(json_array_get(weeks, f.count ? f.count - 1 : 0), "sum"));
    text_append(&text, ", the limit ");
    page_add_number(&text, limit);
    text_append(&text, ".");
    svg_open(&f.svg, id, "Complaints beyond what is usual, summed up", text.data);
    text_buffer_free(&text);
    svg_scale(&f.svg);
    draw_line(&f, weeks, "sum", "line");
    text_appendf(b,
                 "<path class=\"limit\" d=\"M%d %.1fH%d\"/><text class=\"tick\" x=\"%d\" "
                 "y=\"%.1f\">limit</text></svg>",
                 SVG_LEFT, y_at(&f, limit), SVG_WIDTH - SVG_RIGHT, SVG_LEFT + 2,
                 y_at(&f, limit) - 4);
}

/* ---- by week of make ---- */

/* Of the complaints that are in. */
static double rate_so_far(const json_t *week)
{
    return 1e6 * page_number(week, "reported") / page_number(week, "units");
}

/* Weeks without a forecast count by what is in. */
static double top_of_made(const json_t *weeks)
{
    static const char *const NAMES[] = {"per_million", "high", NULL};
    double most = 0;
    size_t i;
    const json_t *week;
    json_array_foreach(weeks, i, week) most = fmax(most, rate_so_far(week));
    return top_of(weeks, NAMES, most);
}

static void draw_made(const struct frame *f, const json_t *week, size_t i)
{
    double final = page_number(week, "per_million"),
           half = 0.36 * (SVG_WIDTH - SVG_LEFT - SVG_RIGHT);
    double low = page_number(week, "low"), high = page_number(week, "high"), x = x_at(f, (double)i);
    half /= (double)f->count;
    double y = y_at(f, rate_so_far(week)), base = f->svg.height - SVG_FOOT;
    text_appendf(f->svg.b, "<path class=\"made\" d=\"M%.1f %.1fH%.1fV%.1fH%.1fZ\"/>", x - half,
                 base, x + half, y, x - half);
    if (!isfinite(final) || high - low < 1e-9)
        return;
    text_appendf(f->svg.b, "<path class=\"come\" d=\"M%.1f %.1fV%.1fH%.1fV%.1f\"/>", x - half, y,
                 y_at(f, final), x + half, y);
    text_appendf(f->svg.b, "<path class=\"whisker\" d=\"M%.1f %.1fV%.1f\"/>", x, y_at(f, low),
                 y_at(f, high));
}

static void describe_made(struct text_buffer *text, const json_t *weeks)
{
    size_t n = json_array_size(weeks);
    const json_t *week = json_array_get(weeks, n - 1);
    double low = page_number(week, "low"), high = page_number(week, "high");
    text_appendf(text, "%zu weeks of packing up to %s. About the last ", n,
                 page_text(week, "week"));
    page_add_number(text, page_number(week, "reported"));
    text_append(text, " complaints are in, ");
    page_add_number(text, rate_so_far(week));
    text_append(text, " per million; ");
    if (!isfinite(low) || !isfinite(high)) {
        text_append(text, "how many there are in the end cannot be told yet.");
        return;
    }
    text_append(text, "in the end ");
    page_add_range(text, low, high);
    text_append(text, " per million are to be expected.");
}

bool page_made_chart(struct text_buffer *b, const char *symptom, const json_t *chart)
{
    const json_t *weeks = json_object_get(chart, "made"), *week;
    struct frame f = frame_of(b, 170, json_array_size(weeks), top_of_made(weeks));
    struct text_buffer text = {0};
    char id[32];
    size_t i;
    bool foretold = false;
    if (!f.count)
        return false;
    snprintf(id, sizeof id, "made-%s", symptom);
    describe_made(&text, weeks);
    svg_open(&f.svg, id, "Complaints per million units packed, by week of packing", text.data);
    text_buffer_free(&text);
    svg_scale(&f.svg);
    json_array_foreach(weeks, i, week)
    {
        draw_made(&f, week, i);
        foretold |= isfinite(page_number(week, "high"));
    }
    draw_weeks(&f, weeks);
    text_append(b, "</svg>");
    return foretold;
}

/* ---- ornaments ---- */

void page_whisker(struct text_buffer *b, double value, double low, double high, double most)
{
    enum { W = 120, H = 14 };
    if (!isfinite(value) || !(most > 0))
        return;
    double scale = (W - 8) / most;
    double to = high * scale > W - 8 ? W - 4 : 4 + high * scale;
    text_appendf(b,
                 "<svg class=\"mini\" viewBox=\"0 0 %d %d\" aria-hidden=\"true\"><path "
                 "class=\"whisker\" d=\"M%.1f 7H%.1f\"/><circle class=\"dot\" cx=\"%.1f\" "
                 "cy=\"7\" r=\"3.2\"/></svg>",
                 W, H, 4 + low * scale, to, 4 + value * scale);
}

void page_bar(struct text_buffer *b, double share)
{
    enum { W = 120, H = 12 };
    double width = share < 0 || !isfinite(share) ? 0 : share > 1 ? W : share * W;
    text_appendf(b,
                 "<svg class=\"mini\" viewBox=\"0 0 %d %d\" aria-hidden=\"true\"><path "
                 "class=\"rail\" d=\"M0 6H%d\"/><path class=\"fill\" d=\"M0 6H%.1f\"/></svg>",
                 W, H, W, width);
}

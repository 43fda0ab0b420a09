/* Pictures of a case's page. */
#include "base/when.h"
#include "show/sheet.h"
#include "show/svg.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static double number_at(const json_t *list, size_t i)
{
    const json_t *value = json_array_get(list, i);
    return json_is_number(value) ? json_number_value(value) : NAN;
}

/* Made of what is finite; "M" where it begins anew. */
static void add_point(struct text_buffer *path, const struct svg_frame *f, double x, double y,
                      bool *down)
{
    if (isfinite(x) && isfinite(y))
        text_appendf(path, "%s%.1f %.1f", *down ? "L" : "M", svg_x(f, x), svg_y(f, y));
    *down = isfinite(x) && isfinite(y);
}

static void draw_path(const struct svg_frame *f, const char *class, struct text_buffer *path)
{
    if (path->length)
        text_appendf(f->b, "<path class=\"%s\" d=\"%s\"/>", class, path->data);
    text_buffer_free(path);
}

static void open_chart(struct text_buffer *b, const char *title)
{
    text_append(b, "<div class=\"chart\"><h3>");
    text_append_html(b, title);
    text_append(b, "</h3>");
}

static void close_chart(struct text_buffer *b, const char *caption)
{
    text_append(b, "<p class=\"soft small\">");
    text_append(b, caption);
    text_append(b, "</p></div>\n");
}

/* ---- core temperature ---- */

static void widen(struct svg_frame *f, const json_t *points)
{
    size_t i;
    const json_t *point;
    json_array_foreach(points, i, point)
    {
        double x = number_at(point, 0), y = number_at(point, 1);
        f->from = fmin(f->from, x);
        f->to = fmax(f->to, x);
        f->least = fmin(f->least, y);
        f->most = fmax(f->most, y);
    }
}

static struct svg_frame course_frame(struct text_buffer *b, const json_t *course)
{
    bool series = page_true(course, "series");
    struct svg_frame f = {b, 200, INFINITY, -INFINITY, INFINITY, -INFINITY};
    size_t i;
    const json_t *one;
    widen(&f, json_object_get(course, "own"));
    json_array_foreach(json_object_get(course, "recent"), i, one) widen(&f, one);
    f.least = fmin(f.least, page_number(course, "target_packed_c")); /* of NAN the other */
    f.most = fmax(f.most, page_number(course, "target_packed_c"));
    f.from -= series ? 0 : 5;
    f.to += series ? 1 : 5;
    f.least -= series ? 5 : 2;
    f.most += series ? 5 : 2;
    return f;
}

static void draw_course(const struct svg_frame *f, const char *class, const json_t *points)
{
    struct text_buffer path = {0};
    size_t i;
    const json_t *point;
    bool down = false;
    json_array_foreach(points, i, point)
        add_point(&path, f, number_at(point, 0), number_at(point, 1), &down);
    draw_path(f, class, &path);
}

static void draw_dots(const struct svg_frame *f, const char *class, double radius,
                      const json_t *points)
{
    size_t i;
    const json_t *point;
    json_array_foreach(points, i, point)
        text_appendf(f->b, "<circle class=\"%s\" cx=\"%.1f\" cy=\"%.1f\" r=\"%.1f\"/>", class,
                     svg_x(f, number_at(point, 0)), svg_y(f, number_at(point, 1)), radius);
}

static void draw_minutes(const struct svg_frame *f)
{
    double step = svg_step(f->to - f->from, 5);
    char text[32];
    for (double i = ceil(f->from / step); i * step <= f->to; i++) {
        bool last = (i + 1) * step > f->to;
        snprintf(text, sizeof text, last ? "%.0f min" : "%.0f", i * step);
        svg_tick(f, svg_x(f, i * step), f->height - 5, last ? "end" : "middle", text);
    }
}

static void draw_target(const struct svg_frame *f, double target_c, const char *text)
{
    if (!isfinite(target_c))
        return;
    text_appendf(f->b, "<path class=\"center\" d=\"M%d %.1fH%d\"/>", SVG_LEFT, svg_y(f, target_c),
                 SVG_WIDTH - SVG_RIGHT);
    svg_tick(f, SVG_LEFT + 4, svg_y(f, target_c) - 4, "start", text);
}

static const json_t *last_of(const json_t *list)
{
    size_t n = json_array_size(list);
    return n ? json_array_get(list, n - 1) : NULL;
}

static void describe_course(struct text_buffer *text, const json_t *course)
{
    const json_t *own = json_object_get(course, "own");
    size_t recent = json_array_size(json_object_get(course, "recent"));
    double target = page_number(course, "target_packed_c");
    if (page_true(course, "series"))
        text_appendf(text, "This lot's core from %.1f °C to %.1f °C in %.0f minutes",
                     number_at(json_array_get(own, 0), 1), number_at(last_of(own), 1),
                     number_at(last_of(own), 0));
    else
        text_appendf(text, "This lot's core at packing %.1f °C, after %.0f minutes of cooling",
                     number_at(last_of(own), 1), number_at(last_of(own), 0));
    if (isfinite(target))
        text_appendf(text, "; target at packing %.4g °C", target);
    text_appendf(text, "; %zu recent lot%s of the product beside it.", recent,
                 recent == 1 ? "" : "s");
}

void sheet_course(struct text_buffer *b, const json_t *course)
{
    const json_t *own = json_object_get(course, "own"), *one;
    bool series = page_true(course, "series");
    size_t i;
    struct text_buffer text = {0};
    if (!json_array_size(own))
        return;
    struct svg_frame f = course_frame(b, course);
    describe_course(&text, course);
    open_chart(b, series ? "Core temperature through bake and cooling, °C"
                         : "Core at packing by minutes of cooling, °C");
    svg_open(&f, "course", "Core temperature by minute", text.data);
    text_buffer_free(&text);
    svg_scale(&f);
    draw_target(&f, page_number(course, "target_packed_c"), "target at packing");
    json_array_foreach(json_object_get(course, "recent"), i, one)
    {
        if (series)
            draw_course(&f, "recent", one);
        else
            draw_dots(&f, "few", 2.5, one);
    }
    if (series)
        draw_course(&f, "line", own);
    else
        draw_dots(&f, "dot", 5, own);
    draw_minutes(&f);
    text_append(b, "</svg>");
    close_chart(b, series ? "Bold: this lot. Thin: recent lots of the product that have a series."
                          : "Large: this lot. Small: recent lots of the product.");
}

/* ---- mold by day ---- */

static struct svg_frame mold_frame(struct text_buffer *b, const json_t *curve)
{
    double most = 0.1;
    size_t i;
    const json_t *day;
    json_array_foreach(curve, i, day)
    {
        most = fmax(most, page_number(day, "as_made")); /* of NAN the other */
        most = fmax(most, page_number(day, "as_specified"));
    }
    return (struct svg_frame){
        b, 200, 0, fmax(page_number(last_of(curve), "day"), 1), 0, 10 * ceil(10 * most)};
}

static void draw_share(const struct svg_frame *f, const json_t *curve, const char *name,
                       const char *class)
{
    struct text_buffer path = {0};
    bool down = false;
    size_t i;
    const json_t *day;
    if (isfinite(page_number(json_array_get(curve, 0), name)))
        add_point(&path, f, 0, 0, &down);
    json_array_foreach(curve, i, day)
        add_point(&path, f, page_number(day, "day"), 100 * page_number(day, name), &down);
    draw_path(f, class, &path);
}

static void draw_days(const struct svg_frame *f)
{
    double step = svg_step(f->to, 7);
    char text[32];
    for (double i = 0; i * step <= f->to; i++) {
        snprintf(text, sizeof text, i == 0 ? "packed" : "%.0f", i * step);
        svg_tick(f, svg_x(f, i * step), f->height - 5, i == 0 ? "start" : "middle", text);
    }
}

/* Of nobody of that day it is known when it was found: hollow. */
static bool is_reported(const json_t *one)
{
    return page_number(one, "reported") >= page_number(one, "complaints");
}

/* A diamond on the foot for each day, larger with more of them; later ones at the end. */
static void draw_found(const struct svg_frame *f, const json_t *found)
{
    size_t i;
    const json_t *one;
    json_array_foreach(found, i, one)
    {
        double half = 4 + 1.5 * fmin(log2(page_number(one, "complaints")), 4);
        text_appendf(f->b,
                     "<path class=\"%s\" d=\"M%.1f %.1fl%.1f %.1fl-%.1f %.1fl-%.1f -%.1fz\"/>",
                     is_reported(one) ? "told" : "out", svg_x(f, page_number(one, "day")),
                     svg_y(f, 0) - half, half, half, half, half, half, half);
    }
}

static void draw_best_by(const struct svg_frame *f, double day)
{
    if (!(day > 0 && day <= f->to))
        return;
    bool right = day > 0.8 * f->to;
    text_appendf(f->b, "<path class=\"center\" d=\"M%.1f %dV%.1f\"/>", svg_x(f, day), SVG_TOP,
                 svg_y(f, 0));
    svg_tick(f, svg_x(f, day) + (right ? -4 : 4), SVG_TOP + 10, right ? "end" : "start", "best by");
}

/* Days from packing to the code date. */
static double code_days(const json_t *lot)
{
    char day[11];
    int32_t packed, code;
    text_clip(page_text(lot, "packed_from"), day, sizeof day);
    if (day_parse(day, &packed, NULL) || day_parse(page_text(lot, "code_date"), &code, NULL))
        return NAN;
    return code - packed;
}

/* The days on which it was found, or on which it was reported by those who did not say. */
static size_t add_days(struct text_buffer *text, const json_t *found, bool reported)
{
    size_t i, told = 0;
    const json_t *one;
    json_array_foreach(found, i, one)
    {
        double late = fmax(page_number(one, "reported"), 0); /* not told: none */
        double complaints = reported ? late : page_number(one, "complaints") - late;
        if (!(complaints >= 1))
            continue;
        text_appendf(text, "%s%.0f",
                     told++     ? ", "
                     : reported ? " Reported, found by then, on day "
                                : " Found on day ",
                     page_number(one, "day"));
        if (complaints > 1)
            text_appendf(text, " (%.0f complaints)", complaints);
    }
    text_append(text, told ? "." : "");
    return told;
}

static void add_found(struct text_buffer *text, const json_t *found)
{
    size_t told = add_days(text, found, false);
    if (told + add_days(text, found, true) == 0)
        text_append(text, " Nobody said when it was found.");
}

static void describe_mold(struct text_buffer *text, const json_t *days, const json_t *found)
{
    static const struct {
        const char *name, *title;
    } SIDES[] = {{"as_made", "As made"}, {"as_specified", "as specified"}};
    for (size_t i = 0; i < sizeof SIDES / sizeof SIDES[0]; i++) {
        const json_t *range = json_object_get(days, SIDES[i].name);
        double typical = page_number(range, "typical");
        text_appendf(text, "%s%s ", i ? "; " : "", SIDES[i].title);
        if (!page_true(range, "valid") || !isfinite(typical))
            text_append(text, "it cannot be told");
        else
            text_appendf(text, "half of the packs that carry a spore show mold %s %.*f",
                         page_true(range, "beyond") ? "later than day" : "by day",
                         page_true(range, "beyond") ? 0 : 1, typical);
    }
    text_append(text, ".");
    add_found(text, found);
}

static bool has_curve(const json_t *curve)
{
    size_t i;
    const json_t *day;
    json_array_foreach(curve, i, day)
    {
        if (isfinite(page_number(day, "as_made")) || isfinite(page_number(day, "as_specified")))
            return true;
    }
    return false;
}

static void add_why_not(struct text_buffer *b, const json_t *days)
{
    text_append(b, "<p>No share can be told");
    if (*page_text(json_object_get(days, "as_made"), "reason"))
        text_append(b, ": ");
    page_add_text(b, json_object_get(days, "as_made"), "reason");
    text_append(b, ".</p></div>\n");
}

void sheet_mold(struct text_buffer *b, const json_t *drawn)
{
    const json_t *lot = json_object_get(drawn, "lot"), *found = json_object_get(drawn, "found");
    const json_t *days = json_object_get(json_object_get(lot, "prediction"), "mold_free_days");
    const json_t *curve = json_object_get(days, "curve");
    struct text_buffer text = {0};
    open_chart(b,
               "Packs with visible mold by day, % of those that carry a spore, as a model has it");
    if (!has_curve(curve)) {
        add_why_not(b, days);
        return;
    }
    struct svg_frame f = mold_frame(b, curve);
    describe_mold(&text, days, found);
    svg_open(&f, "mold",
             "Packs with visible mold by day after packing, of those that carry a spore",
             text.data);
    svg_scale(&f);
    draw_best_by(&f, code_days(lot));
    draw_share(&f, curve, "as_specified", "spec");
    draw_share(&f, curve, "as_made", "line");
    draw_found(&f, found);
    draw_days(&f);
    text_append(b, "</svg><p class=\"small\">");
    text_append_html(b, text.data);
    text_append(b, "</p>");
    text_buffer_free(&text);
    text_append(b, "<p class=\"small\">Shares of the packs that carry a spore after the oven, not "
                   "of all packs: how many carry one the picture does not say. The model is ");
    text_append(b, page_true(days, "calibrated")
                       ? "calibrated to this plant's retained samples.</p>"
                       : "not calibrated to this plant.</p>");
    close_chart(b, "Bold: as made. Dashed: as specified. Diamonds: the days it was found; hollow: "
                   "reported, and found by then.");
}

/* ---- the lots packed around it ---- */

enum { LANES = 10, LANE = 34, LANE_BAR = 22, LABEL = 9 };

struct lanes {
    const char *line[LANES];
    size_t count;
    double last_label[LANES];   /* where the last number of a lane ends */
    double own_left, own_right; /* where its own lot's number stands */
    size_t own;                 /* its lane */
    double most;                /* complaints */
    bool more;                  /* lines than that */
};

static size_t lane_of(const struct lanes *lanes, const char *line)
{
    size_t i = 0;
    while (i < lanes->count && strcmp(lanes->line[i], line) != 0)
        i++;
    return i;
}

static int by_name(const void *a, const void *b)
{
    return strcmp(*(const char *const *)a, *(const char *const *)b);
}

/* Its own line is always there: the list begins with its own lot. */
static void find_lanes(const json_t *lots, struct lanes *ret)
{
    size_t i;
    const json_t *lot;
    json_array_foreach(lots, i, lot)
    {
        const char *line = page_text(lot, "line");
        ret->most = fmax(ret->most, page_number(lot, "complaints"));
        if (lane_of(ret, line) < ret->count)
            continue;
        if (ret->count == LANES)
            ret->more = true;
        else
            ret->line[ret->count++] = line;
    }
    qsort(ret->line, ret->count, sizeof ret->line[0], by_name);
}

/* The foot of a lane's bars. */
static double foot_of(size_t lane)
{
    return SVG_TOP + (double)(lane + 1) * LANE;
}

static void draw_lanes(const struct svg_frame *f, const struct lanes *lanes)
{
    for (size_t i = 0; i < lanes->count; i++) {
        char name[6];
        text_clip(lanes->line[i], name, sizeof name);
        text_appendf(f->b, "<path class=\"grid\" d=\"M%d %.1fH%d\"/>", SVG_LEFT, foot_of(i),
                     SVG_WIDTH - SVG_RIGHT);
        svg_tick(f, SVG_LEFT - 5, foot_of(i) - 3, "end", name);
    }
}

/* Numbers from left to right, where there is room for them; its own was there first. */
static void draw_count(const struct svg_frame *f, struct lanes *lanes, size_t lane,
                       const json_t *lot, double top)
{
    char text[16];
    double middle = (svg_x(f, page_number(lot, "from_h")) + svg_x(f, page_number(lot, "to_h"))) / 2;
    double complaints = page_number(lot, "complaints");
    double half = 3.5 * snprintf(text, sizeof text, "%.0f", complaints);
    bool beside_own =
        lane == lanes->own && middle + half > lanes->own_left && middle - half < lanes->own_right;
    if (!(complaints > 0) || beside_own || middle - half < lanes->last_label[lane])
        return;
    if (page_true(lot, "own")) {
        lanes->own_left = middle - half - 2;
        lanes->own_right = middle + half + 2;
    } else {
        lanes->last_label[lane] = middle + half + 2;
    }
    svg_tick(f, middle, top - 2, "middle", text);
}

static void draw_lot(const struct svg_frame *f, struct lanes *lanes, const json_t *lot)
{
    size_t lane = lane_of(lanes, page_text(lot, "line"));
    double from = svg_x(f, page_number(lot, "from_h")), to = svg_x(f, page_number(lot, "to_h"));
    double share = lanes->most > 0 ? page_number(lot, "complaints") / lanes->most : 0;
    if (lane == lanes->count)
        return;
    double top = foot_of(lane) - fmax(2, share * LANE_BAR);
    text_appendf(f->b, "<path class=\"%s\" d=\"M%.1f %.1fV%.1fH%.1fV%.1fZ\"/>",
                 page_true(lot, "own") ? "ownlot" : "lot", from, foot_of(lane), top,
                 fmax(to - 0.6, from + 1.2), foot_of(lane));
    if (page_true(lot, "own")) /* so that colour is not all */
        text_appendf(f->b, "<path class=\"out\" d=\"M%.1f %.1fl4 6h-8z\"/>", (from + to) / 2,
                     foot_of(lane) + 1);
    draw_count(f, lanes, lane, lot, top);
}

/* Midnights at the plant, as far as they can be told from the lot's own time. */
static void draw_midnights(const struct svg_frame *f, const char *packed_from)
{
    int hour, minute;
    char text[16];
    int32_t day;
    text_clip(packed_from, text, 11);
    if (strlen(packed_from) < 16 || day_parse(text, &day, NULL) ||
        sscanf(packed_from + 11, "%2d:%2d", &hour, &minute) != 2)
        return;
    for (int k = -2; k <= 2; k++) {
        double at = 24 * k - hour - minute / 60.0;
        if (at <= f->from + 1 || at >= f->to - 5)
            continue;
        text_appendf(f->b, "<path class=\"grid\" d=\"M%.1f %dV%d\"/>", svg_x(f, at), SVG_TOP,
                     f->height - SVG_FOOT);
        svg_tick(f, svg_x(f, at) + 3, f->height - 5, "start", day_format(day + k, text) + 5);
    }
}

static int by_start(const void *a, const void *b)
{
    const json_t *x = *(const json_t *const *)a, *y = *(const json_t *const *)b;
    double p = page_number(x, "from_h"), q = page_number(y, "from_h");
    return (p > q) - (p < q);
}

static void draw_lots(const struct svg_frame *f, struct lanes *lanes, const json_t *lots)
{
    size_t i;
    const json_t *lot, **list = xcalloc(json_array_size(lots) + 1, sizeof(const json_t *));
    json_array_foreach(lots, i, lot) list[i] = lot;
    lanes->own = lane_of(lanes, page_text(json_array_get(lots, 0), "line"));
    draw_lot(f, lanes, json_array_get(lots, 0));
    qsort(list, i, sizeof(const json_t *), by_start);
    for (size_t k = 0; k < i; k++)
        if (!page_true(list[k], "own"))
            draw_lot(f, lanes, list[k]);
    free(list);
}

static void describe_near(struct text_buffer *text, const json_t *near, const json_t *own)
{
    double complaints = 0, same_line = 0;
    size_t i, others = 0;
    const json_t *lot;
    json_array_foreach(json_object_get(near, "lots"), i, lot)
    {
        if (page_true(lot, "own"))
            continue;
        others++;
        complaints += page_number(lot, "complaints");
        if (strcmp(page_text(lot, "line"), page_text(own, "line")) == 0)
            same_line += page_number(lot, "complaints");
    }
    text_appendf(text,
                 "This lot has %.0f of these complaints. Of %zu other lots packed within %.0f "
                 "hours, those of its line have %.0f and those of other lines %.0f.",
                 page_number(own, "complaints"), others, page_number(near, "hours"), same_line,
                 complaints - same_line);
}

void sheet_near(struct text_buffer *b, const json_t *near, const char *packed_from)
{
    const json_t *lots = json_object_get(near, "lots"), *own = json_array_get(lots, 0);
    struct lanes lanes = {.most = 0};
    struct text_buffer text = {0};
    if (!own)
        return;
    find_lanes(lots, &lanes);
    double hours = page_number(near, "hours");
    struct svg_frame f = {b, (int)foot_of(lanes.count - 1) + SVG_FOOT, -hours, hours, 0, 1};
    open_chart(b, "Complaints by line and hour of packing");
    describe_near(&text, near, own);
    svg_open(&f, "near", "Complaints of this symptom on the lots packed around this one",
             text.data);
    draw_midnights(&f, packed_from);
    draw_lanes(&f, &lanes);
    draw_lots(&f, &lanes, lots);
    text_append(b, "</svg><p class=\"small\">");
    text_append_html(b, text.data);
    text_append(b, "</p>");
    text_buffer_free(&text);
    close_chart(b, lanes.more
                       ? "A row for each line, a bar for each lot; the arrow is this one. Not "
                         "all lines are drawn."
                       : "A row for each line, a bar for each lot; the arrow is this one.");
}

/* ---- ornaments ---- */

enum { STRIP_WIDTH = 120, STRIP_HEIGHT = 20, BITS_WIDTH = 140, BITS_HEIGHT = 12 };

static void take(double value, double *least, double *most)
{
    *least = fmin(*least, value); /* of NAN the other */
    *most = fmax(*most, value);
}

struct strip {
    struct text_buffer *b;
    double least, scale;
};

static double strip_x(const struct strip *s, double value)
{
    return 6 + (value - s->least) * s->scale;
}

static struct strip strip_of(struct text_buffer *b, const json_t *reading)
{
    static const char *const NAMES[] = {"value", "min", "max", "target", "low", "high"};
    double usual = page_number(reading, "usual"), around = 2 * page_number(reading, "spread");
    double least = INFINITY, most = -INFINITY;
    for (size_t i = 0; i < sizeof NAMES / sizeof NAMES[0]; i++)
        take(page_number(reading, NAMES[i]), &least, &most);
    take(usual - around, &least, &most);
    take(usual + around, &least, &most);
    return (struct strip){b, least, most > least ? (STRIP_WIDTH - 12) / (most - least) : 0};
}

static void draw_mark(const struct strip *s, const char *class, double value)
{
    if (isfinite(value))
        text_appendf(s->b, "<path class=\"%s\" d=\"M%.1f 1V%d\"/>", class, strip_x(s, value),
                     STRIP_HEIGHT - 1);
}

static void draw_usual(const struct strip *s, double usual, double around)
{
    if (isfinite(usual - around))
        text_appendf(s->b, "<path class=\"band\" d=\"M%.1f 2H%.1fV%dH%.1fZ\"/>",
                     strip_x(s, usual - around), strip_x(s, usual + around), STRIP_HEIGHT - 2,
                     strip_x(s, usual - around));
}

void sheet_strip(struct text_buffer *b, const json_t *reading)
{
    double value = page_number(reading, "value");
    double least = page_number(reading, "min"), most = page_number(reading, "max");
    const struct strip s = strip_of(b, reading);
    if (!isfinite(value))
        return;
    text_appendf(b, "<svg class=\"strip\" viewBox=\"0 0 %d %d\" aria-hidden=\"true\">", STRIP_WIDTH,
                 STRIP_HEIGHT);
    draw_usual(&s, page_number(reading, "usual"), 2 * page_number(reading, "spread"));
    draw_mark(&s, "limit", page_number(reading, "low"));
    draw_mark(&s, "limit", page_number(reading, "high"));
    draw_mark(&s, "center", page_number(reading, "target"));
    if (most > least)
        text_appendf(b, "<path class=\"whisker\" d=\"M%.1f 10H%.1f\"/>", strip_x(&s, least),
                     strip_x(&s, most));
    text_appendf(b, "<circle class=\"dot\" cx=\"%.1f\" cy=\"10\" r=\"4\"/></svg>",
                 strip_x(&s, value));
}

void sheet_bits(struct text_buffer *b, double bits)
{
    static const double MOST = 7; /* no item of a rule has more */
    double bounded = isfinite(bits) ? fmax(-MOST, fmin(MOST, bits)) : 0;
    double middle = BITS_WIDTH / 2.0, end = middle + bounded / MOST * (middle - 2);
    text_appendf(b,
                 "<svg class=\"mini\" viewBox=\"0 0 %d %d\" aria-hidden=\"true\"><path "
                 "class=\"rail\" d=\"M0 6H%d\"/><path class=\"%s\" d=\"M%.1f 6H%.1f\"/><path "
                 "class=\"tare\" d=\"M%.1f 0V%d\"/></svg>",
                 BITS_WIDTH, BITS_HEIGHT, BITS_WIDTH, bits < 0 ? "contra" : "fill", middle, end,
                 middle, BITS_HEIGHT);
}

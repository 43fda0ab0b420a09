#include "show/svg.h"
#include "show/page.h"
#include <math.h>

static double share_of(double value, double from, double to)
{
    double share = to > from ? (value - from) / (to - from) : 0;
    return share > 0 ? fmin(share, 1) : 0; /* of no number, too */
}

double svg_x(const struct svg_frame *f, double x)
{
    return SVG_LEFT + (SVG_WIDTH - SVG_LEFT - SVG_RIGHT) * share_of(x, f->from, f->to);
}

double svg_y(const struct svg_frame *f, double y)
{
    return f->height - SVG_FOOT - (f->height - SVG_TOP - SVG_FOOT) * share_of(y, f->least, f->most);
}

void svg_open(const struct svg_frame *f, const char *id, const char *title, const char *text)
{
    text_appendf(f->b,
                 "<svg viewBox=\"0 0 %d %d\" role=\"img\" aria-labelledby=\"%s-t %s-d\">"
                 "<title id=\"%s-t\">",
                 SVG_WIDTH, f->height, id, id, id);
    text_append_html(f->b, title);
    text_appendf(f->b, "</title><desc id=\"%s-d\">", id);
    text_append_html(f->b, text);
    text_append(f->b, "</desc>");
}

double svg_step(double range, double pieces)
{
    double raw = range / pieces, base = pow(10, floor(log10(raw)));
    double times = raw / base;
    return base * (times <= 1 ? 1 : times <= 2 ? 2 : times <= 5 ? 5 : 10);
}

/* Three to six lines, on a low chart two or three. */
void svg_scale(const struct svg_frame *f)
{
    double step = svg_step(f->most - f->least, f->height > 120 ? 5 : 2.5);
    for (double i = ceil(f->least / step); i * step <= f->most * 1.0001; i++) {
        double y = svg_y(f, i * step);
        text_appendf(f->b,
                     "<path class=\"grid\" d=\"M%d %.1fH%d\"/><text class=\"tick\" x=\"%d\" "
                     "y=\"%.1f\" text-anchor=\"end\">",
                     SVG_LEFT, y, SVG_WIDTH - SVG_RIGHT, SVG_LEFT - 5, y + 4);
        page_add_number(f->b, i * step);
        text_append(f->b, "</text>");
    }
}

void svg_tick(const struct svg_frame *f, double x, double y, const char *anchor, const char *text)
{
    text_appendf(f->b, "<text class=\"tick\" x=\"%.1f\" y=\"%.1f\" text-anchor=\"%s\">", x, y,
                 anchor);
    text_append_html(f->b, text);
    text_append(f->b, "</text>");
}

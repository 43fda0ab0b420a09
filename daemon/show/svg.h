/* Charts in SVG, drawn for a phone's width, so that their letters stay readable there. Inside
 * show/. */
#ifndef ODDLOAF_SHOW_SVG_H
#define ODDLOAF_SHOW_SVG_H

#include "base/text.h"

enum { SVG_WIDTH = 420, SVG_LEFT = 40, SVG_RIGHT = 8, SVG_TOP = 10, SVG_FOOT = 20 };

struct svg_frame {
    struct text_buffer *b;
    int height;
    double from, to;    /* values at the left and the right end */
    double least, most; /* at the bottom and the top */
};

/* Values beyond the ends are drawn at the end. */
double svg_x(const struct svg_frame *f, double x);
double svg_y(const struct svg_frame *f, double y);

/* Opens the picture: a title, and the text that says what it shows; </svg> ends it. `id` is the
 * page's only one of that name. */
void svg_open(const struct svg_frame *f, const char *id, const char *title, const char *text);
/* A round step that cuts `range` into about so many pieces, 1, 2 or 5 times a power of ten. */
double svg_step(double range, double pieces);
/* Lines across at round values, with their numbers on the left. */
void svg_scale(const struct svg_frame *f);
/* A text of the axes; `anchor`: "start", "middle", "end". */
void svg_tick(const struct svg_frame *f, double x, double y, const char *anchor, const char *text);

#endif

#include "show/view.h"
#include "base/typeset.h"
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { WIDTH = 76, BAR = 20 };

void view_add(struct view *view, enum view_kind kind, const char *label, double share,
              const char *format, ...)
{
    struct text_buffer text = {0};
    va_list args;
    va_start(args, format);
    text_vappendf(&text, format, args);
    va_end(args);
    if (view->count == view->capacity) {
        view->capacity = view->capacity ? view->capacity * 2 : 32;
        view->line = xrealloc(view->line, view->capacity * sizeof *view->line);
    }
    view->line[view->count++] =
        (struct view_line){kind, label ? xstrdup(label) : NULL, text_take(&text), share};
}

void view_free(struct view *view)
{
    for (size_t i = 0; i < view->count; i++) {
        free(view->line[i].label);
        free(view->line[i].text);
    }
    free(view->line);
    *view = (struct view){0};
}

/* ---- plain ---- */

/* Wraps at words; lines after the first begin with `rest`. */
static void wrap(struct text_buffer *out, const char *first, const char *rest, const char *text)
{
    for (const char *indent = first; *text; indent = rest) {
        size_t next, length = typeset_break(text, WIDTH - text_columns(indent), &next);
        text_append(out, indent);
        text_append_bytes(out, text, length);
        text_append(out, "\n");
        text += next;
    }
}

static void plain_cause(const struct view_line *line, struct text_buffer *out)
{
    int full = (int)lround(line->share * BAR);
    char percent[8];
    text_appendf(out, "\n%3s %%  ", text_chance(line->share, percent));
    for (int i = 0; i < BAR; i++)
        text_append(out, i < full ? "#" : ".");
    text_appendf(out, "  %s\n", line->label);
    wrap(out, "       ", "       ", line->text);
}

void view_plain(const struct view *view, struct text_buffer *out)
{
    for (size_t i = 0; i < view->count; i++) {
        const struct view_line *line = &view->line[i];
        char label[40];
        switch (line->kind) {
        case VIEW_TITLE:
            text_appendf(out, "%s\n\n", line->text);
            break;
        case VIEW_HEADING:
            text_appendf(out, "\n%s\n", line->text);
            break;
        case VIEW_TEXT:
            text_append(out, "\n");
            wrap(out, "", "", line->text);
            break;
        case VIEW_ITEM:
            wrap(out, "  - ", "    ", line->text);
            break;
        case VIEW_CAUTION:
            wrap(out, "  ! ", "    ", line->text);
            break;
        case VIEW_ROW:
            snprintf(label, sizeof label, "%-14.20s", line->label);
            wrap(out, label, "              ", line->text);
            break;
        case VIEW_CAUSE:
            plain_cause(line, out);
            break;
        }
    }
}

/* ---- HTML: tables and inline styles only, since mail clients know little else ---- */

static void html_element(struct text_buffer *out, const char *open, const char *text,
                         const char *close)
{
    text_append(out, open);
    text_append_html(out, text);
    text_append(out, close);
}

static void html_cause(const struct view_line *line, struct text_buffer *out)
{
    text_append(out, "<p style=\"margin:14px 0 2px\"><b>");
    char percent[8];
    text_append_html(out, text_chance(line->share, percent));
    text_append(out, "&nbsp;% ");
    text_append_html(out, line->text);
    html_element(out, "</b> <code>", line->label, "</code></p>");
    text_appendf(out,
                 "<div role=\"presentation\" style=\"background:#e4ddd0;width:240px;height:8px\">"
                 "<div style=\"background:#7a4a1e;width:%.0fpx;height:8px\"></div></div>\n",
                 line->share * 240);
}

#define CAUTION_OPEN                                                                               \
    "<div style=\"margin:4px 0;padding:4px;border-left:4px solid #9c2a12\"><b>Caution:</b> "

void view_html(const struct view *view, struct text_buffer *out)
{
    static const char *const OPEN[] = {[VIEW_TITLE] = "<h1 style=\"font-size:20px\">",
                                       [VIEW_HEADING] =
                                           "<h2 style=\"font-size:16px;margin:18px 0 4px\">",
                                       [VIEW_TEXT] = "<p>",
                                       [VIEW_ITEM] = "<div style=\"margin:2px 0 2px 18px\">&bull; ",
                                       [VIEW_CAUTION] = CAUTION_OPEN};
    static const char *const CLOSE[] = {[VIEW_TITLE] = "</h1>\n",
                                        [VIEW_HEADING] = "</h2>\n",
                                        [VIEW_TEXT] = "</p>\n",
                                        [VIEW_ITEM] = "</div>\n",
                                        [VIEW_CAUTION] = "</div>\n"};
    text_append(out, "<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">"
                     "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">"
                     "<title>oddloaf</title></head>\n<body style=\"font:15px/1.45 sans-serif;"
                     "color:#221a10;background:#fffdf8;max-width:640px\">\n");
    for (size_t i = 0; i < view->count; i++) {
        const struct view_line *line = &view->line[i];
        if (line->kind == VIEW_CAUSE) {
            html_cause(line, out);
        } else if (line->kind == VIEW_ROW) {
            html_element(out, "<div><b>", line->label, ":</b> ");
            html_element(out, "", line->text, "</div>\n");
        } else {
            html_element(out, OPEN[line->kind], line->text, CLOSE[line->kind]);
        }
    }
    text_append(out, "</body></html>\n");
}

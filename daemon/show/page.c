#include "show/page.h"
#include "base/typeset.h"
#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

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

/* ---- numbers and names ---- */

void page_add_number(struct text_buffer *b, double x)
{
    char text[TYPESET_NUMBER];
    text_append_html(b, isfinite(x) ? typeset_rough(x, "\u202f", text) : "–");
}

void page_add_range(struct text_buffer *b, double low, double high)
{
    page_add_number(b, low);
    if (low == high)
        return;
    text_append(b, " to ");
    page_add_number(b, high);
}

void page_add_text(struct text_buffer *b, const json_t *object, const char *name)
{
    text_append_html(b, page_text(object, name));
}

void page_add_name(struct text_buffer *b, const char *word)
{
    char first[2] = {(char)toupper((unsigned char)*word), '\0'};
    text_append_html(b, first);
    text_append_html(b, *word ? word + 1 : "");
}

/* ---- tables ---- */

static void open_cell(struct text_buffer *b, const char *tag, const char *class)
{
    text_appendf(b, *class ? "<%s class=\"%s\">" : "<%s>", tag, class);
}

static bool has_wide(const struct page_column *columns)
{
    for (; columns->title; columns++)
        if (strstr(columns->class, "wide"))
            return true;
    return false;
}

void page_open_table(struct text_buffer *b, const struct page_column *columns)
{
    text_append(b, has_wide(columns) ? "<div class=\"scroll wider\" tabindex=\"0\" role=\"group\""
                                       " aria-label=\"table, scrolls sideways\"><table><tr>"
                                     : "<div class=\"scroll\"><table><tr>");
    for (; columns->title; columns++) {
        open_cell(b, "th", columns->class);
        text_appendf(b, "%s</th>", columns->title);
    }
    text_append(b, "</tr>");
}

void page_close_table(struct text_buffer *b)
{
    text_append(b, "</table></div>\n");
}

void page_cell_text(struct text_buffer *b, const char *class, const char *text)
{
    open_cell(b, "td", class);
    text_append_html(b, *text ? text : "–");
    text_append(b, "</td>");
}

void page_cell_number(struct text_buffer *b, const char *class, double x)
{
    open_cell(b, "td", class);
    page_add_number(b, x);
    text_append(b, "</td>");
}

void page_cell_about(struct text_buffer *b, const char *class, double count)
{
    char text[TYPESET_NUMBER];
    open_cell(b, "td", class);
    text_append_html(b, isfinite(count) ? typeset_about(count, "\u202f", text) : "–");
    text_append(b, "</td>");
}

void page_cell_range(struct text_buffer *b, const char *class, double low, double high)
{
    open_cell(b, "td", class);
    if (isfinite(low))
        page_add_range(b, low, high);
    else
        text_append(b, "–");
    text_append(b, "</td>");
}

void page_cell_what(struct text_buffer *b, const char *name, const char *kind)
{
    text_append(b, "<td>");
    text_append_html(b, name);
    text_append(b, " <span class=\"kind\">");
    text_append_html(b, kind);
    text_append(b, "</span></td>");
}

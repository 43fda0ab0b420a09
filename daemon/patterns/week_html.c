#include "base/text.h"
#include "patterns/week.h"

static void add_rows(struct text_buffer *b, const char *factor, const json_t *rows)
{
    size_t i;
    json_t *row;
    text_append(b, "<h2>By ");
    text_append_html(b, factor);
    text_append(b, "</h2><table><tr><th>level<th>symptom<th>complaints<th>per million</tr>");
    json_array_foreach(rows, i, row)
    {
        text_append(b, "<tr><td>");
        text_append_html(b, json_string_value(json_object_get(row, "level")));
        text_append(b, "<td>");
        text_append_html(b, json_string_value(json_object_get(row, "symptom")));
        text_appendf(b, "<td>%.4g<td>%.4g</tr>",
                     json_number_value(json_object_get(row, "complaints")),
                     json_number_value(json_object_get(row, "per_million")));
    }
    text_append(b, "</table>");
}

char *week_html(const json_t *report, const char *plant)
{
    struct text_buffer b = {0};
    const char *factor;
    json_t *rows;
    text_append(&b, "<!DOCTYPE html><html lang=\"en\"><meta charset=\"utf-8\"><title>Week ");
    text_append_html(&b, json_string_value(json_object_get(report, "week")));
    text_append(&b, "</title><h1>");
    text_append_html(&b, plant);
    text_append(&b, "</h1>");
    json_object_foreach(json_object_get(report, "by"), factor, rows) add_rows(&b, factor, rows);
    text_append(&b, "</html>");
    return text_take(&b);
}

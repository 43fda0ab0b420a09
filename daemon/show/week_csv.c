#include "show/week_csv.h"
#include "base/text.h"
#include <string.h>

/* RFC 4180; a cell that a spreadsheet would take for a formula gets an apostrophe. */
static void add_cell(struct text_buffer *b, const char *s)
{
    bool formula = *s && strchr("=+-@\t\r", *s);
    text_append(b, formula ? "\"'" : "\"");
    for (; *s; s++) {
        if (*s == '"')
            text_append(b, "\"");
        text_append_bytes(b, s, 1);
    }
    text_append(b, "\"");
}

static void add_numbers(struct text_buffer *b, const json_t *row, const char *const *names)
{
    for (; *names; names++) {
        const json_t *value = json_object_get(row, *names);
        text_append(b, ",");
        if (json_is_number(value))
            text_appendf(b, "%.10g", json_number_value(value));
    }
}

char *week_csv(const json_t *report)
{
    static const char *const RECEIVED[] = {"complaints", "units", "per_million",
                                           "low",        "high",  NULL};
    static const char *const MADE[] = {"complaints", "share_in", "per_million",
                                       "low",        "high",     NULL};
    struct text_buffer b = {0};
    const char *factor;
    json_t *rows, *row;
    size_t i;
    text_append(&b, "week,factor,level,symptom,complaints,units,per_million,low,high,"
                    "made_complaints,made_share_in,made_per_million,made_low,made_high\r\n");
    json_object_foreach(json_object_get(report, "by"), factor, rows)
    {
        json_array_foreach(rows, i, row)
        {
            text_appendf(&b, "%s,%s,", json_string_value(json_object_get(report, "week")), factor);
            add_cell(&b, json_string_value(json_object_get(row, "level")));
            text_appendf(&b, ",%s", json_string_value(json_object_get(row, "symptom")));
            add_numbers(&b, row, RECEIVED);
            add_numbers(&b, json_object_get(row, "made"), MADE);
            text_append(&b, "\r\n");
        }
    }
    return text_take(&b);
}

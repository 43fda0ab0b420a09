#include "show/fact_told.h"
#include "show/sheet.h"
#include <math.h>
#include <string.h>

void sheet_add_percent(struct text_buffer *b, double share)
{
    char percent[8];
    text_append_html(b, isfinite(share) ? text_percent(share, percent) : "–");
    text_append(b, "\u00a0%");
}

void sheet_add_chance(struct text_buffer *b, double probability)
{
    char percent[8];
    text_append_html(b, isfinite(probability) ? text_chance(probability, percent) : "–");
    text_append(b, "\u00a0%");
}

void sheet_add_reading(struct text_buffer *b, double value, const char *unit)
{
    struct text_buffer text = {0};
    if (isfinite(value)) {
        text_appendf(&text, "%.4g", value);
        fact_told_unit(&text, unit);
    }
    text_append_html(b, text.length ? text.data : "–");
    text_buffer_free(&text);
}

void sheet_add_time(struct text_buffer *b, const char *when)
{
    char time[6];
    if (strlen(when) >= 16)
        text_append_html(b, text_clip(when + 11, time, sizeof time));
}

void sheet_add_when(struct text_buffer *b, const char *when)
{
    char day[11];
    text_append_html(b, text_clip(when, day, sizeof day));
    text_append(b, " ");
    sheet_add_time(b, when);
}

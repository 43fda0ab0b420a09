/* The small pieces of a view: numbers, shares, bars. */
#include "base/typeset.h"
#include "show/view.h"
#include <math.h>
#include <string.h>

#define BAR_CELLS 40
#define WHEN_SHOWN 16 /* characters of an instant up to the minute */

char *view_number(double value, char buffer[static VIEW_NUMBER])
{
    struct text_buffer digits = {0};
    struct text_buffer text = {0};
    double size = fabs(value);
    if (!isfinite(value)) {
        snprintf(buffer, VIEW_NUMBER, "-");
        return buffer;
    }
    if (size >= 1e12 || (size > 0 && size < 1e-4))
        text_appendf(&digits, "%.3g", size);
    else if (size >= 1000 || size == floor(size))
        text_appendf(&digits, "%.0f", size);
    else
        text_appendf(&digits, "%.4g", size);
    text_append(&text, value < 0 ? "-" : "");
    if (strchr(digits.data, 'e'))
        text_append(&text, digits.data);
    else
        typeset_digits(&text, digits.data, VIEW_NBSP);
    snprintf(buffer, VIEW_NUMBER, "%s", text.data);
    text_buffer_free(&digits);
    text_buffer_free(&text);
    return buffer;
}

char *view_count(double count, const char *noun, char buffer[static VIEW_COUNT])
{
    _Static_assert(VIEW_COUNT >= TYPESET_COUNT, "it holds what typeset makes");
    return typeset_count(count, noun, VIEW_NBSP, buffer);
}

char *view_rough(double value, char buffer[static VIEW_NUMBER])
{
    return typeset_rough(value, VIEW_NBSP, buffer);
}

char *view_about(double count, char buffer[static VIEW_NUMBER])
{
    return typeset_about(count, VIEW_NBSP, buffer);
}

char *view_small(double value, char buffer[static VIEW_NUMBER])
{
    struct text_buffer text = {0};
    text_appendf(&text, value < 1e-4 ? "%.0e" : "%.2g", value);
    snprintf(buffer, VIEW_NUMBER, "%s", value == 0 ? "0" : text.data);
    text_buffer_free(&text);
    return buffer;
}

char *view_percent(double share, char buffer[static VIEW_NUMBER])
{
    char percent[8];
    if (!isfinite(share))
        snprintf(buffer, VIEW_NUMBER, "-");
    else
        snprintf(buffer, VIEW_NUMBER, "%s" VIEW_NBSP "%%", text_percent(share, percent));
    return buffer;
}

char *view_chance(double probability, char buffer[static VIEW_NUMBER])
{
    char percent[8];
    if (!isfinite(probability))
        snprintf(buffer, VIEW_NUMBER, "-");
    else
        snprintf(buffer, VIEW_NUMBER, "%s" VIEW_NBSP "%%", text_chance(probability, percent));
    return buffer;
}

const char *view_likely(double probability)
{
    static const struct {
        double least;
        const char *word;
    } rows[] = {{0.95, "almost certain"}, {0.80, "very likely"}, {0.60, "likely"},
                {0.40, "about even"},     {0.20, "possible"},    {0.05, "unlikely"}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
        if (probability >= rows[i].least)
            return rows[i].word;
    return "very unlikely";
}

char *view_bits(double bits, char buffer[static VIEW_NUMBER])
{
    struct text_buffer text = {0};
    text_appendf(&text, "%+.1f", fabs(bits) < 0.05 ? 0.0 : bits);
    snprintf(buffer, VIEW_NUMBER, "%s", text.data);
    text_buffer_free(&text);
    return buffer;
}

char *view_bar(const struct view *v, double share, int cells, char buffer[static VIEW_BAR])
{
    const char *full = v->utf8 ? "━" : "=";
    const char *half = v->utf8 ? "╸" : "-";
    const char *none = v->utf8 ? "·" : ".";
    struct text_buffer text = {0};
    if (cells > BAR_CELLS)
        cells = BAR_CELLS;
    if (!(share > 0))
        share = 0;
    if (share > 1)
        share = 1;
    long halves = lround(share * cells * 2);
    for (int i = 0; i < cells; i++) {
        long left = halves - 2L * i;
        text_append(&text, left >= 2 ? full : left == 1 ? half : none);
    }
    snprintf(buffer, VIEW_BAR, "%s", text.data ? text.data : "");
    text_buffer_free(&text);
    return buffer;
}

char *view_spark(const struct view *v, const double *values, size_t count,
                 char buffer[static VIEW_BAR])
{
    static const char *const marks[] = {"▁", "▂", "▃", "▄", "▅", "▆", "▇", "█"};
    static const char *const plain[] = {"_", ".", ":", "-", "=", "+", "*", "#"};
    struct text_buffer text = {0};
    double most = 0;
    if (count > BAR_CELLS) {
        values += count - BAR_CELLS;
        count = BAR_CELLS;
    }
    for (size_t i = 0; i < count; i++)
        if (values[i] > most)
            most = values[i];
    for (size_t i = 0; i < count; i++) {
        if (!isfinite(values[i])) {
            text_append(&text, VIEW_NBSP);
            continue;
        }
        long step = most > 0 ? lround(values[i] / most * 7) : 0;
        text_append(&text, (v->utf8 ? marks : plain)[step < 0 ? 0 : step]);
    }
    snprintf(buffer, VIEW_BAR, "%s", text.data ? text.data : "");
    text_buffer_free(&text);
    return buffer;
}

char *view_when(const char *instant, char buffer[static VIEW_NUMBER])
{
    text_clip(instant, buffer, VIEW_NUMBER);
    if (strlen(buffer) > WHEN_SHOWN && (buffer[10] == 'T' || buffer[10] == ' ') &&
        buffer[13] == ':') {
        buffer[10] = ' ';
        buffer[WHEN_SHOWN] = '\0';
    }
    return buffer;
}

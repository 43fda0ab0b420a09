#include "base/csv_cell.h"
#include <assert.h>
#include <string.h>

/* Apostrophes, then a character that begins a formula. */
static bool is_formula(const char *text, size_t length)
{
    size_t at = 0;
    while (at < length && text[at] == '\'')
        at++;
    return at < length && text[at] && strchr("=+-@\t\r", text[at]);
}

void csv_cell_append(struct text_buffer *b, const char *text)
{
    text_append(b, is_formula(text, strlen(text)) ? "\"'" : "\"");
    for (; *text; text++) {
        if (*text == '"')
            text_append(b, "\"");
        text_append_bytes(b, text, 1);
    }
    text_append(b, "\"");
}

size_t csv_cell_escape(const char *text, size_t length)
{
    assert(text || length == 0);
    return length > 1 && text[0] == '\'' && is_formula(text, length);
}

#include "base/csv_cell.h"
#include "base/letter.h"
#include <assert.h>
#include <string.h>

/* Spreadsheets read the full-width signs as the plain ones. */
static const char *const WIDE[] = {"\uFF1D", "\uFF0B", "\uFF0D", "\uFF20", NULL};
/* Nobody sees them, and words with them are found by nobody. */
static const char *const UNSEEN[] = {"\u061C", "\u200B", "\u200E", "\u200F",
                                     "\u2060", "\uFEFF", NULL};

/* Bytes of the one that the text begins with, 0: with none. */
static size_t mark_of(const char *text, size_t length, const char *const *marks)
{
    for (; *marks; marks++)
        if (strlen(*marks) <= length && strncmp(text, *marks, strlen(*marks)) == 0)
            return strlen(*marks);
    return 0;
}

static size_t unseen_at(const char *text, unsigned *ret_code)
{
    size_t control = text_control_at(text, ret_code);
    return control ? control : mark_of(text, strnlen(text, 3), UNSEEN);
}

/* Apostrophes, then a character that begins a formula. */
static bool is_formula(const char *text, size_t length)
{
    size_t at = 0;
    while (at < length && text[at] == '\'')
        at++;
    if (at == length || !text[at])
        return false;
    return strchr("=+-@\t\r", text[at]) || mark_of(text + at, length - at, WIDE);
}

enum { MARK_BYTES = 6 }; /* "\u202E" */
#define CAPITAL_DIGITS "0123456789ABCDEF"

/* Bytes of what is written out at `text`, 0: it stands as it is. */
static size_t mark_at(const char *text, unsigned *ret_code)
{
    size_t bytes = unseen_at(text, ret_code);
    if (*text == '\\' && text[1] == 'u')
        return 1;
    return *text == '\n' || *text == '\t' ? 0 : bytes;
}

void csv_cell_append(struct text_buffer *b, const char *text)
{
    text_append(b, is_formula(text, strlen(text)) ? "\"'" : "\"");
    while (*text) {
        unsigned code;
        size_t mark = mark_at(text, &code), bytes = mark ? mark : 1;
        if (mark)
            text_appendf(b, "\\u%04X", code);
        else if (*text == '"')
            text_append(b, "\"\"");
        else
            text_append_bytes(b, text, bytes);
        text += bytes;
    }
    text_append(b, "\"");
}

/* The character that is written out there, as bytes; 0: none is. */
static size_t written_at(const char *text, char out[LETTER_BYTES + 1])
{
    unsigned same;
    uint32_t letter = 0;
    bool marked = strncmp(text, "\\u", 2) == 0 && strspn(text + 2, CAPITAL_DIGITS) >= 4;
    if (!marked || !letter_hex(text + 2, 4, &letter))
        return 0;
    size_t size = letter_utf8(letter, out);
    out[size] = '\0';
    return letter == '\\' || (letter && unseen_at(out, &same) == size) ? size : 0;
}

size_t csv_cell_unmark(char *text, size_t length)
{
    size_t to = 0;
    if (!memchr(text, '\\', length))
        return length;
    for (size_t at = 0; at < length;) {
        char bytes[LETTER_BYTES + 1];
        size_t size = at + MARK_BYTES <= length ? written_at(text + at, bytes) : 0;
        memmove(text + to, size ? bytes : text + at, size ? size : 1);
        to += size ? size : 1;
        at += size ? MARK_BYTES : 1;
    }
    text[to] = '\0';
    return to;
}

size_t csv_cell_escape(const char *text, size_t length)
{
    assert(text || length == 0);
    return length > 1 && text[0] == '\'' && is_formula(text, length);
}

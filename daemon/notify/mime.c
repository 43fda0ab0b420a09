#include "notify/mime.h"
#include <assert.h>
#include <ctype.h>
#include <string.h>

enum {
    LINE = 76,       /* RFC 2045 6.7, RFC 2047 section 2 */
    AROUND = 1 + 12, /* the blank, "=?UTF-8?B?" and "?=" */
    LETTER = 4       /* octets of the longest in UTF-8 */
};

bool mime_is_one_line(const char *value)
{
    for (; *value; value++) {
        if ((unsigned char)*value < 0x20 || *value == 0x7f)
            return false;
    }
    return true;
}

/* Parts between dots, none empty (RFC 5322 3.2.3 dot-atom); `most` octets each. */
static bool is_dotted(const char *text, size_t length, size_t most)
{
    size_t part = 0;
    for (size_t i = 0; i < length; i++) {
        unsigned char c = (unsigned char)text[i];
        if (c == '.' ? part == 0 : c <= ' ' || c >= 0x7f || strchr("\"(),:;<>@[]\\", c) != NULL)
            return false;
        part = c == '.' ? 0 : part + 1;
        if (part > most)
            return false;
    }
    return part > 0;
}

/* RFC 1123 2.1: letters, digits and hyphens, no label with a hyphen at its ends. */
static bool is_domain(const char *text)
{
    for (const char *p = text; *p; p++) {
        bool at_end = p == text || p[-1] == '.' || p[1] == '.' || !p[1];
        if (!isalnum((unsigned char)*p) && *p != '.' && (*p != '-' || at_end))
            return false;
    }
    return is_dotted(text, strlen(text), 63);
}

bool mime_is_address(const char *address)
{
    const char *at = strchr(address, '@');
    size_t local = at ? (size_t)(at - address) : 0;
    return *address != '-' && at && strlen(address) <= 254 && local <= 64 &&
           is_dotted(address, local, 64) && is_domain(at + 1);
}

const char *mime_domain(const char *address)
{
    return mime_is_address(address) ? strrchr(address, '@') + 1 : "localhost";
}

static void base64(struct text_buffer *out, const unsigned char *bytes, size_t length)
{
    assert(length > 0);
    static const char DIGITS[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    for (size_t i = 0; i < length; i += 3) {
        size_t have = length - i < 3 ? length - i : 3;
        unsigned group = (unsigned)bytes[i] << 16;
        if (have > 1)
            group |= (unsigned)bytes[i + 1] << 8;
        if (have > 2)
            group |= bytes[i + 2];
        char four[4] = {DIGITS[group >> 18], DIGITS[group >> 12 & 63], DIGITS[group >> 6 & 63],
                        DIGITS[group & 63]};
        for (size_t pad = have + 1; pad < 4; pad++)
            four[pad] = '=';
        text_append_bytes(out, four, 4);
    }
}

/* Octets that a word behind so many characters may hold. */
static size_t room_behind(size_t column)
{
    return column + AROUND < LINE ? (LINE - column - AROUND) / 4 * 3 : 0;
}

/* Bytes of the next word: as many whole characters as fit. */
static size_t word_length(const char *s, size_t room)
{
    assert(*s && room >= LETTER);
    size_t length = strlen(s);
    if (length <= room)
        return length;
    length = room;
    while (length > 1 && ((unsigned char)s[length] & 0xc0) == 0x80)
        length--;
    return length;
}

/* Plain ASCII whose words are short enough for lines, and blanks are where lines may break. */
static bool is_plain(const char *name, const char *value)
{
    size_t word = strlen(name) + 1;
    for (const char *p = value; *p; p++) {
        bool is_blank = *p == ' ';
        if ((unsigned char)*p >= 0x7f || (is_blank && (p == value || p[1] == ' ' || !p[1])))
            return false;
        word = is_blank ? 0 : word + 1;
        if (word >= LINE)
            return false;
    }
    return !strstr(value, "=?");
}

/* Folded before the blank that would lead beyond the line (RFC 5322 2.2.3): an urgent subject must
 * be readable to whatever sorts mail. */
static void write_folded(struct text_buffer *out, const char *name, const char *value)
{
    size_t column = strlen(name) + 1;
    while (*value) {
        size_t length = strcspn(value, " ");
        if (column + 1 + length > LINE) {
            text_append(out, "\n");
            column = 0;
        }
        text_appendf(out, " %.*s", (int)length, value);
        column += 1 + length;
        value += length + (value[length] == ' ');
    }
    text_append(out, "\n");
}

static void write_encoded(struct text_buffer *out, const char *name, const char *value)
{
    size_t column = strlen(name) + 1;
    if (room_behind(column) < LETTER) {
        text_append(out, "\n");
        column = 0;
    }
    for (; *value; column = 0) {
        size_t length = word_length(value, room_behind(column));
        text_append(out, " =?UTF-8?B?");
        base64(out, (const unsigned char *)value, length);
        text_append(out, "?=\n");
        value += length;
    }
}

bool mime_header(struct text_buffer *out, const char *name, const char *value)
{
    assert(name && *name && value);
    if (!mime_is_one_line(value))
        return false;
    text_appendf(out, "%s:", name);
    if (is_plain(name, value)) {
        write_folded(out, name, value);
        return true;
    }
    write_encoded(out, name, value);
    return true;
}

void mime_quoted_printable(struct text_buffer *out, const char *text)
{
    size_t column = 0;
    for (; *text; text++) {
        unsigned char c = (unsigned char)*text;
        if (c == '\n') {
            text_append(out, "\n");
            column = 0;
            continue;
        }
        bool ends_line = text[1] == '\n' || text[1] == '\0';
        bool literal = (c > ' ' && c < 0x7f && c != '=') || ((c == ' ' || c == '\t') && !ends_line);
        /* a lone dot would end the message for a program run without -i */
        if (c == '.' && column == 0)
            literal = false;
        size_t width = literal ? 1 : 3;
        if (column + width > LINE - 1) {
            text_append(out, "=\n");
            column = 0;
        }
        if (literal)
            text_append_bytes(out, text, 1);
        else
            text_appendf(out, "=%02X", c);
        column += width;
    }
    if (column)
        text_append(out, "\n");
}

/* RFC 6901 pointers looked up in the text itself, since a parsed value no longer knows its place.
 */
#include "base/jsonx.h"
#include "base/letter.h"
#include "base/text.h"
#include <string.h>

struct cursor {
    const char *bytes;
    size_t length, at;
};

static char peek(const struct cursor *c)
{
    return c->at < c->length ? c->bytes[c->at] : '\0';
}

static void skip_blanks(struct cursor *c)
{
    while (peek(c) == ' ' || peek(c) == '\t' || peek(c) == '\n' || peek(c) == '\r')
        c->at++;
}

static bool accept(struct cursor *c, char want)
{
    skip_blanks(c);
    if (peek(c) != want)
        return false;
    c->at++;
    return true;
}

static bool hex4(struct cursor *c, uint32_t *ret)
{
    bool good = letter_hex(c->bytes + c->at, c->length - c->at, ret);
    c->at += good ? 4 : 0;
    return good;
}

/* After a backslash. */
static bool read_escape(struct cursor *c, struct text_buffer *out)
{
    static const char names[] = "\"\\/bfnrt";
    static const char values[] = "\"\\/\b\f\n\r\t";
    char kind = peek(c);
    c->at++;
    if (kind != 'u') {
        const char *found = kind ? strchr(names, kind) : NULL;
        if (found)
            text_append_bytes(out, &values[found - names], 1);
        return found != NULL;
    }
    uint32_t high = 0;
    uint32_t low = 0;
    if (!hex4(c, &high))
        return false;
    if (high >= 0xD800 && high <= 0xDBFF) {
        if (c->at + 1 >= c->length || memcmp(c->bytes + c->at, "\\u", 2) != 0)
            return false;
        c->at += 2;
        if (!hex4(c, &low) || low < 0xDC00 || low > 0xDFFF)
            return false;
        high = 0x10000 + ((high - 0xD800) << 10) + (low - 0xDC00);
    }
    char utf8[LETTER_BYTES];
    text_append_bytes(out, utf8, letter_utf8(high, utf8));
    return true;
}

static bool read_string(struct cursor *c, struct text_buffer *out)
{
    if (!accept(c, '"'))
        return false;
    while (c->at < c->length) {
        char byte = c->bytes[c->at++];
        if (byte == '"')
            return true;
        if (byte != '\\')
            text_append_bytes(out, &byte, 1);
        else if (!read_escape(c, out))
            return false;
    }
    return false;
}

/* Past the closing quote; false if there is none. */
static bool skip_string(struct cursor *c)
{
    for (c->at++; c->at < c->length && c->bytes[c->at] != '"'; c->at++)
        if (c->bytes[c->at] == '\\')
            c->at++;
    return c->at++ < c->length;
}

/* Past the bracket that closes the one here; brackets are counted, not matched by kind. */
static bool skip_brackets(struct cursor *c)
{
    long depth = 0;
    while (c->at < c->length) {
        char byte = c->bytes[c->at];
        if (byte == '"') {
            if (!skip_string(c))
                return false;
            continue;
        }
        depth += byte == '[' || byte == '{';
        depth -= byte == ']' || byte == '}';
        c->at++;
        if (depth == 0)
            return true;
    }
    return false;
}

static bool skip_value(struct cursor *c)
{
    skip_blanks(c);
    char first = peek(c);
    if (first == '"')
        return skip_string(c);
    if (first == '[' || first == '{')
        return skip_brackets(c);
    size_t start = c->at;
    while (c->at < c->length && !strchr(",:]} \t\r\n", c->bytes[c->at]))
        c->at++;
    return c->at > start;
}

/* The next reference token of the pointer, unescaped; false at its end. */
static bool next_token(const char **pointer, struct text_buffer *out)
{
    const char *p = *pointer;
    if (*p != '/')
        return false;
    text_reset(out);
    text_append(out, "");
    for (p++; *p && *p != '/'; p++) {
        char byte = *p;
        if (byte == '~' && (p[1] == '0' || p[1] == '1'))
            byte = *++p == '0' ? '~' : '/';
        text_append_bytes(out, &byte, 1);
    }
    *pointer = p;
    return true;
}

enum found { FOUND, MISSING, BROKEN };

static enum found enter_object(struct cursor *c, const char *name)
{
    struct text_buffer key = {0};
    enum found result = BROKEN;
    c->at++;
    if (accept(c, '}'))
        return MISSING;
    do {
        text_reset(&key);
        if (!read_string(c, &key) || !accept(c, ':'))
            goto out;
        if (strcmp(key.data ? key.data : "", name) == 0) {
            result = FOUND;
            goto out;
        }
        if (!skip_value(c))
            goto out;
    } while (accept(c, ','));
    if (accept(c, '}'))
        result = MISSING;
out:
    text_buffer_free(&key);
    return result;
}

static enum found enter_array(struct cursor *c, const char *name)
{
    int64_t left = 0;
    bool leading_zero = name[0] == '0' && name[1] != '\0';
    bool index = name[0] >= '0' && name[0] <= '9' && !leading_zero;
    if (index && text_to_int64(name, &left))
        index = false;
    c->at++;
    if (accept(c, ']'))
        return MISSING;
    do {
        if (index && left-- == 0)
            return FOUND;
        if (!skip_value(c))
            return BROKEN;
    } while (accept(c, ','));
    return accept(c, ']') ? MISSING : BROKEN;
}

static enum found enter(struct cursor *c, const char *name)
{
    if (peek(c) == '{')
        return enter_object(c, name);
    if (peek(c) == '[')
        return enter_array(c, name);
    return MISSING;
}

bool jsonx_locate(const char *bytes, size_t length, const char *pointer, long *ret_line,
                  long *ret_column)
{
    struct cursor c = {bytes, length, 0};
    struct text_buffer token = {0};
    enum found found = FOUND;
    skip_blanks(&c);
    size_t place = c.at;
    while (next_token(&pointer, &token)) {
        found = enter(&c, token.data);
        if (found != FOUND)
            break;
        skip_blanks(&c);
        place = c.at;
    }
    text_buffer_free(&token);
    if (found == BROKEN || place >= length)
        return false;

    jsonx_place(bytes, place, ret_line, ret_column);
    return true;
}

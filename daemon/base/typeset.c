#include "base/typeset.h"
#include <assert.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

/* ---- lines ---- */

static size_t character_bytes(const char *s)
{
    size_t n = 1;
    while (((unsigned char)s[n] & 0xC0) == 0x80)
        n++;
    return n;
}

/* As it is shown: for one that no terminal gets stands a mark. */
static int columns_of(const char *s, size_t bytes)
{
    char one[16] = {0}, shown[16];
    memcpy(one, s, bytes < sizeof one - 1 ? bytes : sizeof one - 1);
    return text_columns(text_clip(one, shown, sizeof shown));
}

size_t typeset_break(const char *text, int width, size_t *ret_next)
{
    assert(text && ret_next);
    size_t at = 0;
    size_t blank = 0; /* the last blank seen, 0 if none */
    size_t soft = 0;  /* behind the last mark at which a name may be parted, 0 if none */
    int used = 0;
    while (text[at] && text[at] != '\n') {
        size_t n = character_bytes(text + at);
        if (text[at] == ' ' && at > 0)
            blank = at;
        int columns = columns_of(text + at, n);
        if (used + columns > width && text[at] != ' ')
            break;
        used += columns;
        at += n;
        if (n == 1 && strchr("_-/", text[at - 1]))
            soft = at;
    }
    size_t end = at;
    bool whole = text[at] == '\0' || text[at] == '\n';
    if (!whole && blank > 0)
        end = blank;
    else if (!whole && at == 0)
        end = character_bytes(text);
    else if (!whole && soft > 0)
        end = soft;
    size_t next = end;
    if (whole && text[at] == '\n')
        next++;
    else
        while (text[next] == ' ')
            next++;
    while (end > 0 && text[end - 1] == ' ')
        end--;
    assert(end <= next && (next > 0 || !*text)); /* each piece goes on */
    *ret_next = next;
    return end;
}

/* ---- numbers ---- */

void typeset_digits(struct text_buffer *out, const char *digits, const char *blank)
{
    assert(digits && blank);
    size_t whole = strspn(digits, "0123456789");
    for (size_t i = 0; i < whole; i++) {
        if (i > 0 && (whole - i) % 3 == 0)
            text_append(out, blank);
        text_append_bytes(out, digits + i, 1);
    }
    text_append(out, digits + whole);
}

char *typeset_rough(double value, const char *blank, char out[static TYPESET_NUMBER])
{
    struct text_buffer digits = {0}, text = {0};
    double size = fabs(value);
    if (!isfinite(value)) {
        snprintf(out, TYPESET_NUMBER, "-");
        return out;
    }
    int decimals = size >= 99.95 || size == floor(size) ? 0 : size >= 0.995 ? 1 : 2;
    if (size >= 1e15)
        text_appendf(&digits, "%.3g", size);
    else if (size > 0 && size < 0.005)
        text_append(&digits, "<0.01");
    else
        text_appendf(&digits, "%.*f", decimals, size);
    text_append(&text, value < 0 ? "-" : "");
    typeset_digits(&text, digits.data, blank);
    snprintf(out, TYPESET_NUMBER, "%s", text.data);
    text_buffer_free(&digits);
    text_buffer_free(&text);
    return out;
}

static bool ends(const char *noun, const char *with)
{
    size_t length = strlen(noun), of = strlen(with);
    return length >= of && strcmp(noun + length - of, with) == 0;
}

char *typeset_about(double count, const char *blank, char out[static TYPESET_NUMBER])
{
    char whole[TYPESET_NUMBER];
    if (!isfinite(count) || count >= 10 || fabs(count - round(count)) < 0.005)
        return typeset_rough(round(count), blank, out);
    if (count < 0.5)
        snprintf(out, TYPESET_NUMBER, "<1");
    else
        snprintf(out, TYPESET_NUMBER, "about%s%.30s", blank,
                 typeset_rough(round(count), blank, whole));
    return out;
}

char *typeset_count(double count, const char *noun, const char *blank,
                    char out[static TYPESET_COUNT])
{
    char number[TYPESET_NUMBER];
    int length = (int)strlen(noun);
    bool one = count == 1, y = ends(noun, "y") && !ends(noun, "ay") && !ends(noun, "ey");
    bool hissing = ends(noun, "s") || ends(noun, "sh") || ends(noun, "ch") || ends(noun, "x");
    snprintf(out, TYPESET_COUNT, "%s %.*s%s", typeset_rough(count, blank, number),
             one || !y ? length : length - 1, noun,
             one       ? ""
             : y       ? "ies"
             : hissing ? "es"
                       : "s");
    return out;
}

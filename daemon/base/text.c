#include "base/text.h"
#include "base/error.h"
#include <assert.h>
#include <errno.h>
#include <locale.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- allocation ---- */

static void *or_abort(void *p)
{
    if (!p) {
        fputs("out of memory\n", stderr);
        abort();
    }
    return p;
}

void *xmalloc(size_t size)
{
    return or_abort(malloc(size ? size : 1));
}

void *xcalloc(size_t count, size_t size)
{
    return or_abort(calloc(count ? count : 1, size ? size : 1));
}

void *xrealloc(void *p, size_t size)
{
    return or_abort(realloc(p, size ? size : 1));
}

char *xstrdup(const char *s)
{
    assert(s);
    return or_abort(strdup(s));
}

char *xstrndup(const char *s, size_t length)
{
    assert(s);
    return or_abort(strndup(s, length));
}

/* ---- strict numbers ---- */

static const char *skip_digits(const char *s)
{
    while (*s >= '0' && *s <= '9')
        s++;
    return s;
}

/* [+-] digits [. digits] [e [+-] digits], or [+-] . digits …: nothing before, nothing after. */
static bool is_decimal(const char *s)
{
    if (*s == '+' || *s == '-')
        s++;
    const char *end = skip_digits(s);
    bool whole = end > s;
    s = end;
    if (*s == '.') {
        end = skip_digits(s + 1);
        if (end == s + 1)
            return false;
        s = end;
    } else if (!whole) {
        return false;
    }
    if (*s == 'e' || *s == 'E') {
        s++;
        if (*s == '+' || *s == '-')
            s++;
        end = skip_digits(s);
        if (end == s)
            return false;
        s = end;
    }
    return *s == '\0';
}

/* The C library hands out one static object for "C", so this neither allocates nor leaks. */
static locale_t c_locale(void)
{
    return newlocale(LC_ALL_MASK, "C", (locale_t)0);
}

int text_to_double(const char *s, double *ret)
{
    if (!s || !is_decimal(s))
        return ERROR_INVALID;
    locale_t c = c_locale();
    double value = strtod_l(s, NULL, c);
    freelocale(c);
    if (!isfinite(value))
        return ERROR_INVALID;
    *ret = value;
    return 0;
}

int text_to_int64(const char *s, int64_t *ret)
{
    if (!s)
        return ERROR_INVALID;
    const char *digits = *s == '-' || *s == '+' ? s + 1 : s;
    const char *end = skip_digits(digits);
    if (end == digits || *end != '\0')
        return ERROR_INVALID;
    errno = 0;
    long long value = strtoll(s, NULL, 10);
    if (errno)
        return ERROR_INVALID;
    *ret = value;
    return 0;
}

/* ---- the buffer ---- */

static void reserve(struct text_buffer *b, size_t more)
{
    assert(b->length < b->capacity || (!b->data && b->length == 0));
    if (more > SIZE_MAX / 2 - b->length - 1)
        or_abort(NULL);
    size_t need = b->length + more + 1;
    if (need <= b->capacity)
        return;
    size_t capacity = b->capacity ? b->capacity : 64;
    while (capacity < need)
        capacity *= 2;
    b->data = xrealloc(b->data, capacity);
    b->capacity = capacity;
}

void text_append_bytes(struct text_buffer *b, const void *bytes, size_t length)
{
    assert(bytes || length == 0);
    reserve(b, length);
    if (length)
        memcpy(b->data + b->length, bytes, length);
    b->length += length;
    b->data[b->length] = '\0';
}

void text_append(struct text_buffer *b, const char *s)
{
    assert(s);
    text_append_bytes(b, s, strlen(s));
}

void text_appendf(struct text_buffer *b, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    text_vappendf(b, format, args);
    va_end(args);
}

void text_vappendf(struct text_buffer *b, const char *format, va_list args)
{
    locale_t c = c_locale();
    locale_t before = uselocale(c);
    va_list again;
    va_copy(again, args);
    reserve(b, 0);
    int length = vsnprintf(b->data + b->length, b->capacity - b->length, format, args);
    if (length < 0)
        or_abort(NULL);
    if ((size_t)length >= b->capacity - b->length) {
        reserve(b, (size_t)length);
        vsnprintf(b->data + b->length, b->capacity - b->length, format, again);
    }
    va_end(again);
    b->length += (size_t)length;
    assert(b->length < b->capacity);
    uselocale(before);
    freelocale(c);
}

void text_reset(struct text_buffer *b)
{
    b->length = 0;
    if (b->data)
        b->data[0] = '\0';
}

char *text_take(struct text_buffer *b)
{
    reserve(b, 0);
    char *data = b->data;
    data[b->length] = '\0';
    *b = (struct text_buffer){0};
    return data;
}

void text_buffer_free(struct text_buffer *b)
{
    free(b->data);
    *b = (struct text_buffer){0};
}

/* Bytes of a control character beyond ASCII, a separator or a mark of direction there (U+0080-9F,
 * U+2028-202E, U+2066-2069), 0: none is. */
static size_t turning_at(const unsigned char *s)
{
    if (s[0] == 0xC2 && s[1] >= 0x80 && s[1] < 0xA0)
        return 2;
    bool turns = s[0] == 0xE2 && ((s[1] == 0x80 && s[2] >= 0xA8 && s[2] <= 0xAE) ||
                                  (s[1] == 0x81 && s[2] >= 0xA6 && s[2] <= 0xA9));
    return turns ? 3 : 0;
}

void text_append_html(struct text_buffer *b, const char *s)
{
    assert(b && s);
    /* the last two begin marks that turn the reading direction, among other characters */
    static const char SPECIAL[] = "&<>\"'\xC2\xE2";
    static const char *const REFERENCE[] = {"&amp;", "&lt;", "&gt;", "&quot;", "&#39;"};
    while (*s) {
        size_t plain = strcspn(s, SPECIAL);
        text_append_bytes(b, s, plain);
        s += plain;
        if (!*s)
            break;
        size_t control = turning_at((const unsigned char *)s);
        if (control)
            text_append(b, " ");
        else if ((unsigned char)*s >= 0x80)
            text_append_bytes(b, s, 1);
        else
            text_append(b, REFERENCE[strchr(SPECIAL, *s) - SPECIAL]);
        s += control ? control : 1;
    }
}

void text_append_word(struct text_buffer *b, const char *s)
{
    assert(b && s);
    static const char PLAIN[] =
        "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_./:,+@%";
    bool plain = *s && s[strspn(s, PLAIN)] == '\0';
    text_append(b, plain ? "" : "'");
    for (const char *at = s; *at; at++)
        text_appendf(b, *at == '\'' ? "'\\''" : "%c", *at);
    text_append(b, plain ? "" : "'");
}

char *text_percent(double share, char out[8])
{
    assert(!isnan(share));
    double percent = share * 100;
    if (percent > 0 && percent < 1)
        snprintf(out, 8, "<1");
    else if (percent > 99 && percent < 100)
        snprintf(out, 8, ">99");
    else
        snprintf(out, 8, "%.0f", fmin(fmax(percent, 0), 100));
    return out;
}

char *text_chance(double probability, char out[8])
{
    static const double LEAST = 1e-6;
    return text_percent(fmin(fmax(probability, LEAST), 1 - LEAST), out);
}

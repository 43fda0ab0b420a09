#include "base/jsonx_quick.h"
#include "base/jsonx.h"
#include <stdlib.h>
#include <string.h>

/* So many digits are exact in a double, and so are powers of ten up to 22: a quotient of the two is
 * rounded once, as strtod() does. */
enum { DIGITS_MOST = 15, NAME_MOST = 128 };

struct reader {
    const char *at, *end;
    int depth;
};

static json_t *read_value(struct reader *r);

static void skip_blanks(struct reader *r)
{
    while (r->at < r->end && (*r->at == ' ' || *r->at == '\n' || *r->at == '\t' || *r->at == '\r'))
        r->at++;
}

/* Past blanks; true if it stood there, and then past it. */
static bool takes(struct reader *r, char c)
{
    skip_blanks(r);
    bool there = r->at < r->end && *r->at == c;
    r->at += there;
    return there;
}

/* ---- texts ---- */

/* The first byte that ends or escapes the text, or may not stand in one; NULL at the end. */
static const char *plain_end(const struct reader *r)
{
    const char *at = r->at;
    while (at < r->end && *at != '"' && *at != '\\' && (unsigned char)*at >= ' ')
        at++;
    return at < r->end ? at : NULL;
}

/* A text or number that is not written as most are, of `length` bytes. */
static json_t *read_other(struct reader *r, const char *from, size_t length)
{
    json_error_t why;
    json_t *value = json_loadb(from, length, JSON_DECODE_ANY, &why);
    r->at = from + length;
    return value;
}

static json_t *read_escaped(struct reader *r)
{
    const char *from = r->at - 1, *at = r->at;
    while (at < r->end && *at != '"')
        at += *at == '\\' && at + 1 < r->end ? 2 : 1;
    return at < r->end ? read_other(r, from, (size_t)(at + 1 - from)) : NULL;
}

/* Behind the opening quote. */
static json_t *read_text(struct reader *r)
{
    const char *stop = plain_end(r);
    if (!stop || *stop != '"')
        return stop && *stop == '\\' ? read_escaped(r) : NULL;
    json_t *value = json_stringn_nocheck(r->at, (size_t)(stop - r->at));
    r->at = stop + 1;
    return value;
}

/* ---- numbers and words ---- */

/* How many digits stand there; *ret goes on with them, as far as they are few. */
static int read_digits(struct reader *r, int64_t *ret)
{
    int count = 0;
    for (; r->at < r->end && *r->at >= '0' && *r->at <= '9'; r->at++, count++)
        if (*ret < INT64_C(1000000000000000))
            *ret = *ret * 10 + (*r->at - '0');
    return count;
}

static json_t *read_number(struct reader *r)
{
    static const double TEN_TO[DIGITS_MOST + 1] = {1e0, 1e1, 1e2,  1e3,  1e4,  1e5,  1e6,  1e7,
                                                   1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15};
    const char *from = r->at;
    bool minus = *r->at == '-';
    r->at += minus;
    const char *first = r->at;
    int64_t number = 0;
    int whole = read_digits(r, &number), after = 0;
    bool real = r->at < r->end && *r->at == '.';
    r->at += real;
    if (real)
        after = read_digits(r, &number);
    size_t rest = 0;
    while (r->at + rest < r->end && strchr("+-.0123456789Ee", r->at[rest]))
        rest++;
    if (whole == 0 || (whole > 1 && *first == '0') || (real && after == 0) || rest ||
        whole + after > DIGITS_MOST)
        return read_other(r, from, (size_t)(r->at - from) + rest);
    if (!real)
        return json_integer(minus ? -number : number);
    double value = (double)number / TEN_TO[after];
    return json_real(minus ? -value : value);
}

static json_t *read_word(struct reader *r)
{
    static const struct {
        const char *word;
        size_t length;
    } WORDS[] = {{"true", 4}, {"false", 5}, {"null", 4}};
    for (size_t i = 0; i < sizeof WORDS / sizeof WORDS[0]; i++) {
        if ((size_t)(r->end - r->at) < WORDS[i].length ||
            memcmp(r->at, WORDS[i].word, WORDS[i].length) != 0)
            continue;
        r->at += WORDS[i].length;
        return i == 0 ? json_true() : i == 1 ? json_false() : json_null();
    }
    return NULL;
}

/* ---- lists and objects ---- */

/* Behind an element: another one follows (1), the end (0), or neither (-1). */
static int goes_on(struct reader *r, char closing)
{
    if (takes(r, ','))
        return 1;
    return takes(r, closing) ? 0 : -1;
}

static json_t *read_list(struct reader *r)
{
    json_t *list = json_array();
    int more = !takes(r, ']');
    while (more > 0) {
        json_t *element = read_value(r);
        more = element && json_array_append_new(list, element) == 0 ? goes_on(r, ']') : -1;
    }
    if (more == 0)
        return list;
    json_decref(list);
    return NULL;
}

/* A name stands once. */
static bool read_member(struct reader *r, json_t *object)
{
    char name[NAME_MOST];
    if (!takes(r, '"'))
        return false;
    const char *stop = plain_end(r);
    size_t length = stop ? (size_t)(stop - r->at) : sizeof name;
    if (length >= sizeof name || *stop != '"')
        return false;
    memcpy(name, r->at, length);
    name[length] = '\0';
    r->at = stop + 1;
    json_t *value = takes(r, ':') ? read_value(r) : NULL;
    size_t before = json_object_size(object);
    return value && json_object_set_new_nocheck(object, name, value) == 0 &&
           json_object_size(object) > before;
}

static json_t *read_object(struct reader *r)
{
    json_t *object = json_object();
    int more = !takes(r, '}');
    while (more > 0)
        more = read_member(r, object) ? goes_on(r, '}') : -1;
    if (more == 0)
        return object;
    json_decref(object);
    return NULL;
}

static json_t *read_nested(struct reader *r, json_t *(*read)(struct reader *))
{
    if (r->depth == JSONX_DEPTH)
        return NULL;
    r->depth++;
    r->at++;
    json_t *value = read(r);
    r->depth--;
    return value;
}

static json_t *read_value(struct reader *r)
{
    skip_blanks(r);
    if (r->at == r->end)
        return NULL;
    switch (*r->at) {
    case '{':
        return read_nested(r, read_object);
    case '[':
        return read_nested(r, read_list);
    case '"':
        r->at++;
        return read_text(r);
    case 't':
    case 'f':
    case 'n':
        return read_word(r);
    default:
        return *r->at == '-' || (*r->at >= '0' && *r->at <= '9') ? read_number(r) : NULL;
    }
}

json_t *jsonx_quick(const char *bytes, size_t length)
{
    struct reader r = {bytes, bytes + length, 0};
    json_t *value = read_value(&r);
    skip_blanks(&r);
    if (value && r.at == r.end)
        return value;
    json_decref(value);
    return NULL;
}

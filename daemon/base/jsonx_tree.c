#include "base/jsonx_tree.h"
#include "base/jsonx.h"
#include <float.h>
#include <string.h>

struct tree {
    const char *at, *end;
    struct text_buffer plain; /* a string without its escapes */
};

static json_t *read_value(struct tree *t, int depth);

static void skip_blanks(struct tree *t)
{
    while (t->at < t->end && (*t->at == ' ' || *t->at == '\n' || *t->at == '\t' || *t->at == '\r'))
        t->at++;
}

static bool accept(struct tree *t, char want)
{
    skip_blanks(t);
    if (t->at == t->end || *t->at != want)
        return false;
    t->at++;
    return true;
}

/* ---- strings ---- */

static const char *plain_end(const char *at, const char *end)
{
    while (at < end && *at != '"' && *at != '\\' && (unsigned char)*at >= 0x20)
        at++;
    return at;
}

static bool add_escaped(struct tree *t, char kind)
{
    static const char NAMES[] = "\"\\/bfnrt", VALUES[] = "\"\\/\b\f\n\r\t";
    const char *found = kind ? strchr(NAMES, kind) : NULL;
    if (found)
        text_append_bytes(&t->plain, &VALUES[found - NAMES], 1);
    return found != NULL;
}

/* Behind the opening quote. What is returned is good until the next string. */
static bool read_text(struct tree *t, const char **ret, size_t *ret_length)
{
    const char *from = t->at;
    t->at = plain_end(from, t->end);
    if (t->at < t->end && *t->at == '"') {
        *ret = from;
        *ret_length = (size_t)(t->at++ - from);
        return true;
    }
    t->plain.length = 0;
    while (t->at < t->end && *t->at != '"') {
        text_append_bytes(&t->plain, from, (size_t)(t->at - from));
        if (*t->at != '\\' || t->end - t->at < 2 || !add_escaped(t, t->at[1]))
            return false;
        from = t->at + 2;
        t->at = plain_end(from, t->end);
    }
    if (t->at == t->end)
        return false;
    text_append_bytes(&t->plain, from, (size_t)(t->at++ - from));
    *ret = t->plain.data;
    *ret_length = t->plain.length;
    return true;
}

static json_t *read_string(struct tree *t)
{
    const char *text;
    size_t length;
    return read_text(t, &text, &length) ? json_stringn_nocheck(text, length) : NULL;
}

/* ---- numbers ---- */

struct number {
    json_int_t digits; /* as if there were no point */
    int count, tens;   /* of digits; the power of ten that they are times */
    bool negative, real;
};

static bool is_digit(const struct tree *t)
{
    return t->at < t->end && *t->at >= '0' && *t->at <= '9';
}

/* At least one digit. */
static bool read_digits(struct tree *t, struct number *n)
{
    enum { MOST = 18 }; /* that are an integer of 64 bits whichever they are */
    const char *from = t->at;
    for (; is_digit(t) && n->count <= MOST; n->count++)
        n->digits = 10 * n->digits + (*t->at++ - '0');
    return t->at > from && n->count <= MOST;
}

static bool read_behind_point(struct tree *t, struct number *n)
{
    const int before = n->count;
    if (t->at == t->end || *t->at != '.')
        return true;
    t->at++;
    n->real = true;
    bool good = read_digits(t, n);
    n->tens = before - n->count;
    return good;
}

static bool read_exponent(struct tree *t, struct number *n)
{
    struct number exponent = {.real = false};
    if (t->at == t->end || (*t->at != 'e' && *t->at != 'E'))
        return true;
    t->at++;
    n->real = true;
    bool negative = t->at < t->end && *t->at == '-';
    t->at += t->at < t->end && (*t->at == '-' || *t->at == '+');
    if (!read_digits(t, &exponent) || exponent.digits > 1000)
        return false;
    n->tens += (int)(negative ? -exponent.digits : exponent.digits);
    return true;
}

/* A power of ten up to 22 is a double, exactly, and so are digits up to 2^53: what comes of the two
 * is what strtod() makes of the text. */
static json_t *number_json(const struct number *n)
{
    static const double TENS[] = {1e0,  1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7,
                                  1e8,  1e9,  1e10, 1e11, 1e12, 1e13, 1e14, 1e15,
                                  1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22};
    enum { MOST = sizeof TENS / sizeof *TENS - 1 };
    if (!n->real)
        return json_integer(n->negative ? -n->digits : n->digits);
    if (n->tens > MOST || n->tens < -MOST || n->digits > (json_int_t)1 << DBL_MANT_DIG ||
        FLT_EVAL_METHOD != 0)
        return NULL;
    double digits = (double)n->digits;
    double value = n->tens < 0 ? digits / TENS[-n->tens] : digits * TENS[n->tens];
    return json_real(n->negative ? -value : value);
}

static json_t *read_number(struct tree *t)
{
    struct number n = {.negative = *t->at == '-'};
    t->at += n.negative;
    bool zero = t->at < t->end && *t->at == '0';
    if (!read_digits(t, &n) || (zero && n.count > 1) || !read_behind_point(t, &n) ||
        !read_exponent(t, &n))
        return NULL;
    return number_json(&n);
}

/* ---- values ---- */

static json_t *read_word(struct tree *t)
{
    static const struct {
        const char *word;
        size_t length;
    } WORDS[] = {{"true", 4}, {"false", 5}, {"null", 4}};
    for (int i = 0; i < 3; i++) {
        if ((size_t)(t->end - t->at) < WORDS[i].length ||
            memcmp(t->at, WORDS[i].word, WORDS[i].length) != 0)
            continue;
        t->at += WORDS[i].length;
        return i == 0 ? json_true() : i == 1 ? json_false() : json_null();
    }
    return NULL;
}

/* A name that is there already would not make the object larger. */
static bool add_member(struct tree *t, json_t *object, int depth)
{
    const char *name;
    size_t length, before = json_object_size(object);
    char few[64];
    if (!accept(t, '"') || !read_text(t, &name, &length) || length > sizeof few)
        return false;
    memcpy(few, name, length); /* the value may have escapes as well */
    json_t *value = accept(t, ':') ? read_value(t, depth) : NULL;
    return value && json_object_setn_new_nocheck(object, few, length, value) == 0 &&
           json_object_size(object) > before;
}

static json_t *read_object(struct tree *t, int depth)
{
    json_t *object = json_object();
    bool good = true, more = !accept(t, '}');
    while (good && more) {
        good = add_member(t, object, depth);
        more = good && accept(t, ',');
        good = good && (more || accept(t, '}'));
    }
    if (good)
        return object;
    json_decref(object);
    return NULL;
}

static json_t *read_array(struct tree *t, int depth)
{
    json_t *array = json_array();
    bool good = true, more = !accept(t, ']');
    while (good && more) {
        json_t *value = read_value(t, depth);
        good = value && json_array_append_new(array, value) == 0;
        more = good && accept(t, ',');
        good = good && (more || accept(t, ']'));
    }
    if (good)
        return array;
    json_decref(array);
    return NULL;
}

static json_t *read_value(struct tree *t, int depth)
{
    skip_blanks(t);
    if (t->at == t->end)
        return NULL;
    char first = *t->at;
    if (first == '{' || first == '[') {
        t->at++;
        if (depth == JSONX_DEPTH)
            return NULL;
        return first == '{' ? read_object(t, depth + 1) : read_array(t, depth + 1);
    }
    if (first == '"') {
        t->at++;
        return read_string(t);
    }
    return first == '-' || is_digit(t) ? read_number(t) : read_word(t);
}

json_t *jsonx_tree(const char *bytes, size_t length)
{
    struct tree t = {.at = bytes, .end = bytes + length};
    json_t *root = read_value(&t, 0);
    skip_blanks(&t);
    if (root && t.at < t.end) {
        json_decref(root);
        root = NULL;
    }
    text_buffer_free(&t.plain);
    return root;
}

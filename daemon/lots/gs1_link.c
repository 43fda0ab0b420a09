/* GS1 Digital Link URI syntax (GS1, release 1.x): after the domain and any path come a primary key
 * and its value, then the key's qualifiers in their order; attributes stand in the query.
 *     https://example.com/p/01/09501101530003/10/L%2F26?17=261201
 * Percent-decoding comes after splitting, so that %2F stays data. */
#include "base/text.h"
#include "lots/gs1.h"
#include "lots/gs1_ai.h"
#include <string.h>

enum { SEGMENTS = 32 };

static const struct {
    const char *key;
    const char *qualifiers[2]; /* alternatives, each in order, blank separated */
} KEYS[] = {
    {"00", {"", NULL}},     {"01", {"22 10 21", "235"}},  {"253", {"", NULL}},
    {"255", {"", NULL}},    {"401", {"", NULL}},          {"402", {"", NULL}},
    {"414", {"254", NULL}}, {"417", {"", NULL}},          {"8003", {"", NULL}},
    {"8004", {"", NULL}},   {"8006", {"22 10 21", NULL}}, {"8010", {"8011", NULL}},
    {"8013", {"", NULL}},   {"8017", {"8019", NULL}},     {"8018", {"8019", NULL}},
};

struct span {
    const char *at;
    size_t length;
};

static bool span_is(struct span span, const char *word)
{
    return strlen(word) == span.length && !memcmp(span.at, word, span.length);
}

static int hex(char c)
{
    if (c >= '0' && c <= '9')
        return c - '0';
    c |= 0x20;
    return c >= 'a' && c <= 'f' ? c - 'a' + 10 : -1;
}

/* Into `out` (GS1_DATA bytes). */
static int decode(struct span span, char *out, size_t *ret_length, struct error *err)
{
    size_t length = 0;
    for (size_t i = 0; i < span.length; i++) {
        int c = (unsigned char)span.at[i];
        if (c == '%') {
            int high = i + 2 < span.length ? hex(span.at[i + 1]) : -1;
            int low = i + 2 < span.length ? hex(span.at[i + 2]) : -1;
            if (high < 0 || low < 0)
                return error_set(err, ERROR_INVALID, "a percent sign without two hex digits");
            c = high * 16 + low;
            i += 2;
        }
        if (length + 1 >= GS1_DATA)
            return error_set(err, ERROR_TOO_LARGE, "an element over %d characters", GS1_DATA - 1);
        out[length++] = (char)c;
    }
    out[length] = '\0';
    *ret_length = length;
    return 0;
}

static int add(struct gs1 *gs1, const char *ai, struct span value, struct error *err)
{
    char data[GS1_DATA], gtin[GS1_GTIN];
    size_t length = 0;
    int rc = decode(value, data, &length, err);
    if (rc < 0)
        return rc;
    if (!strcmp(ai, "01") && length != 14 && gs1_gtin14(data, gtin)) /* older links: no zeros */
        return gs1_ai_add(gs1, ai, gtin, 14, err);
    return gs1_ai_add(gs1, ai, data, length, err);
}

static size_t split(struct span text, const char *at_any, struct span *parts, size_t most)
{
    size_t count = 0, start = 0;
    for (size_t i = 0; i <= text.length && count < most; i++)
        if (i == text.length || strchr(at_any, text.at[i])) {
            parts[count++] = (struct span){text.at + start, i - start};
            start = i + 1;
        }
    return count;
}

/* Takes qualifier/value pairs while they come in the order of `allowed`. */
static int add_qualifiers(struct gs1 *gs1, const char *allowed, const struct span *segment,
                          size_t count, struct error *err)
{
    const char *left = allowed;
    for (size_t i = 0; i < count; i += 2) {
        for (;;) {
            left += strspn(left, " ");
            size_t length = strcspn(left, " ");
            if (!length) {
                char found[GS1_AI] = "";
                memcpy(found, segment[i].at, segment[i].length < 4 ? segment[i].length : 4);
                error_set(err, ERROR_INVALID, "a qualifier out of its order (%s)",
                          *allowed ? allowed : "none may follow");
                error_field(err, found, NULL);
                return ERROR_INVALID;
            }
            char ai[GS1_AI] = "";
            memcpy(ai, left, length);
            left += length;
            if (!span_is(segment[i], ai))
                continue;
            if (i + 1 == count)
                return error_set(err, ERROR_INVALID, "identifier %s without a value", ai);
            int rc = add(gs1, ai, segment[i + 1], err);
            if (rc < 0)
                return rc;
            break;
        }
    }
    return 0;
}

static int parse_path(struct span path, struct gs1 *gs1, struct error *err)
{
    struct span segment[SEGMENTS];
    size_t count = split(path, "/", segment, SEGMENTS);
    while (count && !segment[count - 1].length) /* a slash at the end */
        count--;
    for (size_t i = 0; i + 1 < count; i++)
        for (size_t k = 0; k < sizeof KEYS / sizeof KEYS[0]; k++) {
            if (!span_is(segment[i], KEYS[k].key))
                continue;
            int rc = add(gs1, KEYS[k].key, segment[i + 1], err);
            if (rc < 0)
                return rc;
            size_t rest = count - i - 2;
            bool other =
                rest && KEYS[k].qualifiers[1] && span_is(segment[i + 2], KEYS[k].qualifiers[1]);
            return add_qualifiers(gs1, KEYS[k].qualifiers[other], segment + i + 2, rest, err);
        }
    return error_set(err, ERROR_NOT_FOUND, "a web address without a GS1 key in it");
}

static int parse_query(struct span query, struct gs1 *gs1, struct error *err)
{
    struct span part[SEGMENTS];
    size_t count = split(query, "&;", part, SEGMENTS);
    for (size_t i = 0; i < count; i++) {
        const char *equals = memchr(part[i].at, '=', part[i].length);
        size_t key = equals ? (size_t)(equals - part[i].at) : 0, digits;
        if (!key || key > 4 || !gs1_ai_at(part[i].at, key, &digits) || digits != key)
            continue; /* not ours: a tracking word, a language */
        char ai[GS1_AI] = "";
        memcpy(ai, part[i].at, key);
        int rc = add(gs1, ai, (struct span){equals + 1, part[i].length - key - 1}, err);
        if (rc < 0)
            return rc;
    }
    return 0;
}

int gs1_parse_link(const char *uri, struct gs1 *ret, struct error *err)
{
    struct gs1 gs1 = {0};
    if (strlen(uri) > GS1_INPUT)
        return error_set(err, ERROR_TOO_LARGE, "a web address over %d bytes", GS1_INPUT);
    const char *start = strstr(uri, "://");
    if (!start)
        return error_set(err, ERROR_INVALID, "not a web address");
    const char *path = strpbrk(start + 3, "/?#");
    if (!path || *path != '/')
        return error_set(err, ERROR_NOT_FOUND, "a web address without a GS1 key in it");
    size_t whole = strcspn(path, "#"), length = strcspn(path, "?#");
    int rc = parse_path((struct span){path + 1, length - 1}, &gs1, err);
    if (rc == 0 && length < whole)
        rc = parse_query((struct span){path + length + 1, whole - length - 1}, &gs1, err);
    if (rc < 0)
        return rc;
    *ret = gs1;
    return 0;
}

/* An element string, worked: "]C1" says GS1-128; then
 *     01 09501101530003   GTIN, 14 digits, so no separator follows
 *     17 261201           use by 2026-12-01, 6 digits
 *     10 L26329A <29>     lot, up to 20 characters, ended by FNC1
 *     21 S0042            serial number, ended by the end */
#include "lots/gs1.h"
#include "base/when.h"
#include "lots/gs1_ai.h"
#include <stdio.h>
#include <string.h>
#include <strings.h>

enum { SEPARATOR = 29 };

static bool ends_like_a_date(const char *lot)
{
    size_t length = strlen(lot);
    if (length < 9)
        return false;
    const char *tail = lot + length - 8;
    int32_t day;
    return tail[0] == '1' && strchr("1357", tail[1]) && strspn(tail, "0123456789") == 8 &&
           gs1_day(tail + 2, 2000, true, &day, NULL, NULL) == 0;
}

static void warn(struct gs1 *gs1)
{
    const char *lot = gs1_get(gs1, "10");
    gs1->separator_missing = lot && ends_like_a_date(lot);
}

/* Length of a symbology identifier at the start: "]" and two characters. */
static size_t symbology_length(const char *bytes, size_t length)
{
    static const char KNOWN[][4] = {"]C1", "]e0", "]e1", "]e2", "]d2", "]Q3", "]J1"};
    for (size_t i = 0; i < sizeof KNOWN / sizeof KNOWN[0]; i++)
        if (length >= 3 && !memcmp(bytes, KNOWN[i], 3))
            return 3;
    return 0;
}

static int parse_element(const char *bytes, size_t length, size_t *at, struct gs1 *gs1,
                         struct error *err)
{
    size_t digits;
    const struct gs1_ai *row = gs1_ai_at(bytes + *at, length - *at, &digits);
    if (!row) {
        char found[GS1_AI];
        snprintf(found, sizeof found, "%.*s", (int)(length - *at < 4 ? length - *at : 4),
                 bytes + *at);
        error_set(err, ERROR_INVALID, "no application identifier begins like this");
        error_field(err, NULL, found);
        error_at(err, NULL, 0, (long)*at + 1);
        return ERROR_INVALID;
    }
    char ai[GS1_AI] = "";
    memcpy(ai, bytes + *at, digits);
    size_t start = *at + digits, end = start;
    size_t most = row->rule == 'p' ? row->digits : length;
    while (end < length && bytes[end] != SEPARATOR && end - start < most)
        end++;
    int rc = gs1_ai_add(gs1, ai, bytes + start, end - start, err);
    if (rc < 0) {
        error_at(err, NULL, 0, (long)start + 1);
        return rc;
    }
    *at = end + (end < length && bytes[end] == SEPARATOR);
    return 0;
}

int gs1_parse(const char *bytes, size_t length, struct gs1 *ret, struct error *err)
{
    struct gs1 gs1 = {0};
    if (length > GS1_INPUT)
        return error_set(err, ERROR_TOO_LARGE, "an element string over %d bytes", GS1_INPUT);
    size_t at = symbology_length(bytes, length);
    if (at < length && bytes[at] == SEPARATOR)
        at++;
    if (at == length)
        return error_set(err, ERROR_INVALID, "an element string without elements");
    while (at < length) {
        int rc = parse_element(bytes, length, &at, &gs1, err);
        if (rc < 0)
            return rc;
    }
    warn(&gs1);
    *ret = gs1;
    return 0;
}

/* Length of "(01)" at `s` if the brackets hold a known identifier, else 0. */
static size_t bracket_length(const char *s)
{
    size_t digits;
    if (*s != '(' || !gs1_ai_at(s + 1, strnlen(s + 1, 4), &digits))
        return 0;
    return s[1 + digits] == ')' ? digits + 2 : 0;
}

int gs1_parse_bracketed(const char *text, struct gs1 *ret, struct error *err)
{
    struct gs1 gs1 = {0};
    const char *s = text + strspn(text, " ");
    if (strlen(text) > GS1_INPUT)
        return error_set(err, ERROR_TOO_LARGE, "an element string over %d bytes", GS1_INPUT);
    while (*s) {
        size_t opened = bracket_length(s);
        if (!opened) {
            error_set(err, ERROR_INVALID, "an application identifier in brackets is wanted here");
            error_at(err, NULL, 0, (long)(s - text) + 1);
            return ERROR_INVALID;
        }
        char ai[GS1_AI] = "";
        memcpy(ai, s + 1, opened - 2);
        const char *data = s + opened, *end = data;
        while (*end && !bracket_length(end))
            end++;
        size_t length = (size_t)(end - data);
        while (length && data[length - 1] == ' ') /* people put blanks between the elements */
            length--;
        int rc = gs1_ai_add(&gs1, ai, data, length, err);
        if (rc < 0) {
            error_at(err, NULL, 0, (long)(data - text) + 1);
            return rc;
        }
        s = end;
    }
    if (!gs1.count)
        return error_set(err, ERROR_INVALID, "an element string without elements");
    warn(&gs1);
    *ret = gs1;
    return 0;
}

/* Bare digits that begin with an identifier and a right GTIN: a scanner without identifiers. */
static bool begins_with_gtin(const char *text)
{
    char gtin[GS1_GTIN];
    if ((strncmp(text, "01", 2) != 0 && strncmp(text, "02", 2) != 0) || strnlen(text, 16) < 16)
        return false;
    memcpy(gtin, text + 2, 14);
    gtin[14] = '\0';
    return gs1_gtin_is_valid(gtin);
}

int gs1_parse_any(const char *text, struct gs1 *ret, struct error *err)
{
    size_t length = strlen(text);
    if (!strncasecmp(text, "http://", 7) || !strncasecmp(text, "https://", 8))
        return gs1_parse_link(text, ret, err);
    if (bracket_length(text + strspn(text, " ")))
        return gs1_parse_bracketed(text, ret, err);
    if (symbology_length(text, length) || strchr(text, SEPARATOR) || begins_with_gtin(text))
        return gs1_parse(text, length, ret, err);
    return error_set(err, ERROR_NOT_FOUND, "this is not GS1 data");
}

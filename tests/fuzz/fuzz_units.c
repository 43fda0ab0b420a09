/* Input: a number, a newline, a unit, a newline, a unit. The whole is also folded and cut. */
#include "base/text.h"
#include "base/units.h"
#include "base/uuid.h"
#include "fuzz.h"
#include <math.h>
#include <string.h>

static char *take_line(char **rest)
{
    char *line = *rest;
    char *end = strchr(line, '\n');
    *rest = end ? end + 1 : line + strlen(line);
    if (end)
        *end = '\0';
    return line;
}

static void check_text(const char *text)
{
    char out[24];
    char again[24];
    size_t length = strlen(text);
    size_t good = text_utf8_prefix(text, length);
    PROMISE(good <= length && text_is_utf8(text, good));
    PROMISE(text_columns(text) >= 0 && (size_t)text_columns(text) <= 2 * length);
    for (size_t size = 1; size <= sizeof out; size++) {
        text_clip(text, out, size);
        PROMISE(strlen(out) < size && text_is_utf8(out, strlen(out)));
        text_fold(text, out, size);
        PROMISE(strlen(out) < size && text_is_utf8(out, strlen(out)));
    }
    PROMISE(strncmp(text_fold(out, again, sizeof again), out, strlen(again)) == 0);
    char uuid[UUID_TEXT];
    if (uuid_normalize(text, uuid))
        PROMISE(text_equal_fold(uuid, text));
}

static void check_conversion(const char *number, const char *from, const char *to)
{
    double value = 0;
    double there = 0;
    double back = 0;
    int64_t whole = 0;
    if (text_to_int64(number, &whole) == 0)
        PROMISE(text_to_double(number, &value) == 0);
    if (text_to_double(number, &value))
        return;
    PROMISE(isfinite(value));
    if (units_convert(value, from, to, &there, NULL))
        return;
    PROMISE(units_known(from) && units_known(to) && isfinite(there));
    if (fabs(value) < 1e200 && fabs(value) > 1e-200)
        PROMISE(units_convert(there, to, from, &back, NULL) == 0 &&
                fabs(back - value) <= 1e-12 * (fabs(value) + 1000));
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    char *text = xstrndup((const char *)data, size);
    check_text(text);
    char *rest = text;
    char *number = take_line(&rest);
    char *from = take_line(&rest);
    check_conversion(number, from, take_line(&rest));
    free(text);
    return 0;
}

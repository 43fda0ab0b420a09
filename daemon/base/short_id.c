#include "base/short_id.h"
#include "base/text.h"
#include <assert.h>
#include <ctype.h>
#include <stdio.h>

char *short_id_format(char letter, int64_t number, char buffer[static SHORT_ID_TEXT])
{
    assert(letter == SHORT_ID_CASE || letter == SHORT_ID_HOLD);
    snprintf(buffer, SHORT_ID_TEXT, "%c%lld", letter, (long long)number);
    return buffer;
}

json_t *short_id_json(char letter, int64_t number)
{
    char name[SHORT_ID_TEXT];
    return number > 0 ? json_string(short_id_format(letter, number, name)) : json_null();
}

bool short_id_parse(char letter, const char *text, int64_t *ret)
{
    assert(text);
    const char *digits = toupper((unsigned char)*text) == letter ? text + 1 : text;
    int64_t number = 0;
    if (!isdigit((unsigned char)*digits) || text_to_int64(digits, &number) != 0 || number < 1)
        return false;
    *ret = number;
    return true;
}

/* What data of GS1 elements mean by themselves: numbers with check digits, dates, decimals. */
#include "base/when.h"
#include "lots/gs1.h"
#include <string.h>

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

char gs1_check_digit(const char *digits, size_t length)
{
    int sum = 0;
    for (size_t i = 0; i < length; i++) {
        if (!is_digit(digits[i]))
            return '\0';
        sum += (digits[i] - '0') * ((length - i) % 2 ? 3 : 1);
    }
    return length ? "0123456789"[(10 - sum % 10) % 10] : '\0';
}

bool gs1_gtin_is_valid(const char *digits)
{
    size_t length = strlen(digits);
    if (length != 8 && length != 12 && length != 13 && length != 14)
        return false;
    if (strspn(digits, "0") == length || strspn(digits, "0123456789") != length)
        return false;
    return gs1_check_digit(digits, length - 1) == digits[length - 1];
}

bool gs1_gtin14(const char *digits, char out[static GS1_GTIN])
{
    if (!gs1_gtin_is_valid(digits))
        return false;
    size_t length = strlen(digits);
    memset(out, '0', 14 - length);
    memcpy(out + 14 - length, digits, length + 1);
    return true;
}

const char *gs1_get(const struct gs1 *gs1, const char *ai)
{
    for (size_t i = 0; i < gs1->count; i++)
        if (!strcmp(gs1->element[i].ai, ai))
            return gs1->element[i].data;
    return NULL;
}

int gs1_day(const char *yymmdd, int receipt_year, bool end_of_month, int32_t *ret_day,
            bool *ret_month_only, struct error *err)
{
    if (strlen(yymmdd) != 6 || strspn(yymmdd, "0123456789") != 6)
        return error_set(err, ERROR_INVALID, "a date has six digits, YYMMDD");
    int yy = (yymmdd[0] - '0') * 10 + yymmdd[1] - '0';
    int month = (yymmdd[2] - '0') * 10 + yymmdd[3] - '0';
    int day = (yymmdd[4] - '0') * 10 + yymmdd[5] - '0';
    int ahead = yy - receipt_year % 100;
    int century = receipt_year / 100 * 100;
    if (ahead >= 51)
        century -= 100;
    else if (ahead <= -50)
        century += 100;
    int year = century + yy;
    if (month < 1 || month > 12)
        return error_set(err, ERROR_INVALID, "there is no month %02d", month);
    bool month_only = day == 0;
    if (month_only && end_of_month)
        for (day = 31; !day_is_valid(year, month, day);)
            day--;
    else if (month_only)
        day = 1;
    /* 29 February is judged in the year meant, which the caller's receipt year decides */
    if (!day_is_valid(year, month, day))
        return error_set(err, ERROR_INVALID, "there is no day %02d in month %d of %d", day, month,
                         year);
    *ret_day = day_from_civil(year, month, day);
    if (ret_month_only)
        *ret_month_only = month_only;
    return 0;
}

#include "lots/code_date.h"
#include "base/when.h"

bool code_date_of_year(int year, int ordinal, int32_t *ret_day)
{
    if (year < 1 || year > 9998 || ordinal < 1 || ordinal > (day_leap_year(year) ? 366 : 365))
        return false;
    *ret_day = day_from_civil(year, 1, 1) + ordinal - 1;
    return true;
}

static bool of_year(int year, const struct code_date *date, int32_t *ret_day)
{
    if (date->day_of_year != CODE_DATE_NONE)
        return code_date_of_year(year, date->day_of_year, ret_day);
    if (year < 1 || year > 9998 || !day_is_valid(year, date->month, date->day))
        return false;
    *ret_day = day_from_civil(year, date->month, date->day);
    return true;
}

bool code_date_latest(const struct code_date *date, int32_t received_day, int max_age_days,
                      int32_t *ret_day)
{
    int newest, unused_month, unused_day, period = date->period;
    if (date->year < 0 || (period > 1 && date->year >= period))
        return false;
    day_to_civil(received_day + 1, &newest, &unused_month, &unused_day);
    /* leap days come every four years, at the turn of some centuries every eight; with a one-digit
     * year the same digit is a leap year every twenty (forty) years */
    for (int y = newest; y >= newest - 40 - 2 * period && y > 0; y--) {
        int32_t found;
        if ((period > 1 && y % period != date->year) || !of_year(y, date, &found) ||
            found > received_day + 1)
            continue;
        if (max_age_days && received_day - found > max_age_days)
            return false;
        *ret_day = found;
        return true;
    }
    return false;
}

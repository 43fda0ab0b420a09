#include "lots/code_date.h"
#include "base/when.h"

bool code_date_of_year(int year, int ordinal, int32_t *ret_day)
{
    if (year < 1 || year > 9998 || ordinal < 1 || ordinal > (day_leap_year(year) ? 366 : 365))
        return false;
    *ret_day = day_from_civil(year, 1, 1) + ordinal - 1;
    return true;
}

static bool of_year(int year, int month, int day, int32_t *ret_day)
{
    if (!month)
        return code_date_of_year(year, day, ret_day);
    if (year < 1 || year > 9998 || !day_is_valid(year, month, day))
        return false;
    *ret_day = day_from_civil(year, month, day);
    return true;
}

/* month 0: `day` is the day of the year */
static bool latest(int year, int period, int month, int day, int32_t received_day, int max_age_days,
                   int32_t *ret_day)
{
    int newest, unused_month, unused_day;
    if (year < 0 || (period > 1 && year >= period))
        return false;
    day_to_civil(received_day + 1, &newest, &unused_month, &unused_day);
    /* leap days come every four years, at the turn of some centuries every eight; with a one-digit
     * year the same digit is a leap year every twenty (forty) years */
    for (int y = newest; y >= newest - 40 - 2 * period && y > 0; y--) {
        int32_t found;
        if ((period > 1 && y % period != year) || !of_year(y, month, day, &found) ||
            found > received_day + 1)
            continue;
        if (max_age_days && received_day - found > max_age_days)
            return false;
        *ret_day = found;
        return true;
    }
    return false;
}

bool code_date_ordinal(int year, int period, int ordinal, int32_t received_day, int max_age_days,
                       int32_t *ret_day)
{
    return ordinal >= 1 && latest(year, period, 0, ordinal, received_day, max_age_days, ret_day);
}

bool code_date_calendar(int year, int period, int month, int day_of_month, int32_t received_day,
                        int max_age_days, int32_t *ret_day)
{
    return month >= 1 && month <= 12 &&
           latest(year, period, month, day_of_month, received_day, max_age_days, ret_day);
}

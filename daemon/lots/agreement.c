#include "lots/agreement.h"
#include "base/when.h"
#include <assert.h>
#include <stdlib.h>
#include <string.h>

void agreement_defaults(struct agreement *ret)
{
    static const struct agreement DEFAULTS = {
        .unrecorded = 0.01,
        .unrecorded_day = 0.2,
        .misread_odds = 50,
        .wrong_pack = 0.02,
        .product_wrong = 0.03,
        .scanned_wrong = 0.005,
        .code_date_day_off = 0.01,
        .code_date_week_off = 0.005,
        .code_date_swapped = 0.005,
        .code_date_year_off = 0.003,
        .code_date_wrong = 0.03,
        .code_date_spread_days = 40,
        .store_wrong = 0.05,
        .bought_wrong = 0.05,
        .bought_late = 0.05,
        .found_wrong = 0.02,
        .reported = {{0, 0.1},
                     {0.3, 0.7},
                     {0.6, 1},
                     {1, 0.8},
                     {1.5, 0.25},
                     {2.5, 0.05},
                     {6, 0.004},
                     {30, 0.0002}},
        .reported_count = 8,
    };
    *ret = DEFAULTS;
}

double agreement_age(const struct agreement *a, double age_days, double shelf_life_days)
{
    assert(a->reported_count >= 2);
    const double clock_slack_days = 0.25; /* clocks of plant and desk differ, a date is typed off */
    if (age_days < -clock_slack_days)
        return 0;
    double age = age_days <= 0 ? 0 : age_days / (shelf_life_days > 1 ? shelf_life_days : 1);
    size_t i = 0;
    while (i < a->reported_count && a->reported[i].age <= age)
        i++;
    if (i == 0)
        return a->reported[0].weight;
    if (i == a->reported_count)
        return a->reported[i - 1].weight;
    double from = a->reported[i - 1].age, to = a->reported[i].age;
    assert(from <= age && age < to);
    double share = (age - from) / (to - from);
    return a->reported[i - 1].weight * (1 - share) + a->reported[i].weight * share;
}

double agreement_age_days(const struct agreement *a, double shelf_life_days)
{
    double sum = 0;
    for (size_t i = 1; i < a->reported_count; i++)
        sum += (a->reported[i].age - a->reported[i - 1].age) *
               (a->reported[i].weight + a->reported[i - 1].weight) / 2;
    return sum * (shelf_life_days > 1 ? shelf_life_days : 1);
}

double agreement_product(const struct agreement *a, int products, bool same, bool scanned)
{
    assert(products >= 0);
    double wrong = scanned ? a->scanned_wrong : a->product_wrong;
    if (products < 2)
        return 1;
    return same ? 1 - wrong : wrong / (products - 1);
}

/* The day with month and day exchanged, or the day itself where that is none. */
static int32_t swapped(int32_t day)
{
    int year, month, day_of_month;
    day_to_civil(day, &year, &month, &day_of_month);
    return day_is_valid(year, day_of_month, month) ? day_from_civil(year, day_of_month, month)
                                                   : day;
}

static int32_t years_on(int32_t day, int years)
{
    int year, month, day_of_month;
    day_to_civil(day, &year, &month, &day_of_month);
    return day_is_valid(year + years, month, day_of_month)
               ? day_from_civil(year + years, month, day_of_month)
               : day;
}

double agreement_code_date(const struct agreement *a, int32_t stated, int32_t code_day)
{
    assert(stated != WHEN_UNKNOWN_DAY && a->code_date_spread_days > 0);
    double rest = a->code_date_wrong / a->code_date_spread_days;
    int32_t off = abs(stated - code_day);
    if (off == 0)
        return 1 - 2 * a->code_date_day_off - 2 * a->code_date_week_off - a->code_date_swapped -
               a->code_date_year_off - a->code_date_wrong;
    double p = off <= a->code_date_spread_days ? rest : rest / 100;
    if (off == 1)
        p += a->code_date_day_off;
    if (off == 7)
        p += a->code_date_week_off;
    if (stated == swapped(code_day))
        p += a->code_date_swapped;
    if (stated == years_on(code_day, 1) || stated == years_on(code_day, -1))
        p += a->code_date_year_off / 2;
    return p;
}

double agreement_code_date_any(const struct agreement *a)
{
    return 1 / a->code_date_spread_days;
}

size_t agreement_code_days(int32_t stated, int32_t days[static AGREEMENT_DAYS])
{
    const int32_t meant[AGREEMENT_DAYS] = {
        stated,     stated - 1, stated + 1,          swapped(stated),
        stated - 7, stated + 7, years_on(stated, 1), years_on(stated, -1)};
    size_t count = 0;
    for (size_t i = 0; i < AGREEMENT_DAYS; i++) {
        bool seen = false;
        for (size_t j = 0; j < count; j++)
            seen = seen || days[j] == meant[i];
        if (!seen)
            days[count++] = meant[i];
    }
    return count;
}

double agreement_bought(const struct agreement *a, int32_t bought_day, int32_t packed_day,
                        int32_t code_day)
{
    assert(a->bought_wrong + a->bought_late < 1);
    if (bought_day == WHEN_UNKNOWN_DAY)
        return 1;
    int32_t days = code_day >= packed_day ? code_day - packed_day + 1 : 1;
    bool on_sale = bought_day >= packed_day && bought_day <= code_day;
    double spread = a->code_date_spread_days > days ? a->code_date_spread_days - days + 1 : 1;
    bool late = bought_day > code_day && bought_day <= code_day + AGREEMENT_LATE_DAYS;
    double p = late ? a->bought_late / AGREEMENT_LATE_DAYS : 0;
    return on_sale ? (1 - a->bought_wrong - a->bought_late) / days : p + a->bought_wrong / spread;
}

double agreement_found(const struct agreement *a, int32_t found_day, int32_t packed_day)
{
    assert(a->found_wrong > 0 && a->found_wrong < 1);
    if (found_day == WHEN_UNKNOWN_DAY)
        return 1;
    return found_day >= packed_day ? 1 - a->found_wrong : a->found_wrong;
}

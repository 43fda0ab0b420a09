/* Dates as plants and labels write them: day-of-year codes whose year has one digit, two or none,
 * and the date printed on the pack. Each is resolved against the day the complaint came. Pure.
 *
 * Day-of-year ("Julian" on the shop floor) is ISO 8601's ordinal date. A one-digit year comes back
 * every ten years: the latest reading that is not after the day of receipt plus one is taken (one
 * day, because a plant east of the desk may be a day ahead). */
#ifndef ODDLOAF_LOTS_CODE_DATE_H
#define ODDLOAF_LOTS_CODE_DATE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Day 1..366 of a year; false if the year has no such day. */
bool code_date_of_year(int year, int day_of_year, int32_t *ret_day);

/* The latest day <= received_day + 1 with that day of year, in a year that ends in `year` (0..9 for
 * period 10, 0..99 for period 100; period 1: any year), not older than max_age_days (0: any age).
 * False if there is none. */
bool code_date_ordinal(int year, int period, int day_of_year, int32_t received_day,
                       int max_age_days, int32_t *ret_day);
/* The same for a month and day. */
bool code_date_calendar(int year, int period, int month, int day_of_month, int32_t received_day,
                        int max_age_days, int32_t *ret_day);

struct code_date_printed {
    int32_t day;
    size_t from, to; /* bytes of the text that were the date, with words like "best by" */
};
/* Finds a printed date: 2026-11-27, 11/27/26, 27.11.2026, 27 NOV 2026, NOV 27, 27NOV26 (English and
 * Spanish month names). With slashes the month comes first if `month_first`, unless only the other
 * way is a date; with dots the day comes first. Without a year: the one that brings it nearest to
 * the day of receipt. At most one date may be there; false if there is none or several. */
bool code_date_find(const char *text, bool month_first, int32_t received_day,
                    struct code_date_printed *ret);

#endif

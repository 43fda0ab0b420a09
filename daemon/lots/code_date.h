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

/* A day as a code writes it: by the day of the year or by month and day. */
enum { CODE_DATE_NONE = -1 };
struct code_date {
    int year, period; /* the year ends so: 0..9 of 10, 0..99 of 100; period 1: any year */
    int day_of_year;  /* CODE_DATE_NONE: by month and day */
    int month, day;
};
/* The latest such day <= received_day + 1, not older than max_age_days (0: any age). False if there
 * is none. */
bool code_date_latest(const struct code_date *date, int32_t received_day, int max_age_days,
                      int32_t *ret_day);

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

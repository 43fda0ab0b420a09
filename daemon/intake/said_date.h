/* Dates as people say them on the phone: "yesterday", "Mon", "11/19", "nov 19", "2 days ago",
 * "2026-11-19". Pure: today is given. Numbers with slashes are read month first
 * (SAID_DAY_FIRST: day first), with dots day
 * first, unless only the other order is a date. */
#ifndef ODDLOAF_INTAKE_SAID_DATE_H
#define ODDLOAF_INTAKE_SAID_DATE_H

#include "base/error.h"
#include <stdbool.h>
#include <stdint.h>

#define SAID_DATE_TEXT 64

enum said_span {
    SAID_PAST, /* something that happened: never after today, a year left out is the latest */
    SAID_NEAR, /* a code date: may lie ahead, a year left out is the nearest */
    SAID_FULL, /* in a file: a whole date only, nothing that depends on the day it is read */
    SAID_DAY_FIRST = 4 /* a flag beside them: with slashes the day comes first */
};

/* Days since 1970-01-01, as base/when.h counts them. ERROR_INVALID says what was not understood. */
int said_date(const char *text, int32_t today, enum said_span span, int32_t *ret_day,
              struct error *err);
/* In which order day and month of "11/03/2026" or "03.11.2026" stand, by the text alone. */
enum said_order {
    SAID_ORDER_NONE,  /* it is no such date, or the same day either way */
    SAID_ORDER_MONTH, /* only month first is a date */
    SAID_ORDER_DAY,   /* only day first is */
    SAID_ORDER_BOTH   /* either is */
};
/* *ret_dotted: with dots, which nobody writes month first. */
enum said_order said_date_order(const char *text, bool *ret_dotted);
/* "Thu 2026-11-19, 6 days ago" */
char *said_date_show(int32_t day, int32_t today, char buffer[static SAID_DATE_TEXT]);

#endif

/* Lot-code patterns: how a plant writes line, day and time into its codes. A pattern is a PCRE2
 * expression with named groups, held to small match limits, so that no expression of a rule file
 * and no text of a caller can stall the desk.
 *
 * Groups that are understood: line, shift, product, plant, serial (kept as words); yyyy, yy, y, doy
 * (day of year), mm, dd, m (a letter a month), hhmm, hh, mi. An expression is written without
 * anchors; it fits a text as a whole, or a part of it that stands by itself. */
#ifndef ODDLOAF_LOTS_CODE_PATTERN_H
#define ODDLOAF_LOTS_CODE_PATTERN_H

#include "base/error.h"
#include "base/length.h"
#include "base/when.h"
#include <stdbool.h>
#include <stddef.h>

enum {
    CODE_PATTERN_WORD = LENGTH_CODE + 1,
    CODE_PATTERN_CODE = 64,
    CODE_PATTERN_TEXT = 256,
    CODE_PATTERN_DAYS = 40 /* of packing whose packs are on sale or at home, about */
};

struct code_pattern;

/* What a rule file says of one pattern; the strings are only read during code_pattern_new(). */
struct code_pattern_rule {
    const char *plant, *name, *expression;
    const char *code;          /* template of the code as printed: "L{line} {y}{doy}"; NULL none */
    const char *month_letters; /* for group m; NULL: none */
    int32_t effective_from, effective_to; /* production days, WHEN_UNKNOWN_DAY: open */
    bool is_code_date;                    /* the day is the code date, not the day of production */
    int day_starts_min;                   /* minute at which the production day begins */
    int max_age_days;                     /* of a day without a full year */
};

/* Errors: err->field names the member at fault; for the expression, err->column is the place in
 * it (from 1). */
int code_pattern_new(const struct code_pattern_rule *rule, struct code_pattern **ret,
                     struct error *err);
void code_pattern_free(struct code_pattern *pattern); /* NULL is fine */

struct code_pattern_reading {
    char pattern[CODE_PATTERN_WORD], plant[CODE_PATTERN_WORD]; /* names */
    char line[CODE_PATTERN_WORD], shift[CODE_PATTERN_WORD], product[CODE_PATTERN_WORD],
        serial[CODE_PATTERN_WORD];
    char code[CODE_PATTERN_CODE]; /* as the plant prints it; "" without a template */
    int32_t day;                  /* production day (or code date), WHEN_UNKNOWN_DAY */
    bool is_code_date;
    int minute;          /* of the clock, -1 unknown */
    bool next_morning;   /* the clock time falls on the calendar day after the production day */
    bool whole;          /* the pattern took the text as a whole */
    size_t from, to;     /* bytes of the text that fitted */
    double alternatives; /* how many codes this pattern could have shown, about */
    char wrong[CODE_PATTERN_WORD]; /* what of it cannot be: "day 400", "time 2560" */
};

/* Upper case, blanks single. 0 if it fits and the day is a day, the latest that has come if any has
 * within the pattern's age, else one that is to come within it; ERROR_NOT_FOUND if it does not fit;
 * ERROR_INVALID if it fits as a whole and no such day or time can be: then `wrong` of *ret alone;
 * ERROR_TOO_LARGE when the match ran into its limits. Thread-safe. */
int code_pattern_read(const struct code_pattern *pattern, const char *text, int32_t received_day,
                      struct code_pattern_reading *ret, struct error *err);
/* The code of a lot packed so many days later and like this one in all else. False if the pattern
 * does not take the code whole. */
bool code_pattern_later(const struct code_pattern *pattern, const char *code, int32_t received_day,
                        int days, char out[static CODE_PATTERN_CODE]);
/* Is the time of packing in the code? */
bool code_pattern_holds_time(const struct code_pattern *pattern);
/* How many codes the pattern could show on packs that are on sale, about. */
double code_pattern_alternatives(const struct code_pattern *pattern);
const char *code_pattern_plant(const struct code_pattern *pattern);
/* The instant of a reading's day and time in the plant's zone; of the day's start if no time. */
int64_t code_pattern_instant_ms(const struct code_pattern_reading *reading, const struct tz *tz);

#endif

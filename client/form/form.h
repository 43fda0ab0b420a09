/* What people type made into the fields of a complaint (intake/fields.h): options, files and the
 * interview all set fields through form_set(). */
#ifndef ODDLOAF_CLIENT_FORM_FORM_H
#define ODDLOAF_CLIENT_FORM_FORM_H

#include "base/error.h"
#include "intake/fields.h"
#include "intake/said_date.h"
#include <jansson.h>
#include <stdbool.h>
#include <stdint.h>

struct tz;

struct form_day {
    int32_t today;
    int32_t latest;      /* that it is at any of the company's plants; below today: today */
    bool full;           /* from a file: only whole dates, see SAID_FULL */
    bool day_first;      /* the plant writes 19/11 */
    const struct tz *tz; /* whose day it is, with its plants' (base/tz_of.h); NULL: UTC */
};

/* A day as people say it, in the plant's order. A whole date may be a plant's, where it is that day
 * already. */
int form_date(const char *text, const struct form_day *day, enum said_span span, int32_t *ret,
              struct error *err);
/* Reads `text` and sets the field. Empty text unsets it. ERROR_INVALID carries field and value
 * (never the value of a contact field) and says what would be taken. */
int form_set(json_t *complaint, const struct field *field, const char *text,
             const struct form_day *day, struct error *err);
/* One quantity; empty text changes nothing. */
int form_set_measured(json_t *complaint, const char *quantity, const char *text, struct error *err);
/* As read back to a person: dates unambiguous, words with what they mean. Caller frees. */
char *form_show(const json_t *complaint, const struct field *field, const struct form_day *day);
/* "2026-11-20T09:14:00-05:00" for now, there. */
char *form_now(const struct tz *tz, char buffer[static 40]);

#endif

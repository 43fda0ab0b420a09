/* GS1 data as scanners send it and labels print it: element strings (application identifiers with
 * FNC1, transmitted as ASCII 29, between fields of open length), the bracketed text under a
 * barcode, and GS1 Digital Link URIs. Pure: nothing is fetched, no clock.
 *
 * Formats of the data: GS1 General Specifications section 3, in the machine-readable form of the
 * GS1 Barcode Syntax Dictionary (GS1 AISBL, 2025). What must accompany what (a lot needs its GTIN)
 * is not enforced: a caller may hold half a label. */
#ifndef ODDLOAF_LOTS_GS1_H
#define ODDLOAF_LOTS_GS1_H

#include "base/error.h"
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { GS1_ELEMENTS = 24, GS1_AI = 5, GS1_DATA = 91, GS1_GTIN = 15, GS1_INPUT = 2048 };

struct gs1_element {
    char ai[GS1_AI];
    char data[GS1_DATA];
};
struct gs1 {
    struct gs1_element element[GS1_ELEMENTS];
    size_t count;
    /* the lot ends like a date element: a separator was probably lost. Nothing is guessed. */
    bool separator_missing;
};

/* Mod 10 with weights 3, 1 from the right: the check digit ('0'..'9') for a payload of digits, 0 if
 * it holds anything else or is empty. */
char gs1_check_digit(const char *digits, size_t length);
/* True for 8, 12, 13 or 14 digits, not all zero, of which the last is their check digit. */
bool gs1_gtin_is_valid(const char *digits);
/* The same number as 14 digits (zeros in front). False if it is not valid. */
bool gs1_gtin14(const char *digits, char out[static GS1_GTIN]);

/* A scanner's element string. Symbology identifiers (]C1 ]e0 ]d2 ]Q3 ]J1) and a leading FNC1 are
 * skipped, FNC1 after a field of fixed length and at the end is tolerated. err->column is the place
 * in `bytes`, err->field the application identifier. */
int gs1_parse(const char *bytes, size_t length, struct gs1 *ret, struct error *err);
/* "(01)09501101530003(10)L26329A": what people type. A bracket inside data is data unless it opens
 * a known identifier. */
int gs1_parse_bracketed(const char *text, struct gs1 *ret, struct error *err);
/* https://any.domain/any/path/01/{GTIN}[/22/..][/10/..][/21/..][?17=..]: qualifiers in that order
 * only; unknown query keys and the fragment are skipped. */
int gs1_parse_link(const char *uri, struct gs1 *ret, struct error *err);
/* Takes whichever of the three `text` looks like. ERROR_NOT_FOUND if it looks like none: then it is
 * not GS1 data, and nothing is wrong. */
int gs1_parse_any(const char *text, struct gs1 *ret, struct error *err);

/* Data of the first element with that identifier, NULL if there is none. */
const char *gs1_get(const struct gs1 *gs1, const char *ai);
/* YYMMDD with the century rule: 51 to 99 years ahead is the century before, 50 to 99 years back
 * the one after. Day 00 means the month: its last day if `end_of_month` (dates until which goods
 * keep), else its first; *ret_month_only (may be NULL) tells. */
int gs1_day(const char *yymmdd, int receipt_year, bool end_of_month, int32_t *ret_day,
            bool *ret_month_only, struct error *err);

#endif

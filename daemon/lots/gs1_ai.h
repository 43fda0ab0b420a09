/* Inside gs1 only: which application identifiers there are and what their data may be. */
#ifndef ODDLOAF_LOTS_GS1_AI_H
#define ODDLOAF_LOTS_GS1_AI_H

#include "lots/gs1.h"

struct gs1_ai {
    char first[GS1_AI], last[GS1_AI]; /* a range of identifiers of equal length */
    unsigned char digits;             /* data begins with exactly this many digits */
    unsigned char more_min, more_max; /* then so many further characters */
    char more;                        /* 'N' digits, 'X' GS1 character set 82, 'Z' base 64 */
    char rule;                        /* 'p' fixed length, no FNC1 needed; ' ' FNC1 needed */
    unsigned char check_at;           /* length of the digits that end in a check digit, 0 none */
    bool date;                        /* the first six digits are YYMMDD, day 00 allowed */
};

/* The identifier that `text` begins with, NULL if none does. *ret_length: its digits. */
const struct gs1_ai *gs1_ai_at(const char *text, size_t length, size_t *ret_length);
/* Checks `data` against the identifier and adds it. */
int gs1_ai_add(struct gs1 *gs1, const char *ai, const char *data, size_t length, struct error *err);

#endif

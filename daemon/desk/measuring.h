/* One result of a laboratory or a retained sample, as people write it, checked against what the
 * rules know and what can be so of the lot. */
#ifndef ODDLOAF_DESK_MEASURING_H
#define ODDLOAF_DESK_MEASURING_H

#include "base/length.h"
#include "rank/triage.h"
#include "store/evidence.h"

enum { MEASURING_SAID = 80 };

struct measuring {
    char quantity[LENGTH_WORD + 1]; /* the rules' name, or as it was written */
    char said[MEASURING_SAID + 1];  /* "104 degF"; "" takes the result back */
    double value;                   /* in `unit`; NAN: words, or what the rules do not know */
    char unit[17];
    char word[LENGTH_WORD + 1]; /* one of the rules', or "" */
    bool known;
    const char
        *like; /* of one that is unknown: the name that may be meant, the catalogue's; NULL */
};

/* `value`: JSON text or number, null takes the result back. A name the rules do not know is no
 * error. ERROR_INVALID, with the quantity as the field: no result of it can be so. */
int measuring_read(const struct triage *triage, const char *quantity, const json_t *value,
                   struct measuring *ret, struct error *err);
/* A test made at `at_ms` by somebody who tells of it at `now_ms`. ERROR_INVALID says what is so of
 * the lot. */
int measuring_check(const struct measuring *m, const struct evidence_lot *lot, const struct tz *tz,
                    int64_t at_ms, struct error *err);

#endif

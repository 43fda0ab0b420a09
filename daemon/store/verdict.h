/* Verdicts: the confirmed cause of a case, how it was confirmed and by whom. */
#ifndef ODDLOAF_STORE_VERDICT_H
#define ODDLOAF_STORE_VERDICT_H

#include "base/length.h"
#include "store/ranking.h"

struct verdict_row {
    int64_t id, case_id, at_ms, as_of_ms, opened_ms;
    int64_t lot_packed_ms; /* of the case's lot */
    int revision;
    char symptom[16], cause[64], confirmed_by[24], by_name[LENGTH_PERSON + 1];
    char note[LENGTH_NOTE + 1];
    char lot_plant[LENGTH_CODE + 1], lot_line[LENGTH_CODE + 1]; /* both empty: no lot is known */
    char plant[LENGTH_CODE + 1];                                /* the case's; "" the company's */
    const struct ranking_cause *said; /* by its ranking; lives until the callback returns */
    int said_count;                   /* 0: settled before it was ranked */
};
typedef int (*verdict_each)(void *arg, const struct verdict_row *row);
struct verdict_new {
    int64_t case_id, at_ms;
    const char *cause, *confirmed_by;
    const char *note; /* NULL none */
    const char *by_name;
};
/* Settles the case (keeps its newest ranking). ERROR_CONFLICT if a verdict stands, or the case has
 * no complaints. */
int verdict_add(struct store *store, const struct verdict_new *verdict, struct error *err);
/* ERROR_NOT_FOUND if none stands. */
int verdict_reopen(struct store *store, int64_t case_id, const char *note, const char *by_name,
                   int64_t now_ms, struct error *err);
/* Grows with every verdict given and every one taken back. */
int verdict_serial(struct store *store, int64_t *ret, struct error *err);
/* Standing verdicts given in it, by time. */
int verdict_between(struct store *store, struct when_span span, verdict_each each, void *arg,
                    struct error *err);
/* Is it of a case of that plant? NULL or "": of all. */
bool verdict_is_of(const struct verdict_row *row, const char *plant);
int verdict_of_case(struct store *store, int64_t case_id, verdict_each each, void *arg,
                    struct error *err);

#endif

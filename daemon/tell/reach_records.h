/* Inside tell/: what a lot's own records say of a cause, whatever it shares with another lot. */
#ifndef ODDLOAF_TELL_REACH_RECORDS_H
#define ODDLOAF_TELL_REACH_RECORDS_H

#include "rank/case_rank.h"

struct reach_asked {
    const struct triage *triage;
    const struct rule_cause *cause;
    int symptom;
    int64_t as_of_ms; /* nothing read later is looked at */
};
enum { REACH_BECAUSE = 256 };
struct reach_told {
    double share; /* that it has the fault, by the cause's reach_fact; NAN: that is not known */
    double bits;  /* of the cause's evidence on quantities of the lot, weighed as in a ranking */
    /* The quantity that speaks loudest for the cause, "core temperature at packing: 49.3 degC,
     * target 38"; "" if none does. */
    char because[REACH_BECAUSE];
};
int reach_records_ask(const struct reach_asked *asked, const struct lot_records *records,
                      const struct lot_record *record, struct reach_told *ret, struct error *err);

#endif

/* What the tests of rankings share beside the cases: the rules in force. */
#ifndef ODDLOAF_TESTS_RANK_FIXTURE_H
#define ODDLOAF_TESTS_RANK_FIXTURE_H

#include "../facts/fixture.h"
#include "rank/case_rank.h"

static inline struct triage *fixture_triage(struct fixture *f)
{
    struct triage *triage = NULL;
    struct error err = {0};
    if (triage_new(f->rules, NULL, fixture_print_fault, NULL, &triage, &err))
        fail_msg("%s", err.text);
    return triage;
}

#endif

/* Whether rankings count what verdicts confirmed nearby (nearby.h): the plant's own decision, off
 * until QA switches it on, kept with everybody who switched it, and when. What is learned is never
 * kept: it is worked out of the verdicts, so switched off nothing is left of it. */
#ifndef ODDLOAF_RANK_LEARNING_H
#define ODDLOAF_RANK_LEARNING_H

#include "rank/triage.h"

/* Under which the store keeps the switches (store_setting_set):
 * {"switches":[{"on","by","at","at_ms"}…]}, oldest first. */
#define LEARNING_SETTING "learning"

/* Takes what is kept; the hash of the rules becomes another, so that all is ranked again; of
 * a company for all of its plants. Once,
 * before the snapshot is shared. ERROR_INVALID if it cannot be read; nothing is changed then. */
int learning_apply(struct triage *triage, const json_t *kept, struct error *err);

bool learning_is_on(const struct triage *triage);
bool learning_was_on(const struct triage *triage, int64_t at_ms);
/* What is kept; NULL: never switched. Borrowed. */
const json_t *learning_kept(const struct triage *triage);

struct learning_switch {
    bool on;
    const char *by, *at; /* `at` for people */
    int64_t at_ms;
};
/* What is to be kept after one more switch. New reference. */
json_t *learning_switched(const struct triage *triage, const struct learning_switch *one);

#endif

/* rules/lots.json: how each plant writes its lot codes, how they are misread, how what else is said
 * agrees with a lot. Loaded whole, checked whole, never changed afterwards. No store: the client
 * checks by it, too. */
#ifndef ODDLOAF_LOTS_LOT_RULES_H
#define ODDLOAF_LOTS_LOT_RULES_H

#include "base/error.h"
#include <stdbool.h>
#include <stdint.h>

struct lot_matcher;

/* Told of every fault of the rule file (source, line, column, field, value, text). */
typedef void (*lot_report)(void *arg, const struct error *fault);
/* Reads rules/lots.json. All faults are reported (`report` may be NULL); then the first is also in
 * `err` and its code returned, and there is no matcher. */
int lot_rules_load(const char *path, lot_report report, void *arg, struct lot_matcher **ret,
                   struct error *err);
/* No patterns, everything else as compiled in. */
struct lot_matcher *lot_rules_default(void);
void lot_rules_free(struct lot_matcher *matcher); /* NULL is fine */
/* Dates with slashes: does the plant write the month first? */
bool lot_rules_month_first(const struct lot_matcher *matcher);
/* Another one where the rule file says anything else. */
uint64_t lot_rules_mark(const struct lot_matcher *matcher);

#endif

/* Inside lots/ only: what a matcher is made of. Never changed after loading. */
#ifndef ODDLOAF_LOTS_MATCHER_H
#define ODDLOAF_LOTS_MATCHER_H

#include "lots/agreement.h"
#include "lots/code_pattern.h"
#include "lots/match.h"
#include "lots/product_named.h"
#include "lots/reading.h"
#include "lots/walk.h"

enum { MATCHER_PATTERNS = 200 };

struct lot_matcher {
    uint64_t mark; /* of the rule file's bytes */
    struct reading reading;
    struct walk_costs costs; /* from `reading` */
    struct agreement agreement;
    bool month_first; /* of printed dates with slashes */
    struct code_pattern *pattern[MATCHER_PATTERNS];
    size_t pattern_count;
};

/* Has a code of the plant (NULL or "": of any) the time of packing in it? In match.c. */
bool matcher_holds_time(const struct lot_matcher *matcher, const char *plant);

/* "Honey Oat, best by Nov 27": who has no code says the name where the code is asked for. What was
 * understood then holds no code, and the product, if it is one; beside a code that is read the name
 * helps. In match.c. */
int match_named(struct store *store, struct lot_parsed *parsed, struct product_named *ret,
                struct error *err);

#endif

/* What a cause does to a lot, as its rule file states it, for the models to predict with:
 *   {"recorded":["dose","ph","water","packing","baking","storage","softener","leaks","spores"]}
 *   {"set":{"core_at_pack_c":46,…}}  {"times":{"dose":0.5,"spores":20,"softener":0.3}}
 *   {"kept_c":32}  from packing on
 * Read once, when the rules are loaded. */
#ifndef ODDLOAF_RULES_CHANGE_H
#define ODDLOAF_RULES_CHANGE_H

#include "base/doc.h"
#include "models/lot_conditions.h"

enum { CHANGE_NUMBERS = 12 }; /* that "set" can name */

struct change {
    unsigned recorded;          /* bit 1 << part: taken from the lot as made */
    double set[CHANGE_NUMBERS]; /* NAN: left alone */
    double times[3];            /* dose, spores, softener; 1: left alone */
    double kept_c;              /* NAN: left alone */
    const json_t *written;      /* as the rule file has it; borrowed */
};

/* False after faults. */
bool change_read(const struct doc_place *place, struct change *ret);
/* Whether two change the same things to the same values, however they are written. */
bool change_equal(const struct change *a, const struct change *b);
/* The lot as specified with the change; `change` NULL: with none. */
void change_apply(const struct change *change, const struct lot_conditions *made,
                  const struct lot_conditions *specified, struct lot_conditions *ret);

#endif

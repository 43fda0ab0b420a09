/* Lots made and sent as events of EPCIS 2.0 (GS1, JSON binding), for other programs of the chain.
 */
#ifndef ODDLOAF_SHOW_EPCIS_H
#define ODDLOAF_SHOW_EPCIS_H

#include "base/when.h"
#include <jansson.h>
#include <stdbool.h>

struct epcis_lot_event {
    bool shipped;                     /* else: made */
    const char *lot, *product, *gtin; /* gtin "" none */
    int64_t at_ms, units;
    int32_t code_day;          /* of one made */
    const char *route, *store; /* of one shipped; store "" none */
};
/* A lot is named by its Digital Link where its product has a GTIN and its code is one that GS1
 * allows, else by an address of ours that leads nowhere. */
json_t *epcis_event(const struct tz *tz, const struct epcis_lot_event *event);
/* What stands before the first event, and after the last; malloc'd. Commas part them. */
char *epcis_head(int64_t now_ms);
char *epcis_tail(void);

#endif

/* The company's time zone, with its plants' others, and whether it writes the day or the month
 * first; the zone decides what "today" and a date's midnight are: the machine at hand may stand
 * elsewhere. Asked of the daemon when it is first needed; while that one is away, what it last
 * said, kept in the folder of the spool; this machine's only where no daemon ever said. */
#ifndef ODDLOAF_CLIENT_DELIVER_ZONE_H
#define ODDLOAF_CLIENT_DELIVER_ZONE_H

#include "deliver/transport.h"
#include "form/form.h"

struct zone;

struct zone *zone_new(struct transport *transport); /* borrowed */
void zone_free(struct zone *z);                     /* NULL is fine */
/* Now, there, and the latest day that it is at any plant; its zone is borrowed until zone_free().
 */
struct form_day zone_day(struct zone *z);

#endif

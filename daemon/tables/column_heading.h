/* What the heading of a plant's column says: which of our columns it is, and in which unit. */
#ifndef ODDLOAF_TABLES_COLUMN_HEADING_H
#define ODDLOAF_TABLES_COLUMN_HEADING_H

#include "base/record_kind.h"
#include "tables/column_map.h"

enum { COLUMN_HEADING_NAME = 160 };

struct column_heading {
    const char *ours;       /* "flour_kg"; NULL: nothing that is known */
    int sure;               /* COLUMN_NAMES_SURE, _LIKELY or _NONE */
    char unit[COLUMN_UNIT]; /* as the heading writes it; "" it names none */
    /* What stands where a unit does and is none of this column's ("Flour (sacks)", "Core lb"): what
     * such a column holds is not known. "" nothing does. */
    char odd[COLUMN_UNIT];
};

/* "Flour lb", "Flour (lbs)", "FlourLb", "flour_lb", "Flour, lb", "Flour in lb", "lbs of flour". */
void column_heading_read(enum record_kind kind, const char *heading, struct column_heading *ret);
/* The column of ours that a target of a map means, "flour" in "lb": flour_kg, core_at_pack in degF:
 * core_at_pack_c. NULL: none that is known here (a plant's own quantity). */
const char *column_heading_own(enum record_kind kind, const char *name, const char *unit);

#endif

/* What plants call our columns and quantities, in the languages of their sheets. */
#ifndef ODDLOAF_TABLES_COLUMN_NAMES_H
#define ODDLOAF_TABLES_COLUMN_NAMES_H

#include "base/record_kind.h"

enum { COLUMN_NAMES_SURE = 3, COLUMN_NAMES_LIKELY = 2, COLUMN_NAMES_NONE = 0 };

/* The best of our columns of a kind for a header without its unit, and how sure: its own name or
 * one of its other names is sure, words of one among others are likely, the more the better. */
int column_names_find(enum record_kind kind, const char *header, const char **ret_name);
/* The quantity of `name` without its suffix and a unit of it, "core_at_pack" and "degF"; NULL: none
 * that has another name here. */
const char *column_names_quantity(const char *name, const char *unit);
/* A header of a day alone, "day", "datum": joined to columns of times. */
int column_names_is_day(const char *header);

#endif

/* Inside rules/catalogue*.c only: what the handle holds. */
#ifndef ODDLOAF_RULES_CATALOGUE_INSIDE_H
#define ODDLOAF_RULES_CATALOGUE_INSIDE_H

#include "rules/catalogue.h"
#include <stdatomic.h>

enum {
    CATALOGUE_LIMIT = 500, /* of a file's rows */
    CATALOGUE_QUANTITIES = CATALOGUE_LIMIT + PRESERVERS_MOST * PRESERVER_MEASURES,
    CATALOGUE_SLOTS = 2048,
    CATALOGUE_COLUMNS = 16
};

struct catalogue {
    atomic_int references;
    int64_t from_ms, to_ms;
    struct catalogue_quantity quantities[CATALOGUE_QUANTITIES];
    struct catalogue_place places[CATALOGUE_LIMIT];
    struct catalogue_column columns[CATALOGUE_COLUMNS];
    struct preservers preservers;
    int quantity_count, place_count, column_count;
    int16_t slots[CATALOGUE_SLOTS]; /* of quantities by hash of the name: index + 1, 0 free */
};

/* Puts the last quantity into the look-up; false if its name is there already. */
bool catalogue_index_last(struct catalogue *catalogue);

#endif

/* What the settings call plants, beside what lots on record bear: a slip in either makes a plant
 * whose people see nothing and whose mail goes to others. */
#ifndef ODDLOAF_SERVE_PLANT_NAMES_H
#define ODDLOAF_SERVE_PLANT_NAMES_H

#include "base/text.h"
#include "serve/config.h"
#include "store/store.h"

/* Names, ", " between; nothing while the settings name no plant, or no lot is on record. */
struct plant_names {
    struct text_buffer without_lots; /* that the settings name and no lot bears */
    struct text_buffer not_named;    /* that lots bear and the settings do not name */
};
int plant_names_read(const struct config *config, struct store *store, struct plant_names *ret,
                     struct error *err);
void plant_names_clear(struct plant_names *names);

#endif

#include "serve/plant_asked.h"
#include "base/text.h"
#include "store/lot_find.h"
#include <string.h>

enum { NAMED_BYTES = 200 }; /* what fits an error */

struct looking {
    const char *plant;
    bool found;
    struct text_buffer others;
};

static int look(void *arg, const char *plant)
{
    struct looking *l = arg;
    l->found |= strcmp(plant, l->plant) == 0;
    if (l->others.length < NAMED_BYTES)
        text_appendf(&l->others, " %s", plant);
    return 0;
}

int plant_asked(const struct request *rq, struct store *store, const char **ret, struct error *err)
{
    struct looking l = {.plant = request_query(rq, "plant")};
    *ret = rq->sees_all ? l.plant : rq->seen.plant[0]; /* serve/plants.h saw to it */
    if (!rq->sees_all || !l.plant)
        return 0;
    int rc = lot_find_plants(store, look, &l, err);
    if (!rc && !l.found) {
        rc = error_set(err, ERROR_INVALID, "is no plant on record%s%s",
                       l.others.length ? ": those are" : "", l.others.length ? l.others.data : "");
        error_field(err, "plant", l.plant);
    }
    text_buffer_free(&l.others);
    return rc;
}

#include "serve/plant_asked.h"
#include "base/text.h"
#include "store/lot_find.h"
#include <string.h>

enum { NAMED_BYTES = 180 }; /* what fits a hint */

struct looking {
    const struct setup *setup;
    const char *plant;
    bool found;
    struct text_buffer names;
};

static void look_at(struct looking *l, const char *plant)
{
    l->found = l->found || strcmp(plant, l->plant) == 0;
    if (l->names.length < NAMED_BYTES)
        text_appendf(&l->names, "%s%s", l->names.length ? ", " : "", plant);
}

static int look(void *arg, const char *plant)
{
    struct looking *l = arg;
    if (config_plant_named(l->setup->config, plant) < 0)
        look_at(l, plant);
    return 0;
}

/* Those of the settings, and those that only lots name. */
static int look_at_all(struct looking *l, struct store *store, struct error *err)
{
    for (int i = 0; i < config_plant_count(l->setup->config); i++)
        look_at(l, config_plant_name(l->setup->config, i));
    return l->found ? 0 : lot_find_plants(store, look, l, err);
}

int plant_asked_check(const struct request *rq, const struct setup *setup, struct store *store,
                      const char *plant, struct error *err)
{
    struct looking l = {.setup = setup, .plant = plant};
    int rc = rq->sees_all ? look_at_all(&l, store, err) : 0;
    for (int i = 0; i < rq->seen.count; i++)
        look_at(&l, rq->seen.plant[i]);
    if (!rc && !l.found) {
        rc = error_set(err, ERROR_INVALID, "%s",
                       *plant ? "is no plant that is named here"
                              : "is missing: this is of one plant");
        error_field(err, "plant", plant);
        error_hint(err, "%s%.180s", l.names.length ? "one of: " : "no lot and no setting names one",
                   l.names.length ? l.names.data : "");
    }
    text_buffer_free(&l.names);
    return rc;
}

int plant_asked(const struct request *rq, const struct setup *setup, struct store *store,
                const char **ret, struct error *err)
{
    *ret = rq->sees_all ? request_query(rq, "plant")
                        : rq->seen.plant[0]; /* serve/plants.h saw to it */
    return rq->sees_all && *ret ? plant_asked_check(rq, setup, store, *ret, err) : 0;
}

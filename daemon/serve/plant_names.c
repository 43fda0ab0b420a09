#include "serve/plant_names.h"
#include "store/lot_find.h"

struct comparing {
    const struct config *config;
    bool borne[CONFIG_PLANTS]; /* by a lot, by the place in the settings */
    struct plant_names *names;
};

static void add(struct text_buffer *names, const char *plant)
{
    text_appendf(names, "%s%s", names->length ? ", " : "", plant);
}

static int take(void *arg, const char *plant)
{
    struct comparing *c = arg;
    int at = config_plant_named(c->config, plant);
    if (at < 0)
        add(&c->names->not_named, plant);
    else
        c->borne[at] = true;
    return 0;
}

int plant_names_read(const struct config *config, struct store *store, struct plant_names *ret,
                     struct error *err)
{
    struct comparing c = {.config = config, .names = ret};
    int count = config_plant_count(config);
    int64_t first_ms, newest_ms = WHEN_UNKNOWN_MS;
    *ret = (struct plant_names){0};
    int rc = count ? lot_find_span(store, &first_ms, &newest_ms, err) : 0;
    if (rc || newest_ms == WHEN_UNKNOWN_MS)
        return rc;
    rc = lot_find_plants(store, take, &c, err);
    for (int plant = 0; plant < count && !rc; plant++)
        if (!c.borne[plant])
            add(&ret->without_lots, config_plant_name(config, plant));
    return rc;
}

void plant_names_clear(struct plant_names *names)
{
    text_buffer_free(&names->without_lots);
    text_buffer_free(&names->not_named);
}

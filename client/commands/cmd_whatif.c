#include "commands/command.h"
#include "show/whatif_show.h"
#include <string.h>

static const struct option_row options[] = {
    {"hold", "DAYS", "what would have held so long: packing temperature, dose, crumb pH, spores"},
    {"share", "PCT", "of packs to be without mold then, 50 to 99 (95)"},
    {0}};

static void show(const struct client *c, const json_t *document)
{
    whatif_show(&c->view, document);
}

static int whatif(struct client *c, const struct args *a)
{
    struct text_buffer path = {0}, set = {0};
    json_t *document = NULL;
    if (args_has(a, "share") && !args_has(a, "hold"))
        return client_usage(c, "--share goes with --hold DAYS");
    for (int i = 1; i < a->count; i++) {
        if (!strchr(a->words[i], '=') || strchr(a->words[i], ',')) {
            text_buffer_free(&set);
            return client_usage(c, "%s: write QUANTITY=NUMBER, as core_at_pack_c=39", a->words[i]);
        }
        text_appendf(&set, "%s%s", set.length ? "," : "", a->words[i]);
    }
    text_append(&path, "/v1/whatif");
    client_path_query(&path, "of", a->words[0]);
    client_path_query(&path, "set", set.data);
    client_path_query(&path, "hold", args_value(a, "hold"));
    client_path_query(&path, "share", args_value(a, "share"));
    int rc = client_get(c, path.data, &document);
    text_buffer_free(&path);
    text_buffer_free(&set);
    return rc ? rc : client_answer(c, document, show);
}

const struct command cmd_whatif = {
    .name = "whatif",
    .args = "LOT|CASE|PRODUCT [QUANTITY=NUMBER …]",
    .help = "what would have held: predictions with something changed",
    .more = "Days without mold, smell of acid and firmness as made, as specified and as changed. "
            "The models take inhibitor_pct_flour, inhibitor_active_pct, acid_pct_flour, "
            "acid_grain, softener_pct_flour, crumb_ph, crumb_aw, crumb_moisture_pct, "
            "propionate_ppm, bake_min, core_end_bake_c, cool_min, cooler_air_c, core_at_pack_c, "
            "pack_room_c and aerobic_spores_cfu_g, and of each preserving ingredient its dose "
            "(cultured_wheat_pct_flour), that on the surface and its strength. A product is taken "
            "as specified.",
    .options = options,
    .least = 1,
    .most = 13,
    .exec = whatif,
};

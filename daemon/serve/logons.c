#include "serve/logons.h"
#include "base/jsonx.h"
#include "serve/peer.h"
#include "serve/role.h"

struct finding {
    const struct config *config;
    doc_report report;
    void *arg;
    int count;
};

static void tell(struct finding *f, const struct error *fault)
{
    f->report(f->arg, fault);
    f->count++;
}

/* The groups of the defaults are the package's: on a machine without it there need be none. */
static bool is_written(const struct config *config, const struct error *fault)
{
    struct error placed = *fault;
    config_locate(config, &placed);
    return placed.line > 0;
}

static void check_group(struct finding *f, const char *key, const char *group)
{
    struct error fault = {0};
    error_set(&fault, ERROR_NOT_FOUND,
              "there is no such Unix group on this machine, and nobody "
              "has the role by it");
    error_hint(&fault, "getent group lists those there are; groupadd makes one");
    error_field(&fault, key, group);
    if (is_written(f->config, &fault))
        tell(f, &fault);
}

/* `plant`: CONFIG_COMPANY of the outer settings. */
static void check_groups(struct finding *f, int plant)
{
    for (const struct role_row *row = role_rows(); row->word; row++) {
        const char *name = plant < 0 ? NULL : config_plant_name(f->config, plant);
        char key[CONFIG_KEY];
        size_t i;
        const json_t *group;
        snprintf(key, sizeof key, "%s%s%s%s", name ? "plants/" : "", name ? name : "",
                 name ? "/" : "", row->setting);
        json_array_foreach(config_list_of(f->config, plant, row->setting), i,
                           group) if (!peer_has_group(json_string_value(group)))
            check_group(f, key, json_string_value(group));
    }
}

static bool has_token(const struct config *config)
{
    const char *path = config_text(config, "tcp/tokens");
    json_t *tokens = NULL;
    bool any = *path && jsonx_load(path, &tokens, NULL) == 0 && json_object_size(tokens) > 0;
    json_decref(tokens);
    return any;
}

static void check_listen(struct finding *f)
{
    const char *where = config_text(f->config, "tcp/listen");
    struct error fault = {0};
    if (!*where || *config_text(f->config, "tcp/client_ca") || has_token(f->config))
        return;
    error_set(&fault, ERROR_NOT_FOUND,
              "nobody can log on there: no token is in tcp/tokens, and "
              "tcp/client_ca takes no certificate");
    error_hint(&fault, "printf %%s \"$TOKEN\" | sha256sum gives what stands in that file for a "
                       "token; each takes effect as it is written there");
    error_field(&fault, "tcp/listen", where);
    tell(f, &fault);
}

int logons_check(const struct config *config, doc_report report, void *arg)
{
    struct finding f = {config, report, arg, 0};
    check_groups(&f, CONFIG_COMPANY);
    for (int plant = 0; plant < config_plant_count(config); plant++)
        check_groups(&f, plant);
    check_listen(&f);
    return f.count;
}

#include "serve/case_sheet.h"
#include "base/short_id.h"
#include "desk/story.h"
#include "serve/case_told.h"
#include "show/sheet_html.h"
#include "tell/tell.h"

static bool has_harm(const json_t *rank)
{
    return json_is_true(json_object_get(rank, "harm")) ||
           json_is_true(json_object_get(rank, "harm_possible"));
}

/* What is told of causes, which beside harm nobody is shown. */
static int add_causes(struct setup *setup, struct store *store, int64_t case_id, json_t *into,
                      struct error *err)
{
    json_t *why = NULL, *reach = NULL;
    int rc = tell_why(setup->triage, store, case_id, NULL, &why, err);
    if (!rc)
        rc = tell_reach(setup->triage, store, case_id, NULL, &reach, err);
    json_object_set_new(into, "why", why ? why : json_null());
    json_object_set_new(into, "reach", reach ? reach : json_null());
    return rc;
}

static int collect(struct setup *setup, struct store *store, int64_t case_id, json_t *into,
                   struct error *err)
{
    json_t *rank = NULL, *drawn = NULL, *history = NULL;
    int rc = case_told_json(setup, store, case_id, &rank, err);
    json_object_set_new(into, "rank", rank ? rank : json_null());
    if (!rc && !has_harm(rank))
        rc = add_causes(setup, store, case_id, into, err);
    if (!rc)
        rc = tell_sheet(setup->triage, store, case_id, &drawn, err);
    json_object_set_new(into, "drawn", drawn ? drawn : json_null());
    if (!rc)
        rc = story_json(&setup->desk, store, CASE_ID(case_id), false, &history, err);
    json_object_set_new(into, "history", history ? history : json_null());
    return rc;
}

int case_sheet_html(struct app *app, struct store *store, int64_t case_id, char **ret,
                    struct error *err)
{
    char now[40];
    struct setup *setup = app_setup(app);
    json_t *sheet = json_pack("{s:s, s:s}", "plant", config_text(setup->config, "plant"), "made_at",
                              when_format(setup->tz, app_now_ms(app), now));
    bool began = store_look(store);
    int rc = collect(setup, store, case_id, sheet, err);
    store_unlook(store, began);
    if (!rc)
        *ret = sheet_html(sheet);
    json_decref(sheet);
    setup_unref(setup);
    return rc;
}

char *case_sheet_for_mail(void *arg, struct store *store, int64_t case_id)
{
    struct app *app = arg;
    struct error err = {0};
    char *html = NULL;
    if (case_sheet_html(app, store, case_id, &html, &err))
        log_write(&app->log, LOG_LEVEL_WARNING, "a mail goes without its sheet case=%s why=\"%s\"",
                  CASE_ID(case_id), err.text);
    return html;
}

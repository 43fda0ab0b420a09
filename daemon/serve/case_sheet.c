#include "serve/case_sheet.h"
#include "base/short_id.h"
#include "desk/attached_json.h"
#include "desk/case_asks.h"
#include "desk/following.h"
#include "desk/story.h"
#include "desk/told.h"
#include "serve/case_told.h"
#include "serve/plants.h"
#include "show/sheet_html.h"
#include "tell/tell.h"

static bool has_harm(const json_t *rank)
{
    return json_is_true(json_object_get(rank, "harm")) ||
           json_is_true(json_object_get(rank, "harm_possible"));
}

/* Of a kind that is ranked ("other" is not). */
static bool has_causes(const json_t *rank)
{
    return json_array_size(json_object_get(rank, "ranked")) > 0;
}

struct of_case {
    struct setup *setup;
    struct store *store;
    int64_t id, now_ms;
};

static int read_reach(const struct of_case *of, json_t **ret, struct error *err)
{
    const struct tell_asked asked = {.case_id = of->id, .now_ms = of->now_ms};
    return case_told_reach(&of->setup->desk, of->store, &asked, ret, err);
}

/* What is told beside harm: what to ask, and which lots could have carried it. */
static int add_harm(const struct of_case *of, json_t *into, struct error *err)
{
    json_t *asks = NULL, *reach = NULL;
    int rc = case_asks_json(&of->setup->desk, of->store, of->id, &asks, err);
    if (!rc)
        rc = read_reach(of, &reach, err);
    json_object_set_new(into, "asks", asks ? asks : json_null());
    json_object_set_new(into, "reach", reach ? reach : json_null());
    return rc;
}

/* What is told of causes, which beside harm nobody is shown. */
static int add_causes(const struct of_case *of, json_t *into, struct error *err)
{
    json_t *why = NULL, *reach = NULL;
    int rc = tell_why(of->setup->triage, of->store, of->id, NULL, &why, err);
    if (!rc)
        rc = read_reach(of, &reach, err);
    json_object_set_new(into, "why", why ? why : json_null());
    json_object_set_new(into, "reach", reach ? reach : json_null());
    return rc;
}

static int add_ranked(const struct of_case *of, const json_t *rank, json_t *into, struct error *err)
{
    json_t *drawn = NULL;
    int rc = has_harm(rank) ? 0 : add_causes(of, into, err);
    if (!rc)
        rc = tell_sheet(of->setup->triage, of->store, of->id, &drawn, err);
    json_object_set_new(into, "drawn", drawn ? drawn : json_null());
    return rc;
}

/* Of a case that nothing is ranked of, what callers said is all there is. */
static int add_said(const struct of_case *of, json_t *into, struct error *err)
{
    json_t *said = NULL;
    int rc = told_case(of->store, of->id, &said, err);
    json_object_set_new(into, "said", said ? said : json_null());
    return rc;
}

static int add_followed(const struct of_case *of, json_t *into, struct error *err)
{
    json_t *follow = NULL, *history = NULL;
    const struct following_view view = {.now_ms = of->now_ms, .plain = true};
    int rc = following_json(&of->setup->desk, of->store, of->id, &view, &follow, err);
    json_object_set_new(into, "follow", follow ? follow : json_null());
    if (!rc)
        rc = story_json(&of->setup->desk, of->store, CASE_ID(of->id), false, &history, err);
    json_object_set_new(into, "history", history ? history : json_null());
    return rc;
}

static int collect(const struct of_case *of, json_t *into, struct error *err)
{
    json_t *rank = NULL;
    int rc = case_told_json(of->setup, of->store, of->id, &rank, err);
    json_object_set_new(into, "rank", rank ? rank : json_null());
    if (!rc)
        rc = has_causes(rank) ? add_ranked(of, rank, into, err) : add_said(of, into, err);
    if (!rc && has_harm(rank))
        rc = add_harm(of, into, err);
    if (rc)
        return rc;
    rc = attached_json_add(of->store, of->setup->tz, of->id, 0, into, err);
    return rc ? rc : add_followed(of, into, err);
}

int case_sheet_html(struct app *app, struct store *store, int64_t case_id, char **ret,
                    struct error *err)
{
    char now[40];
    struct setup *setup = app_setup(app);
    json_t *sheet = json_pack("{s:s, s:s}", "plant", config_text(setup->config, "plant"), "made_at",
                              when_format(setup->tz, app_now_ms(app), now));
    const struct of_case of = {setup, store, case_id, app_now_ms(app)};
    bool began = store_look(store);
    int rc = collect(&of, sheet, err);
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
    struct setup *setup = app_setup(app);
    plants_tell(setup, store, plants_of_case(setup, store, case_id));
    setup_unref(setup);
    if (case_sheet_html(app, store, case_id, &html, &err))
        log_write(&app->log, LOG_LEVEL_WARNING, "a mail goes without its sheet case=%s why=\"%s\"",
                  CASE_ID(case_id), err.text);
    plants_leave(store);
    return html;
}

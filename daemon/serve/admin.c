/* Rules in force, erasure. */
#include "base/jsonx.h"
#include "base/text.h"
#include "intake/complaint_form.h"
#include "rules/rule_files_plant.h"
#include "serve/app.h"
#include "serve/route.h"
#include "store/contact.h"
#include "store/copies.h"
#include "store/seen.h"
#include <stdlib.h>
#include <string.h>

static json_t *quantities_json(const struct catalogue *catalogue)
{
    json_t *list = json_array();
    const struct catalogue_quantity *one;
    for (int i = 0; (one = catalogue_quantity_at(catalogue, i)); i++)
        json_array_append_new(list, json_pack("{s:s, s:s, s:s, s:b}", "quantity", one->name,
                                              "title", one->title, "unit", one->unit, "of_lot",
                                              one->of == QUANTITY_OF_LOT));
    return list;
}

static json_t *places_json(const struct catalogue *catalogue)
{
    json_t *list = json_array();
    const struct catalogue_place *places;
    int count = catalogue_places(catalogue, &places);
    for (int i = 0; i < count; i++)
        json_array_append_new(list, json_pack("{s:s, s:s, s:i}", "place", places[i].place, "title",
                                              places[i].name, "zone", places[i].zone));
    return list;
}

/* But for those of plants that who asks does not see. */
static json_t *seen_files(const struct store *store, const json_t *own)
{
    json_t *list = json_array(), *file;
    size_t i;
    json_array_foreach(own, i, file)
    {
        char *plant = NULL;
        const char *name = json_string_value(json_object_get(file, "file"));
        rule_files_plant_rest(name, &plant);
        if (!plant || seen_all(store) || seen_plant(store, plant))
            json_array_append(list, file);
        free(plant);
    }
    return list;
}

static json_t *seen_rules(const struct store *store, const json_t *of_plants)
{
    json_t *list = json_array(), *one;
    size_t i;
    json_array_foreach(of_plants, i, one)
    {
        if (seen_all(store) || seen_plant(store, json_string_value(json_object_get(one, "plant"))))
            json_array_append(list, one);
    }
    return list;
}

void admin_rules(struct request *rq, struct store *store)
{
    struct setup *setup = app_setup(rq->app);
    json_t *of_plants = triage_plants_json(setup->triage);
    json_t *rules = triage_rules_json(setup->triage);
    json_object_set_new(rules, "folders", jsonx_outside(setup->rules_dir));
    json_object_set_new(rules, "own", seen_files(store, setup->own_rules));
    if (json_array_size(of_plants))
        json_object_set_new(rules, "of_plants", seen_rules(store, of_plants));
    json_decref(of_plants);
    json_object_set_new(rules, "quantities", quantities_json(triage_catalogue(setup->triage)));
    json_object_set_new(rules, "places", places_json(triage_catalogue(setup->triage)));
    request_reply_json(rq, 200, rules);
    setup_unref(setup);
}

struct erasing {
    char fold[256], spelled[256]; /* spelled: a name written with "ue" for ü; "" none */
    int64_t now_ms;
    int erased;
};

static int erase(struct store *store, void *arg, struct error *err)
{
    struct erasing *e = arg;
    int spelled = 0;
    int rc = contact_erase(store, e->fold, e->now_ms, &e->erased, err);
    if (!rc && e->spelled[0])
        rc = contact_erase(store, e->spelled, e->now_ms, &spelled, err);
    e->erased += spelled;
    return rc;
}

/* Copies of the state are of before: what was erased lies in them still. */
static json_t *copies_json(const struct request *rq)
{
    struct copies copies[COPIES_KINDS];
    struct setup *setup = app_setup(rq->app);
    json_t *list = json_array();
    int count = copies_look(rq->app->state_dir, copies);
    for (int i = 0; i < count; i++) {
        char when[40];
        json_array_append_new(list,
                              json_pack("{s:o, s:i, s:s}", "where", jsonx_outside(copies[i].where),
                                        "count", copies[i].count, "oldest",
                                        when_format(setup->tz, copies[i].oldest_ms, when)));
    }
    copies_clear(copies, count);
    setup_unref(setup);
    return list;
}

void admin_erase(struct request *rq, struct store *store)
{
    (void)store;
    struct error err = {0};
    struct erasing e = {.now_ms = app_now_ms(rq->app)};
    const char *contact = NULL;
    json_t *body = NULL;
    int rc = request_json(rq, &body, &err);
    if (!rc)
        rc = jsonx_string(body, "contact", &contact, &err);
    if (!rc)
        complaint_form_contact_key(contact ? contact : "", e.fold, sizeof e.fold);
    if (!rc && contact)
        complaint_form_spelled_key(contact, e.spelled, sizeof e.spelled);
    if (!rc && !e.fold[0]) {
        rc = error_set(&err, ERROR_INVALID, "must be a name, a phone number or a mail address");
        error_field(&err, "contact", "(not shown)");
    }
    if (!rc)
        rc = writer_run(rq->app->writer, erase, &e, &err);
    json_decref(body);
    if (rc) {
        request_reply_error(rq, rc, &err);
        return;
    }
    app_checkpoint(rq->app);
    request_reply_json(rq, 200,
                       json_pack("{s:i, s:o}", "erased", e.erased, "copies", copies_json(rq)));
}

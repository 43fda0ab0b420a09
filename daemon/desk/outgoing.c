#include "desk/outgoing.h"
#include "base/jsonx.h"
#include "desk/apart_row.h"
#include "intake/fields.h"
#include "intake/mask.h"
#include "store/contact.h"
#include <assert.h>
#include <stdlib.h>
#include <string.h>

/* ---- words of an event ---- */

struct masking {
    const json_t *caller;
    bool sure;
};

static json_t *mask_member(const struct masking *m, const char *name, const json_t *value);

static json_t *mask_object(const struct masking *m, const json_t *object)
{
    const char *name;
    json_t *value, *told = json_object();
    json_object_foreach((json_t *)object, name, value)
    {
        json_object_set_new(told, name, mask_member(m, name, value));
    }
    return told;
}

static json_t *mask_list(const struct masking *m, const char *name, const json_t *list)
{
    json_t *told = json_array();
    for (size_t i = 0; i < json_array_size(list); i++)
        json_array_append_new(told, mask_member(m, name, json_array_get(list, i)));
    return told;
}

/* "again": the notes of reports joined to it; "why": with the reason of a change. */
static bool is_words(const char *name)
{
    return fields_is_typed(name) || strcmp(name, "why") == 0 || strcmp(name, "again") == 0;
}

static json_t *mask_member(const struct masking *m, const char *name, const json_t *value)
{
    if (json_is_object(value))
        return mask_object(m, value);
    if (json_is_array(value))
        return mask_list(m, name, value);
    if (!json_is_string(value) || !is_words(name))
        return json_copy((json_t *)value);
    bool code = strcmp(name, "lot_text") == 0 || strcmp(name, "reference") == 0;
    const struct mask_options options = {.contact = m->caller, .sure = m->sure || code};
    char *text = mask_text(json_string_value(value), &options, NULL, NULL);
    json_t *told = json_string(text);
    free(text);
    return told;
}

json_t *outgoing_masked(const json_t *event, const json_t *caller, bool sure)
{
    return mask_member(&(struct masking){caller, sure}, "", event);
}

/* ---- queueing ---- */

static int mask_by(void *arg, const char *body)
{
    json_t **event = arg;
    struct apart_row row;
    apart_row_parse(body, &row);
    json_t *caller = apart_row_caller(&row, "");
    json_t *told = outgoing_masked(*event, caller, true);
    json_decref(*event);
    *event = told;
    json_decref(caller);
    apart_row_clear(&row);
    return 0;
}

/* Masks `*told` by all who reported what the report `uuid` (NULL: none) is about. */
static int mask_report(struct store *store, const json_t *uuid, json_t **told, struct error *err)
{
    const char *report = json_string_value(uuid);
    return report ? contact_group(store, report, mask_by, told, err) : 0;
}

/* One that was refused is on no record; what it repeats may be. */
static int mask_said(struct store *store, json_t **said, struct error *err)
{
    int rc = mask_report(store, json_object_get(*said, "id"), said, err);
    return rc ? rc : mask_report(store, json_object_get(*said, "same_as"), said, err);
}

static int mask_each_said(struct store *store, json_t *list, struct error *err)
{
    int rc = 0;
    for (size_t i = 0; i < json_array_size(list) && !rc; i++) {
        json_t *said = json_incref(json_array_get(list, i));
        rc = mask_said(store, &said, err);
        json_array_set_new(list, i, said);
    }
    return rc;
}

static int mask_event(struct store *store, json_t **event, struct error *err)
{
    json_t *said = json_object_get(*event, "said");
    if (json_is_array(said))
        return mask_each_said(store, said, err);
    int rc = mask_report(store, json_object_get(*event, "complaint"), event, err);
    /* `event` may be another by now */
    const json_t *same = json_object_get(json_object_get(*event, "said"), "same_as");
    return rc ? rc : mask_report(store, same, event, err);
}

int outgoing_add(struct store *store, const struct outbox_new *mail, json_t *event,
                 struct error *err)
{
    assert(store_writing(store));
    struct outbox_new row = *mail;
    int rc = mask_event(store, &event, err);
    char *payload = jsonx_dump(event);
    row.payload = payload;
    if (!rc)
        rc = outbox_add(store, &row, err);
    free(payload);
    json_decref(event);
    return rc;
}

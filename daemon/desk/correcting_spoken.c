/* What was written beside a complaint that speaks of harm, where the complaint is said to tell of
 * none: a laboratory's result of its lot, a call since. An answer about the complaint does not
 * answer those. */
#include "base/jsonx.h"
#include "base/text.h"
#include "desk/alarm.h"
#include "desk/correcting_inside.h"
#include "desk/spoken.h"
#include "intake/harm.h"

struct beside {
    json_t *kinds;
    const json_t *newest; /* borrowed from the list; NULL: nothing says more than that it may be */
};

/* What only may mean harm was asked about, and that is answered now. */
static bool says_harm(const struct correcting_work *w, const json_t *item)
{
    const char *text = json_string_value(json_object_get(item, "spoken"));
    json_t *grave = harm_grave_of(w->desk->harm, text);
    bool says = json_array_size(json_object_get(item, "harm")) > 0 || grave;
    json_decref(grave);
    return says;
}

static void look(const struct correcting_work *w, const json_t *spoken, struct beside *ret)
{
    size_t i;
    const json_t *item;
    json_array_foreach(spoken, i, item)
    {
        if (!says_harm(w, item))
            continue;
        ret->newest = ret->newest ? ret->newest : item;
        jsonx_add_missing(ret->kinds, json_object_get(item, "harm"));
    }
}

static const char *text_of(const json_t *item, const char *name)
{
    const char *text = json_string_value(json_object_get(item, name));
    return text ? text : "";
}

int correcting_tell_spoken(struct correcting_work *w, const char *what, struct error *err)
{
    enum { QUOTE = 160 };
    json_t *spoken = NULL;
    char quote[QUOTE + 1];
    int rc = spoken_of_case(w->desk, w->store, w->found.case_id, &spoken, err);
    struct beside beside = {.kinds = json_array()};
    look(w, spoken, &beside);
    if (!rc && beside.newest) {
        struct text_buffer says = {0};
        text_appendf(&says, "%s; what was written beside it says so all the same: \"%s\", %s, %s",
                     what, text_clip(text_of(beside.newest, "spoken"), quote, sizeof quote),
                     text_of(beside.newest, "by"), text_of(beside.newest, "at"));
        const struct alarm alarm = {.desk = w->desk,
                                    .placed = &w->c->placed,
                                    .case_was = w->found.case_id,
                                    .why = &w->why,
                                    .what = says.data,
                                    .body = w->form ? w->form->body : w->found.body,
                                    .contact = w->form ? w->form->contact : w->contact,
                                    .taken_back = beside.kinds};
        rc = alarm_queue(w->store, &alarm, err);
        text_buffer_free(&says);
    }
    json_decref(beside.kinds);
    json_decref(spoken);
    return rc;
}

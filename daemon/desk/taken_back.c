#include "desk/taken_back.h"
#include "base/jsonx.h"
#include "base/when.h"
#include "store/change.h"
#include <assert.h>
#include <string.h>

struct past {
    const struct tz *tz;
    bool any, stands; /* corrections of harm; the newest left some */
    json_t *said;     /* words that were ever said */
    json_t *last;     /* by whom, when and why, of the newest */
};

static json_t *words_of(const char *text)
{
    json_t *words = NULL;
    jsonx_parse(text, strlen(text), &words, NULL);
    return words;
}

static int take_change(void *arg, const struct change_row *row)
{
    struct past *past = arg;
    char at[40];
    if (strcmp(row->field, "harm") != 0)
        return 0;
    json_t *was = words_of(row->was), *now = words_of(row->now);
    past->any = true;
    past->stands = json_array_size(now) > 0;
    json_array_extend(past->said, was);
    json_decref(past->last);
    past->last = json_pack("{s:s, s:s, s:s}", "by", row->by, "at",
                           when_format(past->tz, row->at_ms, at), "reason", row->reason);
    json_decref(was);
    json_decref(now);
    return 0;
}

static bool holds_all(const json_t *words, const json_t *harm)
{
    for (size_t i = 0; i < json_array_size(harm); i++)
        if (!jsonx_holds(words, json_array_get(harm, i)))
            return false;
    return true;
}

json_t *taken_back_find(const struct desk *desk, struct store *store, const char *uuid,
                        const json_t *harm)
{
    assert(uuid && *uuid);
    struct past past = {.tz = desk->tz, .said = json_array()};
    int rc = change_of(store, uuid, take_change, &past, NULL);
    bool back = !rc && past.any && !past.stands && holds_all(past.said, harm);
    if (back)
        json_object_set(past.last, "harm", (json_t *)harm);
    else
        json_decref(past.last);
    json_decref(past.said);
    return back ? past.last : NULL;
}

static const char *text_of(const json_t *taken_back, const char *name)
{
    return json_string_value(json_object_get(taken_back, name));
}

json_t *taken_back_told(const json_t *taken_back)
{
    return json_sprintf("it was reported before, and taken back %s by %s: %s",
                        text_of(taken_back, "at"), text_of(taken_back, "by"),
                        text_of(taken_back, "reason"));
}

bool taken_back_read(struct store *store, const char *uuid)
{
    assert(uuid);
    struct past past = {.said = json_array()};
    change_of(store, uuid, take_change, &past, NULL);
    json_decref(past.said);
    json_decref(past.last);
    return past.any;
}

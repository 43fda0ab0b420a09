#include "desk/apart_row.h"
#include "base/jsonx.h"
#include "base/text.h"
#include "intake/complaint_form.h"
#include "intake/mask.h"
#include "store/contact.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- the row ---- */

static json_t *take_out(json_t *from, const char *name)
{
    json_t *value = json_incref(json_object_get(from, name));
    json_object_del(from, name);
    return value;
}

void apart_row_parse(const char *body, struct apart_row *ret)
{
    *ret = (struct apart_row){0};
    if (!body || jsonx_parse(body, strlen(body), &ret->who, NULL))
        return;
    ret->texts = take_out(ret->who, CONTACT_TEXTS);
    ret->past = take_out(ret->who, CONTACT_PAST);
    ret->former = take_out(ret->who, CONTACT_FORMER);
    if (json_object_size(ret->who) == 0) {
        json_decref(ret->who);
        ret->who = NULL;
    }
}

void apart_row_get(struct store *store, int64_t complaint_id, const char *report,
                   struct apart_row *ret)
{
    char *body = NULL;
    contact_get(store, complaint_id, report, &body, NULL);
    apart_row_parse(body, ret);
    free(body);
}

void apart_row_clear(struct apart_row *row)
{
    json_decref(row->who);
    json_decref(row->texts);
    json_decref(row->past);
    json_decref(row->former);
    *row = (struct apart_row){0};
}

static void put(json_t *into, const char *name, json_t *value)
{
    if (json_object_size(value) || json_array_size(value))
        json_object_set(into, name, value);
}

char *apart_row_body(const struct apart_row *row)
{
    json_t *whole = row->who ? json_copy(row->who) : json_object();
    put(whole, CONTACT_TEXTS, row->texts);
    put(whole, CONTACT_PAST, row->past);
    put(whole, CONTACT_FORMER, row->former);
    char *text = json_object_size(whole) ? jsonx_dump(whole) : NULL;
    json_decref(whole);
    return text;
}

json_t *apart_row_caller(const struct apart_row *row, const char *others)
{
    size_t i;
    const json_t *former;
    struct text_buffer names = {0};
    json_t *caller = row->who ? json_copy(row->who) : json_object();
    const char *name = json_string_value(json_object_get(row->who, "name"));
    text_append(&names, name ? name : "");
    json_array_foreach(row->former, i, former)
        text_appendf(&names, " %s", json_string_value(former));
    text_appendf(&names, " %s", others);
    json_object_set_new(caller, "name", json_string(names.data));
    text_buffer_free(&names);
    return caller;
}

/* ---- its keys ---- */

struct keys {
    struct text_buffer text;
    json_t *caller;
};

/* Each word of an address, as it is written or read out, but for those too short to look for. */
static void add_word_keys(struct keys *k, const char *address)
{
    enum { LEAST = 4 };
    char word[160];
    text_fold(address, word, sizeof word);
    char *rest = NULL;
    for (char *at = strtok_r(word, " .@_-()[]", &rest); at; at = strtok_r(NULL, " .@_-()[]", &rest))
        if (strlen(at) >= LEAST)
            text_appendf(&k->text, CONTACT_SAID " %s\n", at);
}

/* A word of a name is found as one of the caller's is. */
static void add_said_key(void *arg, enum mask_kind kind, const char *at, size_t length)
{
    struct keys *k = arg;
    char key[160], digits[64];
    char *text = xstrndup(at, length);
    const char *said = kind == MASK_PHONE ? mask_digits(at, length, digits, sizeof digits) : text;
    complaint_form_contact_key(said, key, sizeof key);
    if (kind == MASK_NAME)
        complaint_form_name_keys(text, CONTACT_SAID, &k->text);
    else
        text_appendf(&k->text, CONTACT_SAID "%s\n", key);
    if (kind == MASK_MAIL)
        add_word_keys(k, text);
    free(text);
}

/* Of all texts below: every one of them holds some. */
static void add_said_keys(struct keys *k, const json_t *said)
{
    const char *name;
    json_t *value;
    if (json_is_object(said)) {
        json_object_foreach((json_t *)said, name, value) add_said_keys(k, value);
        return;
    }
    const struct mask_options options = {.contact = k->caller, .prose = true};
    if (json_is_string(said))
        free(mask_text(json_string_value(said), &options, add_said_key, k));
}

static void add_former_keys(struct keys *k, const char *name)
{
    json_t *former = json_pack("{s:s}", "name", name);
    char *keys = complaint_form_contact_keys(former), *rest = NULL;
    for (char *line = strtok_r(keys, "\n", &rest); line; line = strtok_r(NULL, "\n", &rest))
        text_appendf(&k->text, CONTACT_WAS "%s\n", line);
    free(keys);
    json_decref(former);
}

char *apart_row_keys(const struct apart_row *row, const char *others)
{
    size_t i;
    const json_t *former;
    char *own = row->who ? complaint_form_contact_keys(row->who) : NULL;
    struct keys k = {.caller = apart_row_caller(row, others)};
    text_append(&k.text, own ? own : "\n");
    json_array_foreach(row->former, i, former) add_former_keys(&k, json_string_value(former));
    add_said_keys(&k, row->texts);
    add_said_keys(&k, row->past);
    json_decref(k.caller);
    free(own);
    return text_take(&k.text);
}

/* ---- what was before ---- */

static json_t *within(json_t **into, const char *name)
{
    if (!*into)
        *into = json_object();
    json_t *value = json_object_get(*into, name);
    if (!value) {
        value = json_object();
        json_object_set_new(*into, name, value);
    }
    return value;
}

static void keep(json_t *into, const char *name, const char *said)
{
    if (!json_object_get(into, name))
        json_object_set_new(into, name, json_string(said));
}

void apart_row_keep_name(struct apart_row *row, const char *name)
{
    size_t i;
    const json_t *former;
    const char *now = json_string_value(json_object_get(row->who, "name"));
    if (!*name || (now && strcmp(now, name) == 0))
        return;
    json_array_foreach(row->former, i,
                       former) if (strcmp(json_string_value(former), name) == 0) return;
    if (!row->former)
        row->former = json_array();
    json_array_append_new(row->former, json_string(name));
}

void apart_row_keep_sent(struct apart_row *row, const char *field, const char *said)
{
    keep(within(&row->past, "sent"), field, said);
}

void apart_row_keep_change(struct apart_row *row, int64_t change_id, const char *name,
                           const char *said)
{
    char id[24];
    json_t *changes = within(&row->past, "changes");
    snprintf(id, sizeof id, "%lld", (long long)change_id);
    keep(within(&changes, id), name, said);
}

const json_t *apart_row_change(const struct apart_row *row, int64_t change_id)
{
    char id[24];
    snprintf(id, sizeof id, "%lld", (long long)change_id);
    return json_object_get(json_object_get(row->past, "changes"), id);
}

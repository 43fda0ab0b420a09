#include "desk/repeated.h"
#include "base/jsonx.h"
#include "base/text.h"
#include "desk/sent.h"
#include "intake/fields.h"
#include "intake/mask.h"
#include "intake/receipt.h"
#include "store/complaint.h"
#include "store/entry.h"
#include "store/joined.h"
#include <assert.h>
#include <stdlib.h>
#include <string.h>

struct kept {
    int64_t complaint_id;
    json_t *body; /* what that report says by itself, as it stands */
};

static int take_row(void *arg, const struct complaint_row *row)
{
    struct kept *kept = arg;
    kept->complaint_id = row->id;
    return jsonx_parse(row->body, strlen(row->body), &kept->body, NULL);
}

static int take_report(void *arg, const struct joined_row *row)
{
    struct kept *kept = arg;
    return jsonx_parse(row->body, strlen(row->body), &kept->body, NULL);
}

static int read_kept(struct store *store, const char *uuid, struct kept *kept, struct error *err)
{
    char *first = NULL;
    if (joined_by_uuid(store, uuid, take_report, kept, NULL) == 0)
        return 0;
    int rc = complaint_by_uuid(store, uuid, take_row, kept, err);
    if (!rc)
        rc = joined_first(store, kept->complaint_id, &first, err);
    if (!rc && first) {
        json_decref(kept->body);
        kept->body = NULL;
        rc = jsonx_parse(first, strlen(first), &kept->body, err);
    }
    free(first);
    return rc;
}

/* Whose report it repeats, and what the daemon made of its words, are no content of its own. */
static bool is_content(const struct field *field)
{
    return field->type != FIELD_ID && !(field->flags & FIELD_PERSON);
}

/* "[name]" with what is left of its word: "[name]'s". 0 if it is not here. */
static size_t masked_at(const char *at)
{
    static const char NAME[] = "[name]";
    const size_t length = sizeof NAME - 1;
    return strncmp(at, NAME, length) == 0 ? length + mask_word_at(at + length) : 0;
}

/* Whose name a word is may have become known between the two, or been forgotten: a word that is
 * masked in one of them stands for any word of the other. */
static bool same_text(const char *a, const char *b)
{
    while (*a && *b) {
        size_t x = masked_at(a), y = masked_at(b);
        size_t in_a = x ? x : y ? mask_word_at(a) : *a == *b;
        size_t in_b = y ? y : x ? mask_word_at(b) : 1;
        if (!in_a || !in_b)
            return false;
        a += in_a;
        b += in_b;
    }
    return *a == *b;
}

static bool same_value(const json_t *a, const json_t *b)
{
    if (json_is_string(a) && json_is_string(b))
        return same_text(json_string_value(a), json_string_value(b));
    return a == b || json_equal(a, b);
}

/* A clock that is wrong says the same each time; when it came is another time each time. */
static json_t *said_of(const json_t *body, const struct field *field)
{
    json_t *stamp = json_object_get(body, RECEIPT_SAID);
    return stamp && strcmp(field->name, "received_at") == 0 ? stamp : fields_get(body, field);
}

static bool same_content(const json_t *a, const json_t *b)
{
    for (const struct field *f = fields_all(); f->name; f++)
        if (is_content(f) && !same_value(said_of(a, f), said_of(b, f)))
            return false;
    return true;
}

static bool was_sent_so(struct store *store, const char *uuid, const char *sent)
{
    json_t *before = NULL, *now = NULL;
    entry_get(store, uuid, sent_read, &before, NULL);
    bool same = before && sent && jsonx_parse(sent, strlen(sent), &now, NULL) == 0 &&
                same_content(before, now);
    json_decref(before);
    json_decref(now);
    return same;
}

static json_t *shown(const json_t *value)
{
    char *text =
        json_is_string(value) || !value ? NULL : json_dumps(value, JSON_ENCODE_ANY | JSON_COMPACT);
    json_t *shown = text ? json_string(text) : value ? json_copy((json_t *)value) : json_null();
    free(text);
    return shown;
}

static json_t *differences(const json_t *kept, const json_t *now, struct error *err)
{
    json_t *list = json_array();
    for (const struct field *f = fields_all(); f->name; f++) {
        const json_t *was = said_of(kept, f);
        const json_t *is = said_of(now, f);
        if (!is_content(f) || same_value(was, is))
            continue;
        json_t *kept_value = shown(was), *value = shown(is);
        const char *text = json_string_value(kept_value);
        char cut[201];
        json_array_append_new(list, json_pack("{s:s, s:s, s:o, s:o}", "field", f->name, "value",
                                              json_is_string(value) ? json_string_value(value) : "",
                                              "kept", kept_value, "reason",
                                              text ? json_sprintf("on record it is %s",
                                                                  text_clip(text, cut, sizeof cut))
                                                   : json_string("is not on record")));
        if (json_array_size(list) == 1)
            error_field(err, f->name, json_is_string(value) ? json_string_value(value) : "");
        json_decref(value);
    }
    return list;
}

int repeated_check(struct store *store, const struct complaint_form *form, const char *sent,
                   json_t **ret, struct error *err)
{
    assert(form && ret);
    struct kept kept = {0};
    int rc = was_sent_so(store, form->uuid, sent) ? 0 : read_kept(store, form->uuid, &kept, err);
    if (!rc && kept.body && !same_content(kept.body, form->body)) {
        *ret = differences(kept.body, form->body, err);
        rc = error_set(err, ERROR_CONFLICT, "is on record under this id with other content");
        error_hint(err, "`oddloaf correct %s` changes it; another complaint needs another id",
                   form->uuid);
    }
    json_decref(kept.body);
    return rc;
}

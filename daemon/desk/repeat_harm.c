#include "desk/repeat_harm.h"
#include "base/hash.h"
#include "base/jsonx.h"
#include "base/text.h"
#include "desk/anew.h"
#include "desk/event.h"
#include "desk/overheard.h"
#include "intake/fields.h"
#include "intake/harm.h"
#include "store/outbox.h"
#include <assert.h>
#include <string.h>

/* ---- kinds, a letter each ---- */

static const char POSSIBLE = 'z';

static void add_letter(char *marks, char letter)
{
    size_t length = strlen(marks);
    if (strchr(marks, letter) || length >= REPEAT_HARM_KINDS)
        return;
    marks[length] = letter;
    marks[length + 1] = '\0';
}

/* By its place in the list of the field, which only grows. */
static void add_body(char *marks, const json_t *body)
{
    size_t i;
    const json_t *kind;
    const struct field_word *kinds = fields_find("harm")->words;
    json_array_foreach(json_object_get(body, "harm"), i, kind)
    {
        const struct field_word *word = fields_word(kinds, json_string_value(kind));
        if (word)
            add_letter(marks, (char)('a' + (word - kinds)));
    }
    if (json_is_true(json_object_get(body, "harm_possible")))
        add_letter(marks, POSSIBLE);
}

/* ---- words of gravity, capitals each ---- */

enum { CAPITALS = 4 };

/* By its letters, not by its place: a plant's own list may be in any order. */
static void capitals_of(const char *word, char out[CAPITALS + 1])
{
    uint64_t hash = hash_text(word);
    for (int i = 0; i < CAPITALS; i++, hash /= 26)
        out[i] = (char)('A' + hash % 26);
    out[CAPITALS] = '\0';
}

static void add_grave(const struct desk *desk, json_t *words, const json_t *body)
{
    size_t i;
    const json_t *word;
    char capitals[CAPITALS + 1];
    json_t *grave = harm_grave_of(desk->harm, json_string_value(json_object_get(body, "note")));
    json_array_foreach(grave, i, word)
    {
        capitals_of(json_string_value(word), capitals);
        json_object_set_new(words, capitals, json_true());
    }
    json_decref(grave);
}

/* ---- what is news ---- */

struct told {
    size_t begin; /* of the ids before their marks */
    char kinds[REPEAT_HARM_KINDS + 1];
    json_t *grave; /* {capitals: true} */
};

static int take_mailed(void *arg, const char *message_id)
{
    struct told *told = arg;
    const char *at = message_id + told->begin;
    for (; *at >= 'a' && *at <= 'z'; at++)
        add_letter(told->kinds, *at);
    for (; strcspn(at, "@") >= CAPITALS; at += CAPITALS)
        json_object_setn_new(told->grave, at, CAPITALS, json_true());
    return 0;
}

static int add_mailed(struct store *store, const char *uuid, struct told *told, struct error *err)
{
    char begin[64];
    event_again_id(NULL, uuid, "", begin, sizeof begin);
    told->begin = strlen(begin);
    return outbox_ids(store, begin, take_mailed, told, err);
}

/* Those that find no room in the id are news again when they are said again. */
static void mark_news(const struct told *said, const struct told *told,
                      char marks[REPEAT_HARM_MARKS])
{
    size_t length = 0;
    const char *capitals;
    json_t *is;
    for (const char *at = said->kinds; *at; at++)
        if (!strchr(told->kinds, *at) && (*at != POSSIBLE || !*told->kinds))
            marks[length++] = *at;
    json_object_foreach(said->grave, capitals, is)
    {
        if (json_object_get(told->grave, capitals) || length + CAPITALS >= REPEAT_HARM_MARKS)
            continue;
        memcpy(marks + length, capitals, CAPITALS);
        length += CAPITALS;
    }
    marks[length] = '\0';
}

int repeat_harm_news(const struct desk *desk, struct store *store,
                     const struct complaint_form *form, char ret_marks[REPEAT_HARM_MARKS],
                     struct error *err)
{
    assert(form);
    struct anew found = {0};
    struct told said = {.grave = json_object()}, told = {.grave = json_object()};
    *ret_marks = '\0';
    add_body(said.kinds, form->body);
    int rc = *said.kinds ? anew_find(desk, store, form->uuid, &found, err) : 0;
    add_body(told.kinds, found.body);
    if (!rc && *said.kinds) {
        add_grave(desk, said.grave, form->body);
        add_grave(desk, told.grave, found.body);
        rc = add_mailed(store, form->uuid, &told, err);
    }
    if (!rc)
        mark_news(&said, &told, ret_marks);
    json_decref(said.grave);
    json_decref(told.grave);
    anew_clear(&found);
    return rc;
}

/* ---- on record ---- */

/* "illness (hospital, died)" */
static void append_said(const struct desk *desk, const json_t *harm, const char *note,
                        struct text_buffer *out)
{
    size_t i;
    const json_t *item;
    json_t *grave = harm_grave_of(desk->harm, note);
    json_array_foreach(harm, i, item)
    {
        text_appendf(out, "%s %s", i ? "," : "", json_string_value(item));
    }
    json_array_foreach(grave, i, item)
    {
        const char *word = json_string_value(item);
        text_appendf(out, "%s%.*s", i ? ", " : " (", (int)strcspn(word, "*"), word);
    }
    text_append(out, grave ? ")" : "");
    json_decref(grave);
}

int repeat_harm_keep(const struct desk *desk, struct store *store,
                     const struct complaint_form *form, const char *by, int64_t at_ms,
                     struct error *err)
{
    enum { NOTE_MOST = 300 };
    char note[NOTE_MOST];
    struct text_buffer reason = {0};
    const char *said = complaint_form_text(form, "note");
    const json_t *harm = json_object_get(form->body, "harm");
    text_appendf(&reason, "a repeat of it %s", form->harm_possible ? "may speak of harm" : "says");
    append_said(desk, harm, said, &reason);
    if (said)
        text_appendf(&reason, ": %s", text_clip(said, note, sizeof note));
    const struct complaint_why why = {by, reason.data, at_ms};
    int rc = overheard_mark(desk, store, form->uuid, harm, &why, err);
    text_buffer_free(&reason);
    return rc;
}

#include "desk/repeat_harm.h"
#include "base/jsonx.h"
#include "base/text.h"
#include "desk/anew.h"
#include "desk/event.h"
#include "desk/overheard.h"
#include "intake/fields.h"
#include "store/outbox.h"
#include <assert.h>
#include <string.h>

/* ---- kinds, a letter each ---- */

static const char POSSIBLE = 'z';

static void add_letter(char *marks, char letter)
{
    size_t length = strlen(marks);
    if (strchr(marks, letter) || length + 1 >= REPEAT_HARM_MARKS)
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

/* ---- what is news ---- */

struct mailed {
    size_t begin; /* of the ids before their marks */
    char *marks;
};

static int take_mailed(void *arg, const char *message_id)
{
    const struct mailed *mailed = arg;
    for (const char *at = message_id + mailed->begin; *at && *at != '@'; at++)
        add_letter(mailed->marks, *at);
    return 0;
}

static int add_mailed(struct store *store, const char *uuid, char *marks, struct error *err)
{
    char begin[64];
    event_again_id(NULL, uuid, "", begin, sizeof begin);
    return outbox_ids(store, begin, take_mailed, &(struct mailed){strlen(begin), marks}, err);
}

int repeat_harm_news(const struct desk *desk, struct store *store,
                     const struct complaint_form *form, char ret_marks[REPEAT_HARM_MARKS],
                     struct error *err)
{
    assert(form);
    struct anew found = {0};
    char said[REPEAT_HARM_MARKS] = "", told[REPEAT_HARM_MARKS] = "";
    *ret_marks = '\0';
    add_body(said, form->body);
    int rc = *said ? anew_find(desk, store, form->uuid, &found, err) : 0;
    add_body(told, found.body);
    if (!rc && *said)
        rc = add_mailed(store, form->uuid, told, err);
    for (const char *at = said; *at && !rc; at++)
        if (!strchr(told, *at) && (*at != POSSIBLE || !*told))
            add_letter(ret_marks, *at);
    anew_clear(&found);
    return rc;
}

/* ---- on record ---- */

int repeat_harm_keep(const struct desk *desk, struct store *store,
                     const struct complaint_form *form, const char *by, int64_t at_ms,
                     struct error *err)
{
    enum { NOTE_MOST = 300 };
    char note[NOTE_MOST];
    struct text_buffer reason = {0};
    const char *said = complaint_form_text(form, "note");
    text_appendf(&reason, "a repeat of it %s", form->harm_possible ? "may speak of harm" : "says");
    size_t i;
    const json_t *kind;
    json_array_foreach(json_object_get(form->body, "harm"), i, kind)
        text_appendf(&reason, "%s %s", i ? "," : "", json_string_value(kind));
    if (said)
        text_appendf(&reason, ": %s", text_clip(said, note, sizeof note));
    const struct complaint_why why = {by, reason.data, at_ms};
    int rc = overheard_mark(desk, store, form->uuid, &why, err);
    text_buffer_free(&reason);
    return rc;
}

#include "base/text.h"
#include "desk/correcting_inside.h"
#include "store/change.h"
#include <stdlib.h>
#include <string.h>

static const char NOT_SHOWN[] = "(not shown)";

/* Words as they are, all else as JSON; "": nothing. */
static char *shown(const struct field *field, const json_t *value)
{
    if (!value)
        return xstrdup("");
    if (field->flags & FIELD_PERSON)
        return xstrdup(NOT_SHOWN);
    return json_is_string(value)
               ? xstrdup(json_string_value(value))
               : json_dumps(value, JSON_ENCODE_ANY | JSON_COMPACT | JSON_REAL_PRECISION(12));
}

/* A change as it was said, for the desk, where that holds contact data. */
static int keep_said(struct correcting_work *w, const struct field *field, const char *was,
                     const char *now, struct error *err)
{
    if (field->flags & FIELD_PERSON)
        return 0;
    const json_t *before = fields_get(w->own, field), *after = fields_get(w->said, field);
    const struct {
        const char *name, *said, *told;
    } texts[] = {{"was", json_string_value(before), was}, {"now", json_string_value(after), now}};
    int64_t change_id = 0;
    int rc = change_newest(w->store, &change_id, err);
    for (size_t i = 0; i < sizeof texts / sizeof texts[0] && !rc; i++)
        if (texts[i].said && strcmp(texts[i].said, texts[i].told) != 0)
            apart_row_keep_change(&w->kept, change_id, texts[i].name, texts[i].said);
    return rc;
}

/* What is answered: to the desk as it was said. */
static void tell_change(struct correcting_work *w, const struct field *field, const char *was,
                        const char *now)
{
    bool said = w->c->shown && !(field->flags & FIELD_PERSON);
    const char *before = json_string_value(said ? fields_get(w->own, field) : NULL);
    const char *after = json_string_value(said ? fields_get(w->said, field) : NULL);
    json_array_append_new(w->c->changed,
                          json_pack("{s:s, s:s?, s:s?}", "field", field->name, "was",
                                    before ? before : was, "is", after ? after : now));
}

static int record(struct correcting_work *w, const struct field *field, const json_t *was,
                  const json_t *is, struct error *err)
{
    const struct complaint_why *why = &w->why;
    const struct change_row change = {
        .complaint = w->c->uuid, .at_ms = why->at_ms, .by = why->by, .reason = why->reason};
    char *before = shown(field, was), *after = shown(field, is);
    /* it is told that contact data changed, not to what */
    const char *now = was && is && strcmp(before, after) == 0 ? "(another, not shown)" : after;
    tell_change(w, field, was ? before : NULL, is ? now : NULL);
    int rc = change_add(w->store, &change, field->name, before, now, err);
    if (!rc)
        rc = keep_said(w, field, before, now, err);
    free(before);
    free(after);
    return rc;
}

/* What was sent is seen by the desk as it was said, whatever it says by now. */
static void keep_sent(struct correcting_work *w, const struct field *field, const json_t *sent)
{
    const json_t *said = fields_get(w->own, field), *kept = fields_get(w->stored, field);
    if (said && kept && !json_equal(said, kept) && json_equal(kept, fields_get(sent, field)))
        apart_row_keep_sent(&w->kept, field->name, json_string_value(said));
}

static bool differs(const json_t *a, const json_t *b)
{
    return a != b && !json_equal(a, b);
}

/* That harm may be meant is no field: whoever says that there was none has read that. */
static bool reads_possible(const struct correcting_work *w, const struct field *field)
{
    return strcmp(field->name, "harm") == 0 && json_object_get(w->c->fields, field->name) &&
           !json_array_size(fields_get(w->form->body, field)) && !w->form->harm_possible &&
           json_is_true(json_object_get(w->stored, "harm_possible"));
}

static int record_possible(struct correcting_work *w, const struct field *harm, struct error *err)
{
    json_t *possible = json_string("possible");
    int rc = record(w, harm, possible, fields_get(w->form->body, harm), err);
    json_decref(possible);
    return rc;
}

int correcting_record(struct correcting_work *w, struct error *err)
{
    int rc = 0;
    json_t *sent = NULL;
    w->c->changed = json_array();
    correcting_sent(w, &sent);
    for (const struct field *f = fields_all(); f->name && !rc; f++) {
        bool person = f->flags & FIELD_PERSON;
        const json_t *was = fields_get(person ? w->own : w->stored, f);
        const json_t *is = fields_get(person ? w->said : w->form->body, f);
        /* of what may hold contact data, as it was said: masking alone changes nothing */
        bool typed = f->flags & FIELD_TYPED || strcmp(f->name, "lot_text") == 0;
        bool changed =
            typed ? differs(fields_get(w->own, f), fields_get(w->said, f)) : differs(was, is);
        if (reads_possible(w, f)) {
            rc = record_possible(w, f, err);
        } else if (f->type != FIELD_ID && changed) {
            keep_sent(w, f, sent);
            rc = record(w, f, was, is, err);
        }
    }
    json_decref(sent);
    return rc;
}

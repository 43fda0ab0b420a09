#include "base/jsonx.h"
#include "base/text.h"
#include "desk/correcting_inside.h"
#include "desk/noted.h"
#include "desk/taking.h"
#include "store/change.h"
#include <stdlib.h>
#include <string.h>

enum { FIELD_SIZE = 96 };

const struct field *correcting_field(const char *name)
{
    char path[FIELD_SIZE];
    text_clip(name, path, sizeof path);
    char *dot = strchr(path, '.');
    if (dot)
        *dot = '/';
    return fields_find(path);
}

static bool may_change(const struct field *field)
{
    return field && field->type != FIELD_ID;
}

static void fault(struct correcting_work *w, const char *name, const json_t *value,
                  const char *reason, struct error *err)
{
    struct error why = {0};
    char *text = json_dumps(value, JSON_ENCODE_ANY | JSON_COMPACT);
    error_set(&why, ERROR_INVALID, "%s", reason);
    error_field(&why, name, json_is_string(value) ? json_string_value(value) : text ? text : "");
    free(text);
    if (!w->c->faults)
        w->c->faults = json_array();
    json_array_append_new(w->c->faults, complaint_form_fault(&why));
    if (!err->code)
        *err = why;
}

/* Of harm an empty list is an answer: asked, and nobody was hurt. */
static bool is_nothing(const json_t *value, bool harm)
{
    return json_is_null(value) || (json_is_string(value) && !json_string_length(value)) ||
           (json_is_array(value) && !json_array_size(value) && !harm);
}

static void set_field(json_t *said, const struct field *field, json_t *value)
{
    bool harm = strcmp(field->name, "harm") == 0;
    if (is_nothing(value, harm))
        fields_unset(said, field);
    else
        fields_set_new(said, field, json_incref(value));
    if (harm) /* whoever corrects it has read it */
        json_object_del(said, "harm_possible");
}

int correcting_set(struct correcting_work *w, json_t *said, struct error *err)
{
    const char *name;
    json_t *value;
    json_object_foreach((json_t *)w->c->fields, name, value)
    {
        const struct field *field = correcting_field(name);
        if (may_change(field))
            set_field(said, field, value);
        else
            fault(w, name, value,
                  field ? "stays as it is: it is what the complaint is known by"
                        : "is no field of a complaint",
                  err);
    }
    return err->code;
}

/* What the note as it was gives by itself. New reference. */
static json_t *note_gives(const struct correcting_work *w)
{
    static const char *const TEXTS[] = {"symptom", "note", "reason"};
    json_t *texts = json_object(), *taken = NULL;
    for (size_t i = 0; i < sizeof TEXTS / sizeof TEXTS[0]; i++)
        json_object_set(texts, TEXTS[i], json_object_get(w->own, TEXTS[i]));
    json_decref(noted_fill(w->desk, w->store, texts,
                           taking_day(w->desk, w->own, w->found.received_ms), &taken));
    json_decref(texts);
    return taken;
}

/* ---- what was said besides ---- */

struct besides {
    json_t *sent;  /* when it was logged; NULL: kept no more */
    json_t *notes; /* [ms]: when a note was corrected, whose words came with it */
    json_t *last;  /* {FIELD: [ms, "is"]}: when each was corrected last, and to what */
};

static int take_change(void *arg, const struct change_row *row)
{
    struct besides *b = arg;
    if (strcmp(row->field, "note") == 0 || strcmp(row->field, "reason") == 0)
        json_array_append_new(b->notes, json_integer(row->at_ms));
    else
        json_object_set_new(b->last, row->field, json_pack("[I, s]", row->at_ms, row->now));
    return 0;
}

static bool holds(const json_t *own, const json_t *value)
{
    return own && (json_equal(own, value) || jsonx_holds(own, value));
}

/* By somebody, at another time than a note's words. */
static bool was_corrected_to(const struct besides *b, const struct field *field,
                             const json_t *value)
{
    const json_t *last = json_object_get(b->last, field->name);
    if (!last || jsonx_holds(b->notes, json_array_get(last, 0)))
        return false;
    const char *is = json_string_value(json_array_get(last, 1));
    json_t *list = json_loads(is, JSON_DECODE_ANY, NULL); /* a word is none */
    bool held = holds(list ? list : json_array_get(last, 1), value);
    json_decref(list);
    return held;
}

static void besides_clear(struct besides *b)
{
    json_decref(b->sent);
    json_decref(b->notes);
    json_decref(b->last);
}

/* What the note gave, as far as it was not said besides: when it was logged, or since. */
static int take_off_read(struct correcting_work *w, json_t *said, struct error *err)
{
    struct besides b = {NULL, json_array(), json_object()};
    json_t *taken = note_gives(w);
    correcting_sent(w, &b.sent);
    int rc = change_of(w->store, w->c->uuid, take_change, &b, err);
    size_t i;
    const json_t *item;
    json_array_foreach(taken, i, item)
    {
        const char *name = json_string_value(json_object_get(item, "field"));
        const struct field *field = name ? correcting_field(name) : NULL;
        const json_t *value = json_object_get(item, "value");
        if (field && !(b.sent && holds(fields_get(b.sent, field), value)) &&
            !was_corrected_to(&b, field, value))
            fields_take_off(said, field, value);
    }
    json_object_del(said, "harm_possible");
    json_object_del(said, "harm_read");
    json_decref(taken);
    besides_clear(&b);
    return rc;
}

static bool is_corrected(const struct correcting_work *w, const char *name)
{
    const struct field *field = fields_find(name);
    return !json_equal(fields_get(w->own, field) ? fields_get(w->own, field) : json_null(),
                       fields_get(w->said, field) ? fields_get(w->said, field) : json_null());
}

int correcting_read_note(struct correcting_work *w, struct error *err)
{
    if (!is_corrected(w, "note") && !is_corrected(w, "reason"))
        return 0;
    json_t *base = json_deep_copy(w->own);
    if (take_off_read(w, base, err) == 0)
        correcting_set(w, base, err);
    json_t *filled = noted_fill(w->desk, w->store, base,
                                taking_day(w->desk, base, w->found.received_ms), &w->c->taken);
    json_decref(base);
    json_decref(w->said);
    w->said = filled;
    return correcting_set(w, w->said, err);
}

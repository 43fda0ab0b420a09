#include "desk/correcting.h"
#include "base/jsonx.h"
#include "base/short_id.h"
#include "base/text.h"
#include "desk/alarm.h"
#include "desk/anew.h"
#include "desk/apart.h"
#include "desk/apart_again.h"
#include "desk/apart_row.h"
#include "desk/placing.h"
#include "desk/taking.h"
#include "intake/fields.h"
#include "intake/lexicon.h"
#include "intake/mask.h"
#include "store/case.h"
#include "store/change.h"
#include "store/contact.h"
#include "store/entry.h"
#include "store/joined.h"
#include <assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { FIELD_SIZE = 96 };
static const char NOT_SHOWN[] = "(not shown)";

/* One being corrected. */
struct work {
    const struct desk *desk;
    struct store *store;
    struct correcting *c;
    struct anew found;           /* the complaint it is, or that it is joined to */
    json_t *stored;              /* what it says by itself, as it is kept: desk/apart.h */
    json_t *own;                 /* the same as it was said, with contact data */
    json_t *said;                /* the same, corrected */
    struct complaint_form *form; /* of `said`, as it is to be kept */
    struct apart apart;          /* what is kept apart of it */
    struct apart_row kept;       /* who called, and texts as they were said */
    json_t *contact;             /* as it was, NULL none; borrowed from kept */
    struct complaint_why why;    /* its reason without contact data */
    char *reason;
};

static void work_clear(struct work *w)
{
    anew_clear(&w->found);
    json_decref(w->stored);
    json_decref(w->own);
    json_decref(w->said);
    apart_row_clear(&w->kept);
    free(w->reason);
    if (w->form)
        apart_clear(&w->apart);
    complaint_form_free(w->form);
}

/* ---- what it says ---- */

static int take_report(void *arg, const struct joined_row *row)
{
    return jsonx_parse(row->body, strlen(row->body), arg, NULL);
}

static int read_own(struct work *w, struct error *err)
{
    char *first = NULL;
    if (w->found.joined)
        return joined_by_uuid(w->store, w->c->uuid, take_report, &w->stored, err);
    int rc = joined_first(w->store, w->found.id, &first, err);
    if (!rc && first)
        rc = jsonx_parse(first, strlen(first), &w->stored, err);
    else if (!rc)
        w->stored = json_deep_copy(w->found.body);
    free(first);
    return rc;
}

static const char *report_of(const struct work *w)
{
    return w->found.joined ? w->c->uuid : "";
}

/* It is told to all who read what was changed. */
static void mask_reason(struct work *w, const json_t *contact)
{
    char *masked = mask_contact(w->why.reason, contact);
    free(w->reason);
    w->why.reason = w->reason = masked;
}

static int find(struct work *w, struct error *err)
{
    int rc = anew_find(w->desk, w->store, w->c->uuid, &w->found, err);
    if (!rc)
        rc = read_own(w, err);
    if (rc)
        return rc;
    w->own = json_deep_copy(w->stored);
    json_decref(apart_show(w->store, w->found.id, report_of(w), w->own, NULL));
    apart_row_get(w->store, w->found.id, report_of(w), &w->kept);
    w->contact = w->kept.who;
    if (w->contact)
        json_object_set(w->own, "contact", w->contact);
    mask_reason(w, w->contact);
    return 0;
}

/* ---- what is corrected ---- */

static const struct field *field_of(const char *name)
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

static void fault(struct work *w, const char *name, const json_t *value, const char *reason,
                  struct error *err)
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

static bool is_nothing(const json_t *value)
{
    return json_is_null(value) || (json_is_string(value) && !json_string_length(value)) ||
           (json_is_array(value) && !json_array_size(value));
}

static void set_field(json_t *said, const struct field *field, json_t *value)
{
    if (is_nothing(value))
        fields_unset(said, field);
    else
        fields_set_new(said, field, json_incref(value));
    if (strcmp(field->name, "harm") == 0) /* whoever corrects it has read it */
        json_object_del(said, "harm_possible");
}

static int set_all(struct work *w, json_t *said, struct error *err)
{
    const char *name;
    json_t *value;
    json_object_foreach((json_t *)w->c->fields, name, value)
    {
        const struct field *field = field_of(name);
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

/* ---- its note ---- */

static bool has_word(const json_t *list, const json_t *word)
{
    for (size_t i = 0; i < json_array_size(list); i++)
        if (json_equal(json_array_get(list, i), word))
            return true;
    return false;
}

static void take_off(json_t *said, const struct field *field, const json_t *value)
{
    json_t *own = fields_get(said, field);
    for (size_t i = json_array_size(own); json_is_array(own) && i-- > 0;)
        if (json_equal(json_array_get(own, i), value))
            json_array_remove(own, i);
    if (own && (json_equal(own, value) || (json_is_array(own) && !json_array_size(own))))
        fields_unset(said, field);
}

/* What the note as it was gives by itself. New reference. */
static json_t *note_gives(const struct work *w)
{
    static const char *const TEXTS[] = {"symptom", "note", "reason"};
    json_t *texts = json_object(), *taken = NULL;
    for (size_t i = 0; i < sizeof TEXTS / sizeof TEXTS[0]; i++)
        json_object_set(texts, TEXTS[i], json_object_get(w->own, TEXTS[i]));
    json_decref(lexicon_fill(w->desk->lexicon, texts, &taken));
    json_decref(texts);
    return taken;
}

static int take_sent(void *arg, const struct entry_row *row)
{
    return jsonx_parse(row->sent, strlen(row->sent), arg, NULL);
}

/* What the note gave, as far as it was not said besides: when it was logged, or since. */
static void take_off_read(struct work *w, json_t *said)
{
    json_t *taken = note_gives(w), *sent = NULL;
    entry_get(w->store, w->c->uuid, take_sent, &sent, NULL);
    size_t i;
    const json_t *item;
    json_array_foreach(taken, i, item)
    {
        const char *name = json_string_value(json_object_get(item, "field"));
        const struct field *field = name ? field_of(name) : NULL;
        const json_t *value = json_object_get(item, "value");
        const json_t *own = field && sent ? fields_get(sent, field) : NULL;
        if (field && !(own && (json_equal(own, value) || has_word(own, value))))
            take_off(said, field, value);
    }
    json_object_del(said, "harm_possible");
    json_object_del(said, "harm_read");
    json_decref(taken);
    json_decref(sent);
}

static bool is_corrected(const struct work *w, const char *name)
{
    const struct field *field = fields_find(name);
    return !json_equal(fields_get(w->own, field) ? fields_get(w->own, field) : json_null(),
                       fields_get(w->said, field) ? fields_get(w->said, field) : json_null());
}

/* A note (or a return's reason, which is read like one) that was corrected is read again. */
static int read_again(struct work *w, struct error *err)
{
    if (!is_corrected(w, "note") && !is_corrected(w, "reason"))
        return 0;
    json_t *base = json_deep_copy(w->own);
    take_off_read(w, base);
    set_all(w, base, err);
    json_t *filled = lexicon_fill(w->desk->lexicon, base, &w->c->taken);
    json_decref(base);
    json_decref(w->said);
    w->said = filled;
    return set_all(w, w->said, err);
}

/* ---- what differs ---- */

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
static int keep_said(struct work *w, const struct field *field, const char *was, const char *now,
                     struct error *err)
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
static void tell_change(struct work *w, const struct field *field, const char *was, const char *now)
{
    bool said = w->c->shown && !(field->flags & FIELD_PERSON);
    const char *before = json_string_value(said ? fields_get(w->own, field) : NULL);
    const char *after = json_string_value(said ? fields_get(w->said, field) : NULL);
    json_array_append_new(w->c->changed,
                          json_pack("{s:s, s:s?, s:s?}", "field", field->name, "was",
                                    before ? before : was, "is", after ? after : now));
}

static int record(struct work *w, const struct field *field, const json_t *was, const json_t *is,
                  struct error *err)
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
static void keep_sent(struct work *w, const struct field *field, const json_t *sent)
{
    const json_t *said = fields_get(w->own, field), *kept = fields_get(w->stored, field);
    if (said && kept && !json_equal(said, kept) && json_equal(kept, fields_get(sent, field)))
        apart_row_keep_sent(&w->kept, field->name, json_string_value(said));
}

static bool differs(const json_t *a, const json_t *b)
{
    return a != b && !json_equal(a, b);
}

/* That harm may be meant is no field: whoever says what harm there was has read that. */
static int record_possible(struct work *w, struct error *err)
{
    const struct field *harm = fields_find("harm");
    if (!json_object_get(w->c->fields, harm->name) || fields_get(w->form->body, harm) ||
        !json_is_true(json_object_get(w->stored, "harm_possible")) || w->form->harm_possible)
        return 0;
    json_t *possible = json_string("possible");
    int rc = record(w, harm, possible, NULL, err);
    json_decref(possible);
    return rc;
}

static int record_all(struct work *w, struct error *err)
{
    int rc = 0;
    json_t *sent = NULL;
    w->c->changed = json_array();
    entry_get(w->store, w->c->uuid, take_sent, &sent, NULL);
    for (const struct field *f = fields_all(); f->name && !rc; f++) {
        bool person = f->flags & FIELD_PERSON;
        const json_t *was = fields_get(person ? w->own : w->stored, f);
        const json_t *is = fields_get(person ? w->said : w->form->body, f);
        /* of what may hold contact data, as it was said: masking alone changes nothing */
        bool typed = f->flags & FIELD_TYPED || strcmp(f->name, "lot_text") == 0;
        bool changed =
            typed ? differs(fields_get(w->own, f), fields_get(w->said, f)) : differs(was, is);
        if (f->type != FIELD_ID && changed) {
            keep_sent(w, f, sent);
            rc = record(w, f, was, is, err);
        }
    }
    json_decref(sent);
    return rc ? rc : record_possible(w, err);
}

/* ---- writing ---- */

static const char *name_of(const json_t *contact)
{
    const char *name = json_string_value(json_object_get(contact, "name"));
    return name ? name : "";
}

static int write_contact(struct work *w, struct error *err)
{
    struct apart_row row = w->kept;
    row.who = w->form->contact;
    row.texts = w->apart.said;
    apart_row_keep_name(&row, name_of(w->contact));
    w->kept.former = row.former;
    char *text = apart_row_body(&row), *fold = apart_row_keys(&row, "");
    int rc = contact_put(w->store,
                         &(struct contact_row){w->found.id, report_of(w), text, fold,
                                               w->why.at_ms + w->desk->contact_ms},
                         err);
    free(text);
    free(fold);
    return rc;
}

static int write_body(struct work *w, struct error *err)
{
    if (!w->found.joined)
        return anew_tell(w->store, &w->found, w->form->body, &w->why, &w->c->placed, err);
    char *text = jsonx_dump(w->form->body);
    int rc = joined_rewrite(w->store, w->c->uuid, w->form->received_ms, text, err);
    free(text);
    return rc ? rc : anew_tell(w->store, &w->found, NULL, &w->why, &w->c->placed, err);
}

/* What other callers of the same said, and what was told of it before, may hold what is known now.
 */
static int look_again(struct work *w, struct error *err)
{
    return apart_again_complaint(w->desk, w->store, w->found.id, err);
}

/* A verdict must not be left standing on a case without complaints. */
static int check_left(struct store *store, int64_t case_id, struct error *err)
{
    bool stands = false;
    int rc = case_left_settled(store, case_id, &stands, err);
    if (!rc && stands) {
        error_hint(err, "`oddloaf settle %s --reopen` first", CASE_ID(case_id));
        return error_set(err, ERROR_CONFLICT, "is the last complaint of the settled case %s",
                         CASE_ID(case_id));
    }
    return rc;
}

/* ---- harm ---- */

/* Words of `a` that `b` lacks. New reference. */
static json_t *words_without(const json_t *a, const json_t *b)
{
    json_t *words = json_array();
    for (size_t i = 0; i < json_array_size(a); i++)
        if (!has_word(b, json_array_get(a, i)))
            json_array_append(words, json_array_get(a, i));
    return words;
}

static void say_harm(struct correcting *c, const json_t *body)
{
    c->harm = json_incref(json_object_get(body, "harm"));
    c->harm_possible = json_is_true(json_object_get(body, "harm_possible"));
}

static int tell_harm(const struct work *w, struct error *err)
{
    const json_t *was = json_object_get(w->stored, "harm"),
                 *is = json_object_get(w->form->body, "harm");
    json_t *came = words_without(is, was), *went = words_without(was, is);
    struct alarm alarm = {.desk = w->desk,
                          .placed = &w->c->placed,
                          .case_was = w->found.case_id,
                          .why = &w->why,
                          .body = w->form->body,
                          .contact = w->form->contact};
    bool possible =
        w->form->harm_possible && !json_is_true(json_object_get(w->own, "harm_possible"));
    int rc = 0;
    w->c->harm_came = json_array_size(came) || possible;
    if (w->c->harm_came) {
        alarm.what = "a correction says so";
        rc = alarm_queue(w->store, &alarm, err);
    } else if (json_array_size(went)) {
        alarm.what = "a correction took it back";
        alarm.taken_back = went;
        rc = alarm_queue(w->store, &alarm, err);
    }
    json_decref(came);
    json_decref(went);
    return rc;
}

/* ---- correcting ---- */

/* Of a name that was corrected both are the caller's: what was said with the old one is no other's.
 */
static json_t *caller_of(const struct work *w)
{
    struct apart_row row = w->kept;
    row.who = w->form->contact;
    return apart_row_caller(&row, name_of(w->contact));
}

/* From here on the form is without contact data, as it is kept. */
static int take_apart(struct work *w, struct error *err)
{
    struct placing placing = {0};
    int rc = placing_find(w->desk, w->store, w->form, &placing, err);
    bool reads = placing.lots.state == LOT_EXACT || placing.lots.state == LOT_NOT_ON_RECORD;
    json_t *caller = caller_of(w);
    apart_take(w->store, w->form->body, caller, reads, &w->apart);
    json_decref(caller);
    mask_reason(w, w->form->contact);
    apart_taken(w->c->taken, w->contact);
    apart_taken(w->c->taken, w->form->contact);
    return rc;
}

static int read_corrected(struct work *w, struct error *err)
{
    struct error why = {0};
    w->said = json_deep_copy(w->own);
    int rc = set_all(w, w->said, &why);
    if (!rc)
        rc = read_again(w, &why);
    if (!w->c->faults)
        w->c->faults = json_array();
    int form = taking_form(w->desk, w->said, w->why.at_ms, w->c->faults, &w->form, &why);
    if (rc || form) {
        *err = why;
        return rc ? rc : form;
    }
    return take_apart(w, err);
}

static int write_all(struct work *w, struct error *err)
{
    int rc = record_all(w, err);
    if (rc || !json_array_size(w->c->changed)) {
        w->c->placed = (struct complaint_placed){.complaint_id = w->found.id,
                                                 .case_id = w->found.case_id,
                                                 .lot_id = w->found.lot_id,
                                                 .joined = w->found.joined,
                                                 .again = true};
        return rc;
    }
    rc = write_contact(w, err);
    if (!rc)
        rc = write_body(w, err);
    if (!rc)
        rc = look_again(w, err);
    if (!rc)
        rc = check_left(w->store, w->found.case_id, err);
    w->c->placed.joined = w->found.joined;
    return rc ? rc : tell_harm(w, err);
}

int correcting_apply(const struct desk *desk, struct store *store, struct correcting *c,
                     struct error *err)
{
    assert(store_writing(store));
    assert(c->uuid && c->why.by);
    struct work w = {.desk = desk, .store = store, .c = c, .why = c->why};
    int rc = find(&w, err);
    if (!rc && w.found.withdrawn) {
        rc = error_set(err, ERROR_CONFLICT, "is withdrawn");
        error_hint(err, "`oddloaf withdraw --undo %s` first", c->uuid);
    }
    if (!rc)
        rc = read_corrected(&w, err);
    if (!rc)
        say_harm(c, w.form->body);
    if (!rc)
        rc = write_all(&w, err);
    work_clear(&w);
    return rc;
}

/* ---- withdrawing ---- */

static int record_withdrawn(struct work *w, bool undo, struct error *err)
{
    static const char WITHDRAWN[] = "withdrawn";
    const struct complaint_why *why = &w->why;
    const struct change_row change = {
        .complaint = w->c->uuid, .at_ms = why->at_ms, .by = why->by, .reason = why->reason};
    json_array_append_new(
        w->c->changed, json_pack("{s:s, s:b, s:b}", "field", WITHDRAWN, "was", undo, "is", !undo));
    return change_add(w->store, &change, WITHDRAWN, undo ? WITHDRAWN : "", undo ? "" : WITHDRAWN,
                      err);
}

static int tell_withdrawn(struct work *w, bool undo, struct error *err)
{
    const json_t *harm = json_object_get(w->found.body, "harm");
    bool possible = json_is_true(json_object_get(w->found.body, "harm_possible"));
    w->c->harm_came = undo && (json_array_size(harm) || possible);
    const struct alarm alarm = {.desk = w->desk,
                                .placed = &w->c->placed,
                                .case_was = w->found.case_id,
                                .why = &w->why,
                                .what = undo ? "the withdrawn complaint was brought back"
                                             : "the complaint was withdrawn",
                                .body = w->found.body,
                                .contact = w->contact,
                                .taken_back = undo ? NULL : harm};
    if (undo ? json_array_size(harm) || possible : json_array_size(harm) > 0)
        return alarm_queue(w->store, &alarm, err);
    return alarm_case_emptied(w->store, &alarm, undo, err);
}

static int change_standing(struct work *w, bool undo, struct error *err)
{
    int64_t at_ms = w->why.at_ms;
    int rc = complaint_withdraw(w->store, w->found.id, undo ? WHEN_UNKNOWN_MS : at_ms, at_ms, err);
    if (!rc && undo)
        rc = anew_place(w->store, &w->found, &w->why, &w->c->placed, err);
    if (!rc && !undo)
        rc = check_left(w->store, w->found.case_id, err);
    if (!rc)
        rc = record_withdrawn(w, undo, err);
    return rc ? rc : tell_withdrawn(w, undo, err);
}

int correcting_withdraw(const struct desk *desk, struct store *store, struct correcting *c,
                        bool undo, struct error *err)
{
    assert(store_writing(store));
    assert(c->uuid && c->why.by);
    struct work w = {.desk = desk, .store = store, .c = c, .why = c->why};
    int rc = find(&w, err);
    c->changed = json_array();
    c->placed = (struct complaint_placed){
        .complaint_id = w.found.id, .case_id = w.found.case_id, .lot_id = w.found.lot_id};
    if (!rc && w.found.joined) {
        rc = error_set(err, ERROR_CONFLICT, "is joined to %s", w.found.uuid);
        error_hint(err, "`oddloaf join --undo %s` first", c->uuid);
    }
    if (!rc && undo)
        say_harm(c, w.found.body);
    if (!rc && w.found.withdrawn != undo)
        c->placed.again = true;
    else if (!rc)
        rc = change_standing(&w, undo, err);
    work_clear(&w);
    return rc;
}

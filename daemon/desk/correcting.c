#include "base/jsonx.h"
#include "desk/alarm.h"
#include "desk/apart_again.h"
#include "desk/correcting_inside.h"
#include "desk/placing.h"
#include "desk/taking.h"
#include "store/contact.h"
#include "store/joined.h"
#include <assert.h>
#include <stdlib.h>

static const char *name_of(const json_t *contact)
{
    const char *name = json_string_value(json_object_get(contact, "name"));
    return name ? name : "";
}

static int write_contact(struct correcting_work *w, struct error *err)
{
    struct apart_row row = w->kept;
    row.who = w->form->contact;
    row.texts = w->apart.said;
    apart_row_keep_name(&row, name_of(w->contact));
    w->kept.former = row.former;
    char *text = apart_row_body(&row), *fold = apart_row_keys(&row, "");
    int rc = contact_put(w->store,
                         &(struct contact_row){w->found.id, correcting_report(w), text, fold,
                                               w->why.at_ms + w->desk->contact_ms},
                         err);
    free(text);
    free(fold);
    return rc;
}

static int write_body(struct correcting_work *w, struct error *err)
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
static int look_again(struct correcting_work *w, struct error *err)
{
    return apart_again_complaint(w->desk, w->store, w->found.id, err);
}

/* Words of `a` that `b` lacks. New reference. */
static json_t *words_without(const json_t *a, const json_t *b)
{
    json_t *words = json_array();
    for (size_t i = 0; i < json_array_size(a); i++)
        if (!jsonx_holds(b, json_array_get(a, i)))
            json_array_append(words, json_array_get(a, i));
    return words;
}

static bool was_possible(const struct correcting_work *w)
{
    return json_is_true(json_object_get(w->own, "harm_possible"));
}

/* Whoever was told where it lies holds the wrong lot now. */
static bool is_moved(const struct correcting_work *w)
{
    return w->c->placed.lot_id != w->found.lot_id || w->c->placed.case_id != w->found.case_id;
}

static int tell_harm(struct correcting_work *w, struct error *err)
{
    const json_t *was = json_object_get(w->stored, "harm"),
                 *is = json_object_get(w->form->body, "harm");
    json_t *came = words_without(is, was), *went = words_without(was, is);
    struct alarm alarm = {.desk = w->desk,
                          .placed = &w->c->placed,
                          .case_was = w->found.case_id,
                          .why = &w->why,
                          .body = w->form->body,
                          .contact = w->form->contact,
                          .gathered = &w->c->mail_gathered};
    bool possible = w->form->harm_possible && !was_possible(w);
    int rc = 0;
    w->c->harm_came = json_array_size(came) || possible;
    if (w->c->harm_came) {
        alarm.what = "a correction says so";
        rc = alarm_queue(w->store, &alarm, err);
    } else if (json_array_size(went)) {
        alarm.what = "a correction took it back";
        alarm.taken_back = went;
        rc = alarm_queue(w->store, &alarm, err);
    } else if (was_possible(w) && !w->form->harm_possible) {
        rc = correcting_tell_spoken(w, "a correction says that there was no harm", err);
    } else if (is_moved(w) && (json_array_size(is) || w->form->harm_possible)) {
        alarm.what = "a correction says that it is about another lot";
        alarm.at_once = true;
        rc = alarm_queue(w->store, &alarm, err);
    }
    json_decref(came);
    json_decref(went);
    return rc;
}

/* Of a name that was corrected both are the caller's: what was said with the old one is no other's.
 */
static json_t *caller_of(const struct correcting_work *w)
{
    struct apart_row row = w->kept;
    row.who = w->form->contact;
    return apart_row_caller(&row, name_of(w->contact));
}

/* From here on the form is without contact data, as it is kept. */
static int take_apart(struct correcting_work *w, struct error *err)
{
    struct placing placing = {0};
    int rc = placing_find(w->desk, w->store, w->form, &placing, err);
    bool reads = placing.lots.state == LOT_EXACT || placing.lots.state == LOT_NOT_ON_RECORD;
    json_t *caller = caller_of(w);
    const struct apart_from from = {w->desk, w->store};
    apart_take(&from, w->form->body, caller, reads, &w->apart);
    json_decref(caller);
    correcting_mask_reason(w, w->form->contact);
    apart_taken(&from, w->c->taken, w->contact);
    apart_taken(&from, w->c->taken, w->form->contact);
    return rc;
}

static int read_corrected(struct correcting_work *w, struct error *err)
{
    struct error why = {0};
    w->said = json_deep_copy(w->own);
    int rc = correcting_set(w, w->said, &why);
    if (!rc)
        rc = correcting_read_note(w, &why);
    if (!w->c->faults)
        w->c->faults = json_array();
    int form = taking_form(w->desk, w->said, w->why.at_ms, w->c->faults, &w->form, &why);
    if (rc || form) {
        if (err)
            *err = why;
        return rc ? rc : form;
    }
    return take_apart(w, err);
}

static int write_all(struct correcting_work *w, struct error *err)
{
    int rc = correcting_record(w, err);
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
        rc = correcting_check_left(w->store, w->found.case_id, err);
    w->c->placed.joined = w->found.joined;
    return rc ? rc : tell_harm(w, err);
}

int correcting_apply(const struct desk *desk, struct store *store, struct correcting *c,
                     struct error *err)
{
    assert(store_writing(store));
    assert(c->uuid && c->why.by);
    struct correcting_work w = {.desk = desk, .store = store, .c = c, .why = c->why};
    int rc = correcting_find(&w, err);
    if (!rc && w.found.withdrawn) {
        rc = error_set(err, ERROR_CONFLICT, "is withdrawn");
        error_hint(err, "`oddloaf withdraw --undo %s` first", c->uuid);
    }
    if (!rc)
        rc = read_corrected(&w, err);
    if (!rc)
        correcting_say_harm(c, w.form->body);
    if (!rc)
        rc = write_all(&w, err);
    /* whoever says what harm there was has read it */
    if (!rc && !c->harm_came && !json_object_get(c->fields, "harm"))
        rc = correcting_hear(&w, "the reason of a correction says so", err);
    correcting_clear(&w);
    return rc;
}

#include "base/jsonx.h"
#include "base/short_id.h"
#include "desk/correcting_inside.h"
#include "desk/sent.h"
#include "intake/mask.h"
#include "store/case.h"
#include "store/entry.h"
#include "store/joined.h"
#include <stdlib.h>
#include <string.h>

void correcting_clear(struct correcting_work *w)
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

static int take_report(void *arg, const struct joined_row *row)
{
    return jsonx_parse(row->body, strlen(row->body), arg, NULL);
}

static int read_own(struct correcting_work *w, struct error *err)
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

const char *correcting_report(const struct correcting_work *w)
{
    return w->found.joined ? w->c->uuid : "";
}

void correcting_mask_reason(struct correcting_work *w, const json_t *contact)
{
    char *masked = mask_contact(w->why.reason, contact);
    free(w->reason);
    w->why.reason = w->reason = masked;
}

/* Of a job that was undone and runs again (store/writer.h). */
static void drop_results(struct correcting *c)
{
    json_t **const results[] = {&c->changed, &c->taken, &c->faults, &c->harm};
    for (size_t i = 0; i < sizeof results / sizeof results[0]; i++) {
        json_decref(*results[i]);
        *results[i] = NULL;
    }
    c->harm_possible = c->harm_came = c->mail_gathered = false;
}

int correcting_find(struct correcting_work *w, struct error *err)
{
    drop_results(w->c);
    int rc = anew_find(w->desk, w->store, w->c->uuid, &w->found, err);
    if (!rc)
        rc = read_own(w, err);
    if (rc)
        return rc;
    w->own = json_deep_copy(w->stored);
    json_decref(apart_show(w->store, w->found.id, correcting_report(w), w->own, NULL));
    apart_row_get(w->store, w->found.id, correcting_report(w), &w->kept);
    w->contact = w->kept.who;
    if (w->contact)
        json_object_set(w->own, "contact", w->contact);
    correcting_mask_reason(w, w->contact);
    return 0;
}

void correcting_sent(const struct correcting_work *w, json_t **ret)
{
    *ret = NULL;
    entry_get(w->store, w->c->uuid, sent_read, ret, NULL);
}

int correcting_check_left(struct store *store, int64_t case_id, struct error *err)
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

int correcting_hear(struct correcting_work *w, const char *where, struct error *err)
{
    struct overheard *heard = &w->c->heard;
    heard->desk = w->desk;
    heard->case_id = w->c->placed.case_id;
    heard->report = w->c->uuid;
    heard->where = where;
    heard->why = w->why;
    struct text_buffer words = {0};
    text_append(&words, w->why.reason);
    overheard_add_name(w->desk, w->why.by, &words);
    heard->why.reason = words.data;
    int rc = overheard_hear(w->store, heard, err);
    heard->why.reason = NULL;
    text_buffer_free(&words);
    return rc;
}

void correcting_say_harm(struct correcting *c, const json_t *body)
{
    c->harm = json_incref(json_object_get(body, "harm"));
    c->harm_possible = json_is_true(json_object_get(body, "harm_possible"));
}

#include "desk/anew.h"
#include "base/jsonx.h"
#include "base/text.h"
#include "desk/placing.h"
#include "intake/fields.h"
#include "intake/report.h"
#include "store/joined.h"
#include <assert.h>
#include <stdlib.h>
#include <string.h>

/* ---- who is who ---- */

void anew_clear(struct anew *found)
{
    json_decref(found->body);
    found->body = NULL;
}

static int take_complaint(void *arg, const struct complaint_row *row)
{
    struct anew *found = arg;
    *found = (struct anew){.desk = found->desk,
                           .id = row->id,
                           .case_id = row->case_id,
                           .lot_id = row->lot_id,
                           .received_ms = row->received_ms,
                           .logged_ms = row->logged_ms,
                           .is_return = strcmp(row->channel, "return") == 0,
                           .withdrawn = row->withdrawn,
                           .joined = found->joined};
    text_clip(row->uuid, found->uuid, sizeof found->uuid);
    text_clip(row->symptom, found->symptom, sizeof found->symptom);
    return jsonx_parse(row->body, strlen(row->body), &found->body, NULL);
}

static int take_uuid(void *arg, const struct joined_row *row)
{
    text_clip(row->complaint, arg, UUID_TEXT);
    return 0;
}

int anew_find(const struct desk *desk, struct store *store, const char *uuid, struct anew *ret,
              struct error *err)
{
    assert(uuid && ret);
    char first[UUID_TEXT];
    *ret = (struct anew){.desk = desk};
    int rc = complaint_by_uuid(store, uuid, take_complaint, ret, err);
    if (rc != ERROR_NOT_FOUND || joined_by_uuid(store, uuid, take_uuid, first, NULL) != 0)
        return rc;
    ret->joined = true;
    error_clear(err);
    return complaint_by_uuid(store, first, take_complaint, ret, err);
}

/* ---- what it says ---- */

/* Does the lot, or the case, have to be looked for anew? */
static bool moves(const json_t *before, const json_t *after)
{
    static const char *const OF_CASE[] = {"symptom", "received_at"};
    for (const struct field *f = fields_all(); f->name; f++) {
        const json_t *a = fields_get(before, f);
        const json_t *b = fields_get(after, f);
        bool counts = f->flags & FIELD_OF_LOT || strcmp(f->name, OF_CASE[0]) == 0 ||
                      strcmp(f->name, OF_CASE[1]) == 0;
        if (counts && a != b && !json_equal(a, b))
            return true;
    }
    return false;
}

static int write_anew(struct store *store, const struct anew *was, json_t *said,
                      const struct complaint_why *why, struct complaint_placed *ret,
                      struct error *err)
{
    assert(store_writing(store));
    assert(was->id > 0);
    const struct form_options options = placing_options(was->desk, said, NULL);
    struct complaint_form *form = NULL;
    struct placing placing = {0};
    struct complaint_new c;
    int rc = complaint_form_read(said, &options, &form, err);
    if (!rc)
        rc = placing_find(was->desk, store, form, &placing, err);
    if (!rc) {
        char *body = jsonx_dump(form->body);
        placing_complaint(form, &placing, body, why->at_ms, &c);
        rc = complaint_rewrite(store, was->id, &c, why->at_ms, err);
        free(body);
    }
    *ret = (struct complaint_placed){
        .complaint_id = was->id, .case_id = was->case_id, .lot_id = was->lot_id};
    if (!rc && moves(was->body, said))
        rc = complaint_place(store, was->id, &placing.lots, why, ret, err);
    complaint_form_free(form);
    return rc;
}

int anew_place(struct store *store, const struct anew *was, const struct complaint_why *why,
               struct complaint_placed *ret, struct error *err)
{
    assert(store_writing(store));
    assert(was->id > 0);
    const struct form_options options = placing_options(was->desk, was->body, NULL);
    struct complaint_form *form = NULL;
    struct placing placing = {0};
    int rc = complaint_form_read(was->body, &options, &form, err);
    if (!rc)
        rc = placing_find(was->desk, store, form, &placing, err);
    if (!rc)
        rc = complaint_place(store, was->id, &placing.lots, why, ret, err);
    complaint_form_free(form);
    return rc;
}

/* ---- what all of its reports say together ---- */

struct telling {
    json_t *said; /* by the complaint and the reports so far */
    int count;
};

static int tell(void *arg, const struct joined_row *row)
{
    struct telling *t = arg;
    json_t *report = NULL;
    if (jsonx_parse(row->body, strlen(row->body), &report, NULL) == 0) {
        json_t *merged = report_merge(t->said, report, NULL, NULL);
        json_decref(t->said);
        t->said = merged;
    }
    json_decref(report);
    t->count++;
    return 0;
}

static int own_body(struct store *store, const struct anew *was, json_t **ret, struct error *err)
{
    char *first = NULL;
    int rc = joined_first(store, was->id, &first, err);
    if (!rc && first)
        rc = jsonx_parse(first, strlen(first), ret, err);
    else if (!rc)
        *ret = json_incref(was->body);
    free(first);
    return rc;
}

static int keep_own(struct store *store, int64_t complaint_id, const json_t *own, struct error *err)
{
    char *text = jsonx_dump(own);
    int rc = joined_first_put(store, complaint_id, text, err);
    free(text);
    return rc;
}

int anew_tell(struct store *store, const struct anew *was, json_t *own,
              const struct complaint_why *why, struct complaint_placed *ret, struct error *err)
{
    assert(store_writing(store));
    struct telling t = {0};
    int rc = own ? 0 : own_body(store, was, &t.said, err);
    if (own)
        t.said = json_incref(own);
    if (!rc)
        rc = joined_of(store, was->id, tell, &t, err);
    if (!rc)
        rc = write_anew(store, was, t.said, why, ret, err);
    if (!rc && t.count == 0)
        rc = joined_first_remove(store, was->id, err);
    else if (!rc && own)
        rc = keep_own(store, was->id, own, err);
    json_decref(t.said);
    return rc;
}

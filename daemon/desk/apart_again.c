#include "desk/apart_again.h"
#include "base/jsonx.h"
#include "base/text.h"
#include "desk/apart.h"
#include "desk/apart_past.h"
#include "desk/sent.h"
#include "intake/caller.h"
#include "store/contact.h"
#include "store/joined.h"
#include <assert.h>
#include <stdlib.h>
#include <string.h>

/* What a report says, as it was said, and what is left of it without contact data. */
struct again {
    const struct desk *desk;
    struct store *store;
    const struct entry_report *row;
    const char *names;     /* of other callers */
    struct apart_row kept; /* of the report */
    json_t *caller;        /* by which its texts are looked through: with others' names */
    char *sent, *first;    /* as they are kept; NULL none */
    struct error *err;
};

static json_t *parse(const char *text)
{
    json_t *json = NULL;
    if (text)
        jsonx_parse(text, strlen(text), &json, NULL);
    return json;
}

static const char *text_of(const json_t *body, const char *name)
{
    return json_string_value(json_object_get(body, name));
}

static const char *report_of(const struct again *a)
{
    return a->row->joined ? a->row->report : "";
}

/* The text without contact data; NULL for NULL. malloc'd. `ret_said`: texts as they were said, new
 * reference. */
static char *masked(const struct again *a, json_t *said, json_t **ret_said)
{
    struct apart apart;
    *ret_said = NULL;
    if (!said)
        return NULL;
    apart_take(&(struct apart_from){a->desk, a->store}, said, a->caller, a->row->code_reads,
               &apart);
    *ret_said = json_incref(apart.said);
    apart_clear(&apart);
    return jsonx_dump(said);
}

/* What was sent, as it was said, where it says otherwise by now. */
static void keep_sent(struct again *a, const json_t *said)
{
    const char *name;
    json_t *text;
    json_object_foreach((json_t *)said, name,
                        text) if (!json_equal(text, json_object_get(a->kept.texts, name)))
        apart_row_keep_sent(&a->kept, name, json_string_value(text));
}

static json_t *first_of(const struct again *a)
{
    char *text = NULL;
    if (a->row->joined || joined_first(a->store, a->row->complaint_id, &text, NULL))
        return NULL;
    json_t *first = parse(text);
    free(text);
    return first;
}

/* The keys are made anew as well: an older version kept others. */
static int keep_contact(const struct again *a)
{
    char *text = apart_row_body(&a->kept), *fold = apart_row_keys(&a->kept, a->names);
    const struct contact_row row = {a->row->complaint_id, report_of(a), text, fold,
                                    a->row->logged_ms + a->desk->contact_ms};
    int rc = contact_add(a->store, &row, a->err);
    free(fold);
    free(text);
    return rc;
}

/* Who called by the story, as of a first note (desk/noted.h): a version before asked nobody. */
static void find_caller(struct again *a, const json_t *said)
{
    const char *note = text_of(said, "note");
    json_t *told =
        json_pack("{s:s*, s:O*}", "lot_text", text_of(said, "lot_text"), "contact", a->kept.who);
    if (note)
        caller_fill(a->desk->lexicon, told, note);
    json_decref(a->kept.who);
    a->kept.who = json_incref(json_object_get(told, "contact"));
    json_decref(told);
}

static bool differs(const char *text, const char *kept)
{
    return text && kept && strcmp(text, kept) != 0;
}

/* What the report said as it is kept, and is masked now. */
static int forget(const struct again *a, const json_t *body)
{
    static const char *const COUNTED[] = {"store", "route"};
    json_t *was = parse(a->row->body);
    int rc = 0;
    for (size_t i = 0; i < sizeof COUNTED / sizeof COUNTED[0] && !rc; i++) {
        const char *text = text_of(was, COUNTED[i]);
        if (differs(text, text_of(body, COUNTED[i])))
            rc = apart_past_forget(a->store, COUNTED[i], text, a->err);
    }
    json_decref(was);
    return rc;
}

static int keep(struct again *a, json_t *body, json_t *sent, json_t *first)
{
    json_t *said, *sent_said, *first_said;
    char *text = masked(a, body, &said), *sent_text = masked(a, sent, &sent_said);
    char *first_text = masked(a, first, &first_said);
    json_decref(a->kept.texts);
    a->kept.texts = said;
    keep_sent(a, sent_said);
    const struct complaint_new c = {.reference = text_of(body, "reference"),
                                    .store = text_of(body, "store"),
                                    .store_said = text_of(body, "store"),
                                    .route = text_of(body, "route"),
                                    .lot_text = text_of(body, "lot_text"),
                                    .note = text_of(body, "note"),
                                    .body = text};
    int rc = keep_contact(a);
    bool changed =
        differs(text, a->row->body) || differs(sent_text, a->sent) || differs(first_text, a->first);
    if (!rc && changed)
        rc = entry_rewrite(a->store, a->row, &c, sent_text, first_text, a->err);
    else if (!rc && !a->row->entry)
        rc = entry_put(a->store, a->row->report, &c, a->err);
    if (!rc && changed)
        rc = forget(a, body);
    free(text);
    free(sent_text);
    free(first_text);
    json_decref(sent_said);
    json_decref(first_said);
    return rc;
}

int apart_again_report(const struct desk *desk, struct store *store, const struct entry_report *row,
                       const char *names, struct error *err)
{
    assert(store_writing(store));
    struct again a = {.desk = desk, .store = store, .row = row, .names = names, .err = err};
    json_t *body = NULL, *sent = NULL, *first = first_of(&a);
    int rc = jsonx_parse(row->body, strlen(row->body), &body, err);
    if (!rc) {
        entry_get(store, row->report, sent_read, &sent, NULL);
        a.sent = sent ? jsonx_dump(sent) : NULL;
        a.first = first ? jsonx_dump(first) : NULL;
        json_decref(apart_show(store, row->complaint_id, report_of(&a), body, sent));
        json_decref(apart_show(store, row->complaint_id, report_of(&a), first, NULL));
        apart_row_get(store, row->complaint_id, report_of(&a), &a.kept);
        find_caller(&a, body);
        a.caller = apart_row_caller(&a.kept, names);
        rc = apart_past_mask(desk, store, row, a.caller, &a.kept, err);
        if (!rc)
            rc = keep(&a, body, sent, first);
    }
    json_decref(body);
    json_decref(sent);
    json_decref(first);
    apart_row_clear(&a.kept);
    json_decref(a.caller);
    free(a.sent);
    free(a.first);
    return rc;
}

/* ---- a complaint ---- */

struct callers {
    const struct desk *desk;
    struct store *store;
    struct text_buffer names;
    struct error *err;
};

static int add_name(void *arg, const struct entry_report *row)
{
    struct callers *c = arg;
    struct apart_row kept;
    apart_row_get(c->store, row->complaint_id, row->joined ? row->report : "", &kept);
    json_t *caller = apart_row_caller(&kept, "");
    text_appendf(&c->names, "%s ", text_of(caller, "name"));
    json_decref(caller);
    apart_row_clear(&kept);
    return 0;
}

static int look_again(void *arg, const struct entry_report *row)
{
    struct callers *c = arg;
    return apart_again_report(c->desk, c->store, row, c->names.data, c->err);
}

int apart_again_complaint(const struct desk *desk, struct store *store, int64_t complaint_id,
                          struct error *err)
{
    assert(store_writing(store));
    assert(complaint_id > 0);
    struct callers c = {desk, store, {0}, err};
    text_append(&c.names, "");
    int rc = entry_each_of(store, complaint_id, add_name, &c, err);
    if (!rc)
        rc = entry_each_of(store, complaint_id, look_again, &c, err);
    text_buffer_free(&c.names);
    return rc;
}

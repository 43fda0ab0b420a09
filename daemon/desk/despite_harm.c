#include "desk/despite_harm.h"
#include "base/short_id.h"
#include "base/text.h"
#include "desk/apart.h"
#include "desk/event.h"
#include "desk/logged.h"
#include "desk/outgoing.h"
#include "desk/told.h"
#include "intake/harm.h"
#include "store/case.h"
#include "store/follow.h"
#include "store/open_harm.h"
#include "store/outbox.h"
#include <assert.h>
#include <stdlib.h>
#include <string.h>

enum { FOUND_MOST = 20, NOTE_MOST = 300 };

/* ---- what is open ---- */

struct finding {
    struct despite_harm *despite;
    json_t *cases; /* "C12" → {"id","lot_id","possible","harm": {word: true},"said": […]} */
};

static json_t *case_of(const struct finding *f, const struct open_harm_row *row)
{
    const char *name = CASE_ID(row->case_id);
    json_t *one = json_object_get(f->cases, name);
    if (!one) {
        one = json_pack("{s:I, s:I, s:b, s:{}, s:[]}", "id", (json_int_t)row->case_id, "lot_id",
                        (json_int_t)row->lot_id, "possible", row->possible, "harm", "said");
        json_object_set_new(f->cases, name, one);
    }
    return one;
}

static void add_words(json_t *one, const json_t *harm)
{
    size_t i;
    const json_t *word;
    json_array_foreach(harm, i, word)
    {
        json_object_set_new(json_object_get(one, "harm"), json_string_value(word), json_true());
    }
}

/* Of words that may mean harm the case is named alone: which complaint's they are is not kept. */
static json_t *found_json(const struct finding *f, const struct open_harm_row *row,
                          const json_t *said)
{
    char at[40], note[NOTE_MOST];
    json_t *item = json_pack("{s:s, s:s}", "case", CASE_ID(row->case_id), "symptom", row->symptom);
    if (row->possible) {
        json_object_set_new(item, "possible", json_true());
        return item;
    }
    json_object_set_new(item, "complaint", json_string(row->uuid));
    json_object_set_new(item, "received_at",
                        json_string(when_format(f->despite->desk->tz, row->received_ms, at)));
    json_object_set(item, "harm", json_object_get(said, "harm"));
    const char *text = json_string_value(json_object_get(said, "note"));
    if (text)
        json_object_set_new(item, "note", json_string(text_clip(text, note, sizeof note)));
    return item;
}

static int take_row(void *arg, const struct open_harm_row *row)
{
    const struct finding *f = arg;
    json_t *one = case_of(f, row), *told = json_object_get(one, "said");
    json_t *said = told_logged(row->body);
    bool first = json_array_size(told) == 0;
    if (first || (!row->possible && json_array_size(f->despite->found) < FOUND_MOST))
        json_array_append_new(f->despite->found, found_json(f, row, said));
    add_words(one, json_object_get(said, "harm"));
    if (json_array_size(told) < TOLD_MOST)
        json_array_append(told, said);
    json_decref(said);
    return 0;
}

static int find(struct store *store, struct finding *f, struct error *err)
{
    const struct despite_harm *d = f->despite;
    int rc = d->case_id ? open_harm_of_case(store, d->case_id, take_row, f, err) : 0;
    for (size_t i = 0; i < d->lot_count && !rc; i++)
        rc = open_harm_of_lot(store, &d->lots[i], take_row, f, err);
    return rc;
}

/* ---- refused ---- */

/* "illness, injury" */
static void append_words(struct text_buffer *out, const json_t *one)
{
    const char *word;
    json_t *is;
    size_t count = 0;
    json_object_foreach(json_object_get(one, "harm"), word, is)
    {
        text_appendf(out, "%s%s", count++ ? ", " : "", word);
    }
    if (!count)
        text_append(out, "a note may speak of it");
}

static int refuse(const struct finding *f, struct error *err)
{
    struct text_buffer cases = {0};
    const char *name;
    json_t *one;
    json_object_foreach(f->cases, name, one)
    {
        text_appendf(&cases, "%s%s (", cases.length ? ", " : "", name);
        append_words(&cases, one);
        text_append(&cases, ")");
    }
    error_set(err, ERROR_CONFLICT, "harm is open of %.200s; nothing was recorded", cases.data);
    error_hint(err, "read it first; to do it all the same say why: --anyway TEXT, which is kept "
                    "with your name and mailed to QA at once");
    text_buffer_free(&cases);
    return ERROR_CONFLICT;
}

/* ---- done all the same ---- */

static int record(struct store *store, const struct despite_harm *d, int64_t case_id,
                  const char *why, struct error *err)
{
    struct text_buffer text = {0};
    text_appendf(&text, "%s although harm is open: %s", d->did, why);
    const struct follow_entry entry = {.case_id = case_id,
                                       .at_ms = d->now_ms,
                                       .what = "noted",
                                       .report = "",
                                       .was = "",
                                       .now = "",
                                       .text = text.data,
                                       .by_name = d->by,
                                       .user = d->user};
    int rc = follow_add(store, &entry, NULL, err);
    text_buffer_free(&text);
    return rc;
}

static json_t *event_json(struct store *store, const struct despite_harm *d, const char *why,
                          const json_t *one)
{
    int64_t case_id = json_integer_value(json_object_get(one, "id"));
    bool possible = json_is_true(json_object_get(one, "possible"));
    const char *word;
    json_t *is, *harm = json_array();
    json_object_foreach(json_object_get(one, "harm"), word, is)
    {
        json_array_append_new(harm, json_string(word));
    }
    json_t *event = json_pack(
        "{s:s, s:s, s:s, s:o, s:s, s:b, s:o, s:O, s:O}", "event", "despite", "plant",
        d->desk->plant, "did", d->did, "why", json_sprintf("%s: %s", d->by, why), "case",
        CASE_ID(case_id), "possible", possible, "harm", harm, "said", json_object_get(one, "said"),
        "needs", (json_t *)harm_needs_of(d->desk->harm, possible));
    logged_case_json(d->desk, store, case_id, event, NULL);
    json_object_set_new(
        event, "made",
        told_lot(store, d->desk->tz, json_integer_value(json_object_get(one, "lot_id"))));
    return event;
}

static int tell(struct store *store, const struct despite_harm *d, const json_t *one,
                struct error *err)
{
    char message_id[128];
    int64_t case_id = json_integer_value(json_object_get(one, "id"));
    const struct apart_about about = {case_id, json_integer_value(json_object_get(one, "lot_id")),
                                      NULL};
    char *why = apart_written(store, d->anyway, &about);
    event_message_id(d->desk->mail_domain, d->now_ms, message_id, sizeof message_id);
    const struct outbox_new mail = {.event = OUTBOX_URGENT,
                                    .case_id = case_id,
                                    .message_id = message_id,
                                    .created_ms = d->now_ms};
    int rc = record(store, d, case_id, why, err);
    if (!rc)
        rc = outgoing_add(store, &mail, event_json(store, d, why, one), err);
    free(why);
    return rc;
}

int despite_harm_pass(struct store *store, struct despite_harm *despite, struct error *err)
{
    assert(store_writing(store));
    assert(despite->desk && despite->did && despite->by);
    json_decref(despite->found); /* of a job that was rolled back and runs again */
    despite->found = json_array();
    struct finding f = {despite, json_object()};
    const char *name;
    json_t *one;
    int rc = find(store, &f, err);
    if (!rc && json_object_size(f.cases) && !despite->safer && !despite->anyway)
        rc = refuse(&f, err);
    json_object_foreach(f.cases, name, one)
    {
        if (!rc && despite->anyway)
            rc = tell(store, despite, one, err);
    }
    json_decref(f.cases);
    return rc;
}

#include "desk/despite_harm.h"
#include "base/jsonx.h"
#include "base/short_id.h"
#include "base/text.h"
#include "desk/apart.h"
#include "desk/event.h"
#include "desk/logged.h"
#include "desk/outgoing.h"
#include "desk/spoken.h"
#include "desk/told.h"
#include "intake/harm.h"
#include "rank/triage.h"
#include "store/case.h"
#include "store/follow.h"
#include "store/open_harm.h"
#include "store/outbox.h"
#include "store/ranking.h"
#include <assert.h>
#include <stdlib.h>
#include <string.h>

enum { FOUND_MOST = 20, NOTE_MOST = 300 };

/* ---- what is open ---- */

struct finding {
    struct despite_harm *despite;
    json_t *cases; /* "C12" → {"id","lot_id","possible","harm": {word: true},"said": […]}, with
                    * "unfit" and "probability" if the bread is */
};

static json_t *case_of(const struct finding *f, int64_t case_id, int64_t lot_id, bool possible)
{
    const char *name = CASE_ID(case_id);
    json_t *one = json_object_get(f->cases, name);
    if (!one) {
        one = json_pack("{s:I, s:I, s:b, s:{}, s:[]}", "id", (json_int_t)case_id, "lot_id",
                        (json_int_t)lot_id, "possible", possible, "harm", "said");
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
    json_t *one = case_of(f, row->case_id, row->lot_id, row->possible),
           *told = json_object_get(one, "said");
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

/* Before its complaints: a laboratory's result, or a call since, may tell more than they do. */
static int add_spoken(struct store *store, const struct finding *f, struct error *err)
{
    const char *name;
    int rc = 0;
    json_t *one, *list = json_array();
    json_object_foreach(f->cases, name, one)
    {
        json_t *spoken = NULL;
        int64_t case_id = json_integer_value(json_object_get(one, "id"));
        if (!case_id)
            continue;
        rc = rc ? rc : spoken_of_case(f->despite->desk, store, case_id, &spoken, err);
        json_array_extend(list, spoken);
        json_decref(spoken);
    }
    json_array_extend(list, f->despite->found);
    json_decref(f->despite->found);
    f->despite->found = list;
    return rc;
}

/* How likely it is that the bread is moldy or ropy by a fault that lies in the lot. */
static double unfit_share(const struct triage *triage, const struct ranking *ranking,
                          const char *symptom, const char **ret_likeliest)
{
    double share = 0;
    for (int i = 0; i < ranking->cause_count; i++) {
        const struct ranking_cause *cause = &ranking->causes[i];
        if (!triage_cause_in_plant(triage, cause->cause) ||
            !triage_cause_unfit(triage, cause->cause, symptom))
            continue;
        share += cause->probability;
        *ret_likeliest = *ret_likeliest ? *ret_likeliest : cause->cause;
    }
    return share;
}

static void add_unfit(const struct finding *f, const struct case_row *row, const char *cause,
                      double share)
{
    const char *title = triage_cause_title(f->despite->desk->triage, cause);
    json_t *one = case_of(f, row->id, row->lot_id, false), *item;
    item = json_pack("{s:s, s:s, s:s, s:o}", "case", CASE_ID(row->id), "symptom", row->symptom,
                     "unfit", title ? title : cause, "probability", jsonx_rounded(share, 4));
    json_object_set(one, "unfit", json_object_get(item, "unfit"));
    json_object_set(one, "probability", json_object_get(item, "probability"));
    json_array_append_new(f->despite->found, item);
}

struct looking {
    const struct finding *f;
    struct store *store;
    struct error *err;
};

static int take_case(void *arg, const struct case_row *row)
{
    static const double LIES_IN_THE_LOT = 0.5;
    const struct looking *l = arg;
    struct ranking ranking = {0};
    struct error err = {0};
    const char *likeliest = NULL;
    if (row->settled)
        return 0;
    int rc = ranking_get(l->store, row->id, 0, &ranking, &err);
    if (rc == ERROR_NOT_FOUND) /* of a kind that has no causes, or before the first */
        return 0;
    if (rc)
        *l->err = err;
    const struct triage *triage = triage_of(l->f->despite->desk->triage, row->plant);
    double share = rc ? 0 : unfit_share(triage, &ranking, row->symptom, &likeliest);
    if (share >= LIES_IN_THE_LOT)
        add_unfit(l->f, row, likeliest, share);
    ranking_clear(&ranking);
    return rc;
}

/* ---- what a laboratory found ---- */

struct guarding {
    const struct finding *f;
    const json_t *spoken;
    int64_t newest; /* of the lot's cases; 0: it has none */
    bool open;      /* some case is */
};

static void guard(const struct guarding *g, json_t *one)
{
    size_t i;
    const json_t *row;
    json_array_foreach(g->spoken, i, row)
    {
        const json_t *harm = json_object_get(row, "harm");
        add_words(one, harm);
        if (!json_array_size(harm))
            json_object_set_new(one, "possible", json_true());
    }
}

static int guard_case(void *arg, const struct case_row *row)
{
    struct guarding *g = arg;
    g->newest = row->id;
    if (row->settled && !row->harm_unseen)
        return 0;
    g->open = true;
    guard(g, case_of(g->f, row->id, row->lot_id, false));
    return 0;
}

/* Of no case: the lot itself is named. */
static void guard_alone(const struct guarding *g, const struct hold_of *lot)
{
    json_t *one = json_pack("{s:i, s:I, s:b, s:{}, s:[]}", "id", 0, "lot_id",
                            (json_int_t)lot->lot_id, "possible", 0, "harm", "said");
    json_object_set_new(one, "lot", json_string(lot->code));
    json_object_set_new(g->f->cases, lot->code, one);
    guard(g, one);
    json_array_extend(g->f->despite->found, (json_t *)(uintptr_t)g->spoken);
}

/* A result that says harm, or may, guards the lot until it is taken back: that a caller was not ill
 * after all does not make the bread free of what was found in it. */
static int find_of_laboratory(struct store *store, const struct finding *f,
                              const struct hold_of *lot, struct error *err)
{
    json_t *spoken = NULL;
    int rc = spoken_of_lot(f->despite->desk, store, lot, &spoken, err);
    struct guarding g = {.f = f, .spoken = spoken};
    if (!rc && json_array_size(spoken))
        rc = case_of_lot(store, lot->lot_id, guard_case, &g, err);
    if (!rc && json_array_size(spoken) && !g.open) {
        if (g.newest)
            guard(&g, case_of(f, g.newest, lot->lot_id, false));
        else
            guard_alone(&g, lot);
    }
    json_decref(spoken);
    return rc;
}

static int find_of_lot(struct store *store, struct finding *f, const struct hold_of *lot,
                       struct error *err)
{
    struct looking l = {f, store, err};
    int rc = open_harm_of_lot(store, lot, take_row, f, err);
    rc = rc ? rc : find_of_laboratory(store, f, lot, err);
    const struct despite_harm *d = f->despite;
    bool eaten = d->reworked || (d->freed && !hold_stands(store, lot->lot_id));
    if (rc || !eaten || !lot->lot_id)
        return rc;
    return case_of_lot(store, lot->lot_id, take_case, &l, err);
}

/* That is settled: its own complaints', and what was found in its lot. */
static int find_of_case(struct store *store, const struct finding *f, struct error *err)
{
    struct case_row row;
    json_t *spoken = NULL;
    int rc = open_harm_of_case(store, f->despite->case_id, take_row, (void *)(uintptr_t)f, err);
    rc = rc ? rc : case_get(store, f->despite->case_id, &row, err);
    if (!rc && row.lot_id > 0)
        rc = spoken_of_lot(f->despite->desk, store, &(struct hold_of){.lot_id = row.lot_id},
                           &spoken, err);
    if (!rc && json_array_size(spoken))
        guard(&(struct guarding){.f = f, .spoken = spoken}, case_of(f, row.id, row.lot_id, false));
    json_decref(spoken);
    return rc;
}

static int find(struct store *store, struct finding *f, struct error *err)
{
    const struct despite_harm *d = f->despite;
    int rc = d->case_id ? find_of_case(store, f, err) : 0;
    for (size_t i = 0; i < d->lot_count && !rc; i++)
        rc = find_of_lot(store, f, &d->lots[i], err);
    return rc;
}

/* ---- refused ---- */

static bool is_harm(const json_t *one)
{
    return json_is_true(json_object_get(one, "possible")) ||
           json_object_size(json_object_get(one, "harm")) > 0;
}

/* The chance is that of all of them: the likeliest alone may have little of it. */
static void append_unfit(struct text_buffer *out, const json_t *one)
{
    char percent[8];
    text_appendf(out, "causes that lie in the lot, %s %% together, the likeliest: %s",
                 text_chance(json_number_value(json_object_get(one, "probability")), percent),
                 json_string_value(json_object_get(one, "unfit")));
}

/* "illness, injury" */
static void append_words(struct text_buffer *out, const json_t *one)
{
    const char *word;
    json_t *is;
    size_t count = 0;
    if (!is_harm(one)) {
        append_unfit(out, one);
        return;
    }
    json_object_foreach(json_object_get(one, "harm"), word, is)
    {
        text_appendf(out, "%s%s", count++ ? ", " : "", word);
    }
    if (!count)
        text_append(out, "a note or a result may speak of it");
}

static bool any_harm(const struct finding *f)
{
    const char *name;
    json_t *one;
    json_object_foreach(f->cases, name, one)
    {
        if (is_harm(one))
            return true;
    }
    return false;
}

static int refuse(const struct finding *f, struct error *err)
{
    struct text_buffer cases = {0};
    const char *name;
    json_t *one;
    bool harm = any_harm(f);
    json_object_foreach(f->cases, name, one)
    {
        if (harm && !is_harm(one)) /* the list that goes with it tells the others, too */
            continue;
        text_appendf(&cases, "%s%s (", cases.length ? ", " : "", name);
        append_words(&cases, one);
        text_append(&cases, ")");
    }
    if (harm)
        error_set(err, ERROR_CONFLICT, "harm is open of %.200s; nothing was recorded", cases.data);
    else
        error_set(err, ERROR_CONFLICT,
                  "moldy or ropy bread is neither sold nor reworked, and a case of it is open: "
                  "%.200s; nothing was recorded",
                  cases.data);
    error_hint(err, "read it first; to do it all the same say why: --anyway TEXT, which is kept "
                    "with your name and mailed to QA at once");
    text_buffer_free(&cases);
    return ERROR_CONFLICT;
}

/* ---- done all the same ---- */

static int record(struct store *store, const struct despite_harm *d, const json_t *one,
                  const char *why, struct error *err)
{
    struct text_buffer text = {0};
    text_appendf(&text, "%s although ", d->did);
    text_append(&text, is_harm(one) ? "harm is open" : "moldy or ropy bread is open (");
    if (!is_harm(one))
        append_unfit(&text, one);
    text_appendf(&text, "%s: %s", is_harm(one) ? "" : ")", why);
    const struct follow_entry entry = {.case_id = json_integer_value(json_object_get(one, "id")),
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
    const char *word;
    json_t *is, *harm = json_array(), *words = json_object_get(one, "harm");
    bool possible = json_is_true(json_object_get(one, "possible")) && !json_object_size(words);
    json_object_foreach(words, word, is)
    {
        json_array_append_new(harm, json_string(word));
    }
    json_t *event =
        json_pack("{s:s, s:s, s:s, s:o, s:b, s:o, s:O, s:O}", "event", "despite", "plant",
                  d->desk->plant, "did", d->did, "why", json_sprintf("%s: %s", d->by, why),
                  "possible", possible, "harm", harm, "said", json_object_get(one, "said"), "needs",
                  (json_t *)harm_needs_of(d->desk->harm, possible));
    if (case_id)
        json_object_set_new(event, "case", CASE_ID_JSON(case_id));
    if (json_object_get(one, "unfit")) {
        struct text_buffer unfit = {0};
        append_unfit(&unfit, one);
        json_object_set_new(event, "unfit", json_string(unfit.data));
        text_buffer_free(&unfit);
    }
    if (!is_harm(one))
        json_object_set_new(event, "needs", json_array());
    if (case_id)
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
    const struct apart_about about = {.case_id = case_id,
                                      .lot_id = json_integer_value(json_object_get(one, "lot_id"))};
    char *why = apart_written(&(struct apart_from){d->desk, store}, d->anyway, &about);
    event_message_id(d->desk->mail_domain, d->now_ms, message_id, sizeof message_id);
    const struct outbox_new mail = {.event = OUTBOX_URGENT,
                                    .case_id = case_id,
                                    .message_id = message_id,
                                    .created_ms = d->now_ms};
    bool gathered;
    int rc = case_id ? record(store, d, one, why, err) : 0;
    json_t *event = rc ? NULL : event_json(store, d, why, one);
    if (!rc)
        rc = case_id ? outgoing_add(store, &mail, event, err)
                     : outgoing_add_alone(store, &mail, event, &gathered, err);
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
    if (!rc)
        rc = add_spoken(store, &f, err);
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

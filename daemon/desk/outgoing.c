#include "desk/outgoing.h"
#include "base/jsonx.h"
#include "base/text.h"
#include "desk/apart_row.h"
#include "intake/fields.h"
#include "intake/mask.h"
#include "store/call_back.h"
#include "store/contact.h"
#include <assert.h>
#include <stdlib.h>
#include <string.h>

/* ---- words of an event ---- */

struct masking {
    const json_t *caller;
    bool sure;
};

static json_t *mask_member(const struct masking *m, const char *name, const json_t *value);

static json_t *mask_object(const struct masking *m, const json_t *object)
{
    const char *name;
    json_t *value, *told = json_object();
    json_object_foreach((json_t *)object, name, value)
    {
        json_object_set_new(told, name, mask_member(m, name, value));
    }
    return told;
}

static json_t *mask_list(const struct masking *m, const char *name, const json_t *list)
{
    json_t *told = json_array();
    for (size_t i = 0; i < json_array_size(list); i++)
        json_array_append_new(told, mask_member(m, name, json_array_get(list, i)));
    return told;
}

/* "again": the notes of reports joined to it; "why": with the reason of a change. */
static bool is_words(const char *name)
{
    return fields_is_typed(name) || strcmp(name, "why") == 0 || strcmp(name, "again") == 0;
}

static json_t *mask_member(const struct masking *m, const char *name, const json_t *value)
{
    if (json_is_object(value))
        return mask_object(m, value);
    if (json_is_array(value))
        return mask_list(m, name, value);
    if (!json_is_string(value) || !is_words(name))
        return json_copy((json_t *)value);
    bool code = strcmp(name, "lot_text") == 0 || strcmp(name, "reference") == 0;
    const struct mask_options options = {.contact = m->caller,
                                         .sure = m->sure || code,
                                         .prose = fields_is_prose(name) || !fields_is_typed(name)};
    char *text = mask_text(json_string_value(value), &options, NULL, NULL);
    json_t *told = json_string(text);
    free(text);
    return told;
}

json_t *outgoing_masked(const json_t *event, const json_t *caller, bool sure)
{
    return mask_member(&(struct masking){caller, sure}, "", event);
}

/* ---- queueing ---- */

static int mask_by(void *arg, const char *body)
{
    json_t **event = arg;
    struct apart_row row;
    apart_row_parse(body, &row);
    json_t *caller = apart_row_caller(&row, "");
    json_t *told = outgoing_masked(*event, caller, true);
    json_decref(*event);
    *event = told;
    json_decref(caller);
    apart_row_clear(&row);
    return 0;
}

/* Masks `*told` by all who reported what the report `uuid` (NULL: none) is about. */
static int mask_report(struct store *store, const json_t *uuid, json_t **told, struct error *err)
{
    const char *report = json_string_value(uuid);
    return report ? contact_group(store, report, mask_by, told, err) : 0;
}

/* One that was refused is on no record; what it repeats may be. */
static int mask_said(struct store *store, json_t **said, struct error *err)
{
    int rc = mask_report(store, json_object_get(*said, "id"), said, err);
    return rc ? rc : mask_report(store, json_object_get(*said, "same_as"), said, err);
}

static int mask_each_said(struct store *store, json_t *list, struct error *err)
{
    int rc = 0;
    for (size_t i = 0; i < json_array_size(list) && !rc; i++) {
        json_t *said = json_incref(json_array_get(list, i));
        rc = mask_said(store, &said, err);
        json_array_set_new(list, i, said);
    }
    return rc;
}

/* Whether somebody can call back whoever reported it: the contact data itself is in no mail. */
static int add_contact(struct store *store, json_t *event, struct error *err)
{
    const char *report = json_string_value(json_object_get(event, "complaint"));
    const char *kind = json_string_value(json_object_get(event, "event"));
    bool known = false;
    if (!report || !kind || strcmp(kind, "urgent") != 0 || json_object_get(event, "contact"))
        return 0;
    int rc = call_back_possible(store, report, &known, err);
    if (!rc)
        json_object_set_new(event, "contact", json_boolean(known));
    return rc;
}

static int mask_event(struct store *store, json_t **event, struct error *err)
{
    int done = add_contact(store, *event, err);
    if (done)
        return done;
    json_t *said = json_object_get(*event, "said");
    if (json_is_array(said))
        return mask_each_said(store, said, err);
    int rc = mask_report(store, json_object_get(*event, "complaint"), event, err);
    /* `event` may be another by now */
    const json_t *same = json_object_get(json_object_get(*event, "said"), "same_as");
    return rc ? rc : mask_report(store, same, event, err);
}

int outgoing_add(struct store *store, const struct outbox_new *mail, json_t *event,
                 struct error *err)
{
    assert(store_writing(store));
    struct outbox_new row = *mail;
    int rc = mask_event(store, &event, err);
    char *payload = jsonx_dump(event);
    row.payload = payload;
    if (!rc)
        rc = outbox_add(store, &row, err);
    free(payload);
    json_decref(event);
    return rc;
}

/* ---- urgent ones, gathered ---- */

static const char HEARD[] = "heard ";

/* One mail takes so many reports, and so many bytes (a quarter of what is read again: masking may
 * lengthen it); what comes then begins the next. */
enum { GATHERED_MOST = 100, GATHERED_BYTES = JSONX_BYTES / 4 };

struct gathering {
    struct store *store;
    struct error *err;
    const json_t *event; /* to be told */
    json_t *kinds; /* told: {"illness": true, …}, "heard illness", "possible", and of which lots */
    bool over;     /* what was told before was taken back */
    bool looked;   /* at the newest that gathers: those before it are full */
    int64_t at_ms;  /* of the last */
    int64_t waits;  /* the mail that gathers; 0 none */
    json_t *gather; /* its event */
};

/* *ret NULL: not kept, or of no shape that is read; whoever says it again tells news. */
static int load_event(struct gathering *g, int64_t mail_id, size_t *ret_bytes, json_t **ret)
{
    char *payload = NULL;
    int rc = outbox_payload(g->store, mail_id, &payload, g->err);
    *ret = NULL;
    *ret_bytes = payload ? strlen(payload) : 0;
    if (!rc && payload)
        jsonx_parse(payload, *ret_bytes, ret, NULL);
    free(payload);
    return rc;
}

/* Whether one more finds room in a mail of `bytes` with these reports. */
static bool has_room(const struct gathering *g, size_t bytes, const json_t *reports)
{
    char *event = jsonx_dump(g->event);
    bool room = json_array_size(reports) < GATHERED_MOST && bytes + strlen(event) <= GATHERED_BYTES;
    free(event);
    return room;
}

static void take_gather(struct gathering *g, int64_t mail_id, size_t bytes, json_t *event)
{
    const json_t *reports = json_object_get(event, "reports");
    g->looked = true;
    if (reports && has_room(g, bytes, reports)) {
        g->gather = json_incref(event);
        g->waits = mail_id;
    }
}

/* What a person told is news behind what was only heard in a note. */
static void add_kind(json_t *kinds, const char *kind, const json_t *heard)
{
    size_t i;
    const json_t *one;
    struct text_buffer name = {0};
    bool is_heard = false;
    json_array_foreach(heard, i, one)
    {
        is_heard = is_heard || strcmp(json_string_value(one), kind) == 0;
    }
    text_appendf(&name, "%s%s", is_heard ? HEARD : "", kind);
    json_object_set_new(kinds, name.data, json_true());
    text_buffer_free(&name);
}

static void add_kinds(json_t *kinds, const json_t *event)
{
    size_t i;
    const json_t *one;
    struct text_buffer lot = {0};
    if (json_is_true(json_object_get(event, "taken_back")))
        return;
    json_array_foreach(json_object_get(event, "harm"), i, one)
    {
        add_kind(kinds, json_string_value(one), json_object_get(event, "harm_heard"));
    }
    if (json_is_true(json_object_get(event, "possible")))
        json_object_set_new(kinds, "possible", json_true());
    json_array_foreach(json_object_get(event, "grave"), i, one)
    {
        struct text_buffer grave = {0};
        text_appendf(&grave, "grave %s", json_string_value(one));
        json_object_set_new(kinds, grave.data, json_true());
        text_buffer_free(&grave);
    }
    /* where it lies is to be held: as much news as a kind */
    if (json_is_string(json_object_get(event, "lot"))) {
        text_appendf(&lot, "lot %s", json_string_value(json_object_get(event, "lot")));
        json_object_set_new(kinds, lot.data, json_true());
        text_buffer_free(&lot);
    }
}

/* What one gathers says no more than what was told before it. */
static int take_gathering(struct gathering *g, const struct outbox_urgent *mail)
{
    json_t *event;
    size_t bytes;
    if (!mail->waits || g->looked)
        return 0;
    int rc = load_event(g, mail->mail_id, &bytes, &event);
    if (event)
        take_gather(g, mail->mail_id, bytes, event);
    json_decref(event);
    return rc;
}

/* The newest first. */
static int take_told(void *arg, const struct outbox_urgent *mail)
{
    struct gathering *g = arg;
    json_t *event = NULL;
    size_t bytes;
    int rc = mail->gathers ? take_gathering(g, mail) : load_event(g, mail->mail_id, &bytes, &event);
    const char *kind = json_string_value(json_object_get(event, "event"));
    bool told = event && !(kind && strcmp(kind, "despite") == 0); /* a decision tells no harm */
    if (mail->gathers || told)
        g->at_ms = mail->at_ms > g->at_ms ? mail->at_ms : g->at_ms;
    if (told && !g->over)
        add_kinds(g->kinds, event);
    /* the last word is that there is none: the next is news */
    g->over = g->over || (told && json_is_true(json_object_get(event, "taken_back")));
    json_decref(event);
    return rc;
}

/* What may be harm is no news beside harm that was told. */
static bool is_told(const struct gathering *g, const json_t *event)
{
    const char *kind;
    json_t *is, *kinds = json_object();
    add_kinds(kinds, event);
    json_object_del(kinds, json_object_size(g->kinds) ? "possible" : "");
    bool told = json_object_size(g->kinds) > 0;
    json_object_foreach(kinds, kind, is)
    {
        bool heard = strncmp(kind, HEARD, sizeof HEARD - 1) == 0;
        told = told && (json_object_get(g->kinds, kind) ||
                        (heard && json_object_get(g->kinds, kind + sizeof HEARD - 1)));
    }
    json_decref(kinds);
    return told;
}

static int append(struct gathering *g, json_t *event, struct error *err)
{
    int rc = mask_event(g->store, &event, err);
    json_array_append(json_object_get(g->gather, "reports"), event);
    char *payload = jsonx_dump(g->gather);
    if (!rc)
        rc = outbox_rewrite(g->store, g->waits, payload, err);
    free(payload);
    json_decref(event);
    return rc;
}

static json_t *gathered_json(const json_t *event)
{
    json_t *gather = json_pack("{s:s, s:[O]}", "event", "gathered", "reports", event);
    static const char *const SAME[] = {"plant",       "case",     "lot",   "lot_named",
                                       "lot_state",   "lot_says", "holds", "lots",
                                       "lot_decides", "doubts",   "made",  "needs"};
    for (size_t i = 0; i < sizeof SAME / sizeof *SAME; i++)
        json_object_set(gather, SAME[i], json_object_get(event, SAME[i]));
    return gather;
}

static int gather(struct gathering *g, const struct outbox_new *mail, int64_t gather_ms,
                  json_t *event, struct error *err)
{
    struct outbox_new first = *mail;
    int64_t latest_ms = mail->created_ms + gather_ms;
    if (g->waits)
        return append(g, event, err);
    int rc = mask_event(g->store, &event, err);
    first.not_before_ms = g->at_ms + gather_ms < latest_ms ? g->at_ms + gather_ms : latest_ms;
    json_t *gathered = gathered_json(event);
    json_decref(event);
    if (rc)
        json_decref(gathered);
    return rc ? rc : outgoing_add(g->store, &first, gathered, err);
}

int outgoing_add_urgent(struct store *store, const struct outbox_new *mail, int64_t gather_ms,
                        json_t *event, bool *ret_gathered, struct error *err)
{
    assert(store_writing(store));
    struct gathering g = {.store = store, .err = err, .event = event, .kinds = json_object()};
    const struct when_span since_now = {mail->created_ms - gather_ms, mail->created_ms};
    int rc = mail->case_id && gather_ms > 0
                 ? outbox_urgent_of(store, mail->case_id, since_now, take_told, &g, err)
                 : 0;
    *ret_gathered = !rc && is_told(&g, event);
    if (*ret_gathered)
        rc = gather(&g, mail, gather_ms, event, err);
    else if (!rc)
        rc = outgoing_add(store, mail, event, err);
    else
        json_decref(event);
    if (!rc && mail->case_id && gather_ms <= 0) /* what waits was said before it */
        rc = outbox_gathered_now(store, mail->case_id, mail->created_ms, err);
    json_decref(g.kinds);
    json_decref(g.gather);
    return rc;
}

/* ---- of no case ---- */

enum { ALONE_APART = 3, ALONE_GATHER_MS = 60000 };

struct alone {
    struct gathering g;
    const json_t *plant; /* whose people get it, too; NULL nobody's */
    int apart;
};

static int take_alone(void *arg, const struct outbox_urgent *mail)
{
    struct alone *a = arg;
    json_t *event;
    size_t bytes;
    if (mail->gathers && (!mail->waits || a->g.looked))
        return 0;
    int rc = load_event(&a->g, mail->mail_id, &bytes, &event);
    bool alone = json_is_true(json_object_get(event, "alone"));
    a->apart += alone && !mail->gathers;
    const json_t *plant = json_object_get(event, OUTBOX_PLANT);
    bool same = plant == a->plant || json_equal(plant, a->plant);
    if (alone && same && mail->gathers)
        take_gather(&a->g, mail->mail_id, bytes, event);
    json_decref(event);
    return rc;
}

static int gather_alone(struct store *store, const struct outbox_new *mail, json_t *event,
                        struct error *err)
{
    struct outbox_new first = *mail;
    json_t *gathered = json_pack("{s:s, s:b, s:O, s:O, s:[o]}", "event", "gathered", "alone", true,
                                 "plant", json_object_get(event, "plant"), "needs",
                                 json_object_get(event, "needs"), "reports", event);
    json_object_set(gathered, OUTBOX_PLANT, json_object_get(event, OUTBOX_PLANT));
    first.not_before_ms = mail->created_ms + ALONE_GATHER_MS;
    return outgoing_add(store, &first, gathered, err);
}

int outgoing_add_alone(struct store *store, const struct outbox_new *mail, json_t *event,
                       bool *ret_gathered, struct error *err)
{
    assert(store_writing(store) && ret_gathered);
    struct alone a = {.g = {.store = store, .err = err, .event = event},
                      .plant = json_object_get(event, OUTBOX_PLANT)};
    const struct when_span minute = {mail->created_ms - ALONE_GATHER_MS, mail->created_ms};
    int rc = outbox_urgent_of(store, 0, minute, take_alone, &a, err);
    *ret_gathered = !rc && (a.g.waits || a.apart >= ALONE_APART);
    if (rc)
        json_decref(event);
    else if (!*ret_gathered)
        rc = outgoing_add(store, mail, event, err);
    else if (a.g.waits)
        rc = append(&a.g, event, err);
    else
        rc = gather_alone(store, mail, event, err);
    json_decref(a.g.gather);
    return rc;
}

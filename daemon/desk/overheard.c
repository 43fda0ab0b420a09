#include "desk/overheard.h"
#include "base/jsonx.h"
#include "base/short_id.h"
#include "base/text.h"
#include "desk/alarm.h"
#include "desk/anew.h"
#include "desk/answer.h"
#include "desk/event.h"
#include "desk/logged.h"
#include "desk/named.h"
#include "desk/outgoing.h"
#include "desk/told.h"
#include "intake/harm.h"
#include "intake/lexicon.h"
#include "store/call_back.h"
#include "store/case.h"
#include "store/change.h"
#include "store/joined.h"
#include "store/lot_find.h"
#include "store/outbox.h"
#include "tell/hold_json.h"
#include <assert.h>
#include <stdlib.h>
#include <string.h>

/* ---- what is read ---- */

/* As words: "glass.in-bread.jpg"; a dot that ends a sentence does. New reference. */
static json_t *read_name(const struct desk *desk, const char *name)
{
    char *words = xstrdup(name);
    for (char *at = words; *at; at++)
        *at =
            *at == '_' || *at == '-' || (*at == '.' && at[1] && !strchr(" \n", at[1])) ? ' ' : *at;
    json_t *harm = lexicon_harm(desk->lexicon, words, NULL);
    free(words);
    return harm;
}

void overheard_add_name(const struct desk *desk, const char *name, struct text_buffer *words)
{
    json_t *harm = name ? read_name(desk, name) : NULL;
    if (json_array_size(harm))
        text_appendf(words, "%s%s", words->length ? "\n\n" : "", name);
    json_decref(harm);
}

json_t *overheard_in_file_name(const struct desk *desk, const char *name)
{
    return read_name(desk, name);
}

/* False if it speaks of none. */
static bool read_text(struct overheard *o)
{
    const struct lexicon *lexicon = o->desk->lexicon;
    o->harm = o->read ? json_copy((json_t *)(uintptr_t)o->read)
                      : lexicon_harm(lexicon, o->why.reason, NULL);
    if (!o->harm)
        o->harm = lexicon_harm_written(lexicon, o->sentences ? o->sentences : o->why.reason);
    o->possible = o->harm && !json_array_size(o->harm);
    return o->harm != NULL;
}

/* ---- what the case carries ---- */

static void add_carried(json_t *carried, const json_t *body)
{
    size_t i;
    const json_t *kind;
    json_array_foreach(json_object_get(body, "harm"), i, kind)
    {
        json_object_set_new(carried, json_string_value(kind), json_true());
    }
    if (json_is_true(json_object_get(body, "harm_possible")))
        json_object_set_new(carried, "possible", json_true());
}

static int take_carried(void *arg, const struct complaint_row *row)
{
    json_t *body = NULL;
    if (jsonx_parse(row->body, strlen(row->body), &body, NULL) == 0)
        add_carried(arg, body);
    json_decref(body);
    return 0;
}

/* A pathogen, a hospital: news whatever the case tells, once. */
static bool is_grave(const struct overheard *o)
{
    json_t *grave = o->told_before ? NULL : harm_grave_of(o->desk->harm, o->why.reason);
    bool is = grave != NULL;
    json_decref(grave);
    return is;
}

struct weighed {
    bool lacking; /* the case does not carry it all */
    bool news;    /* that, or gravity */
    bool told;    /* words that may mean harm, of what tells it */
};

/* What a verdict has closed is said anew. */
static int weigh(struct store *store, const struct overheard *o, const struct anew *found,
                 struct weighed *ret, struct error *err)
{
    size_t i;
    const json_t *kind;
    struct case_row row;
    json_t *carried = json_object();
    int rc = case_get(store, o->case_id, &row, err);
    if (!rc && (!row.settled || row.harm_unseen))
        rc = complaint_of_case(store, o->case_id, take_carried, carried, err);
    if (found->withdrawn)
        add_carried(carried, found->body);
    ret->lacking = o->possible && json_object_size(carried) == 0;
    json_object_del(carried, "possible");
    json_array_foreach(o->harm, i, kind)
    {
        ret->lacking = ret->lacking || !json_object_get(carried, json_string_value(kind));
    }
    ret->news = ret->lacking || is_grave(o);
    ret->told = o->possible && json_object_size(carried) > 0 && !ret->news;
    json_decref(carried);
    return rc;
}

/* ---- told, and put on record ---- */

static int tell(struct store *store, struct overheard *o, const struct anew *found,
                struct error *err)
{
    json_t *body = json_copy(found->body);
    const struct complaint_placed placed = {
        .complaint_id = found->id, .case_id = o->case_id, .lot_id = found->lot_id};
    json_object_set(body, "harm", o->harm);
    const struct alarm alarm = {.desk = o->desk,
                                .placed = &placed,
                                .case_was = o->case_id,
                                .why = &o->why,
                                .what = o->where,
                                .body = body,
                                .heard = o->harm,
                                .gathered = &o->gathered};
    int rc = alarm_queue(store, &alarm, err);
    o->mailed = rc == 0;
    json_decref(body);
    return rc;
}

static int own_body(struct store *store, const struct anew *found, json_t **ret, struct error *err)
{
    char *first = NULL;
    int rc = joined_first(store, found->id, &first, err);
    if (!rc && first)
        rc = jsonx_parse(first, strlen(first), ret, err);
    else if (!rc)
        *ret = json_copy(found->body);
    free(first);
    return rc;
}

static bool is_marked(const struct anew *found)
{
    return found->withdrawn || json_array_size(json_object_get(found->body, "harm")) ||
           json_is_true(json_object_get(found->body, "harm_possible"));
}

/* That it was said, beside what it tells already. */
static int add_change(struct store *store, const struct complaint_why *why,
                      const struct anew *found, struct error *err)
{
    const struct change_row change = {
        .complaint = found->uuid, .at_ms = why->at_ms, .by = why->by, .reason = why->reason};
    const json_t *harm = json_object_get(found->body, "harm");
    char *stands = json_array_size(harm) ? jsonx_dump(harm) : NULL;
    int rc = change_add(store, &change, "harm", "", stands ? stands : "\"possible\"", err);
    free(stands);
    return rc;
}

/* As its note's words would have made it. */
static int write_possible(struct store *store, const struct complaint_why *why,
                          const struct anew *found, json_t *own, struct error *err)
{
    struct complaint_placed placed;
    json_object_del(own, "harm_read");
    json_object_set_new(own, "harm_possible", json_true());
    int rc = anew_tell(store, found, own, why, &placed, err);
    return rc ? rc : add_change(store, why, found, err);
}

/* Beside the kinds it tells. */
static int write_kinds(struct store *store, const struct complaint_why *why,
                       const struct anew *found, json_t *own, struct error *err)
{
    const struct change_row change = {
        .complaint = found->uuid, .at_ms = why->at_ms, .by = why->by, .reason = why->reason};
    struct complaint_placed placed;
    const json_t *before = json_object_get(found->body, "harm");
    json_t *all = before ? json_copy((json_t *)(uintptr_t)before) : json_array();
    jsonx_add_missing(all, json_object_get(own, "harm"));
    char *was = json_array_size(before) ? jsonx_dump(before) : NULL, *now = jsonx_dump(all);
    bool possible = json_is_true(json_object_get(found->body, "harm_possible"));
    int rc = anew_tell(store, found, own, why, &placed, err);
    if (!rc)
        rc = change_add(store, &change, "harm",
                        was        ? was
                        : possible ? "\"possible\""
                                   : "",
                        now, err);
    free(was);
    free(now);
    json_decref(all);
    return rc;
}

static int mark(struct store *store, const struct complaint_why *why, const struct anew *found,
                const json_t *kinds, struct error *err)
{
    json_t *own = NULL;
    int rc = own_body(store, found, &own, err);
    if (!rc && json_array_size(kinds)) {
        const json_t *before = json_object_get(own, "harm");
        json_t *all = before ? json_copy((json_t *)(uintptr_t)before) : json_array();
        jsonx_add_missing(all, kinds);
        json_object_set_new(own, "harm", all);
        json_object_del(own, "harm_possible");
        rc = write_kinds(store, why, found, own, err);
    } else if (!rc) {
        rc = write_possible(store, why, found, own, err);
    }
    json_decref(own);
    return rc;
}

static bool tells_all(const struct anew *found, const json_t *kinds)
{
    size_t i;
    const json_t *kind, *told = json_object_get(found->body, "harm");
    json_array_foreach(kinds, i, kind)
    {
        if (!jsonx_holds(told, kind))
            return false;
    }
    return true;
}

int overheard_mark(const struct desk *desk, struct store *store, const char *report,
                   const json_t *kinds, const struct complaint_why *why, struct error *err)
{
    assert(store_writing(store));
    assert(report && why->by && why->reason);
    struct anew found = {0};
    int rc = anew_find(desk, store, report, &found, err);
    bool stands =
        json_array_size(kinds) ? found.withdrawn || tells_all(&found, kinds) : is_marked(&found);
    if (!rc)
        rc = stands ? add_change(store, why, &found, err) : mark(store, why, &found, kinds, err);
    anew_clear(&found);
    return rc;
}

/* ---- of what no complaint is about ---- */

static json_t *of_lot(struct store *store, const struct overheard *o)
{
    json_t *lot =
        json_pack("{s:s, s:s, s:s, s:s, s:o}", "lot", o->lot, "lot_named", o->lot, "lot_state",
                  lot_state_word(LOT_EXACT), "lot_says", o->lot, "lot_decides", json_array());
    hold_json_mark(store, o->desk->tz, o->lot_id, lot);
    return lot;
}

/* Its people get it too: no case says whose it is. */
static void add_plant(struct store *store, const struct overheard *o, json_t *event)
{
    struct lot_find_row lot;
    const char *plant = o->plant;
    if (o->lot_id && lot_find_by_id(store, o->lot_id, &lot, NULL) == 0)
        plant = lot.plant;
    if (plant && *plant)
        json_object_set_new(event, OUTBOX_PLANT, json_string(plant));
}

static int tell_alone(struct store *store, struct overheard *o, struct error *err)
{
    char message_id[128];
    if (o->told_before)
        return 0;
    json_t *said = json_pack("{s:O, s:s}", "harm", o->harm, "note", o->why.reason);
    json_t *about = o->lot ? of_lot(store, o) : json_object();
    if (o->case_id)
        logged_case_json(o->desk, store, o->case_id, about, NULL);
    json_object_set_new(about, "why", json_sprintf("%s, by %s", o->where, o->why.by));
    json_t *event =
        event_urgent(o->desk->plant, harm_needs_of(o->desk->harm, o->possible), said, about);
    if (o->case_id)
        json_object_set_new(event, "case", CASE_ID_JSON(o->case_id));
    if (o->possible)
        event_urgent_possible(event);
    else
        json_object_set(event, "harm_heard", o->harm);
    json_object_set_new(event, "alone", json_true()); /* no complaint tells it */
    if (!o->case_id)
        add_plant(store, o, event);
    json_object_set_new(event, "said", said);
    json_object_set_new(event, "made", told_lot(store, o->desk->tz, o->lot_id));
    json_decref(about);
    event_message_id(o->desk->mail_domain, o->why.at_ms, message_id, sizeof message_id);
    const struct outbox_new mail = {.event = OUTBOX_URGENT,
                                    .case_id = o->case_id,
                                    .message_id = message_id,
                                    .created_ms = o->why.at_ms};
    int rc = o->case_id ? outgoing_add(store, &mail, event, err)
                        : outgoing_add_alone(store, &mail, event, &o->gathered, err);
    o->mailed = rc == 0;
    return rc;
}

/* Of the case's complaints, in order of receipt: who reported harm last is who it is about, else
 * who may have first, else the newest. */
struct whose {
    char uuid[UUID_TEXT];
    enum whose_rank { WHOSE_NEWEST, WHOSE_POSSIBLE, WHOSE_REPORTED } rank;
};

static int take_whose(void *arg, const struct complaint_row *row)
{
    struct whose *whose = arg;
    json_t *body = NULL;
    enum whose_rank rank = row->harm ? WHOSE_REPORTED : WHOSE_NEWEST;
    if (!row->harm && jsonx_parse(row->body, strlen(row->body), &body, NULL) == 0 &&
        json_is_true(json_object_get(body, "harm_possible")))
        rank = WHOSE_POSSIBLE;
    json_decref(body);
    if (rank < whose->rank || (rank == WHOSE_POSSIBLE && whose->rank == WHOSE_POSSIBLE))
        return 0;
    whose->rank = rank;
    text_clip(row->uuid, whose->uuid, sizeof whose->uuid);
    return 0;
}

static int find_whose(struct store *store, struct overheard *o, struct error *err)
{
    struct whose whose = {0};
    int rc = complaint_of_case(store, o->case_id, take_whose, &whose, err);
    text_clip(whose.uuid, o->complaint, sizeof o->complaint);
    return rc;
}

static int find(struct store *store, struct overheard *o, struct anew *found, struct error *err)
{
    int rc = 0;
    if (o->report)
        text_clip(o->report, o->complaint, sizeof o->complaint);
    else if (o->case_id)
        rc = find_whose(store, o, err);
    return rc || !*o->complaint ? rc : anew_find(o->desk, store, o->complaint, found, err);
}

int overheard_hear(struct store *store, struct overheard *o, struct error *err)
{
    assert(store_writing(store));
    assert(o->desk && o->where && o->why.by);
    struct anew found = {0};
    struct weighed is = {0};
    json_decref(o->harm); /* of a job that was rolled back and runs again */
    o->harm = NULL;
    o->possible = o->mailed = o->gathered = false;
    *o->complaint = '\0';
    if (!o->why.reason || !read_text(o))
        return 0;
    int rc = find(store, o, &found, err);
    if (!rc && found.id)
        rc = weigh(store, o, &found, &is, err);
    if (!rc && is.lacking && !is_marked(&found))
        rc = mark(store, &o->why, &found, NULL, err);
    if (!rc && is.news)
        rc = tell(store, o, &found, err);
    else if (!rc && !found.id)
        rc = tell_alone(store, o, err);
    if (is.told) { /* "told her to see a doctor", of a case of illness: nothing is left to be asked
                    */
        json_decref(o->harm);
        o->harm = NULL;
    }
    anew_clear(&found);
    return rc;
}

/* The kinds that its complaint would tell with those heard. NULL: the case's complaints tell all.
 */
static json_t *lacking_json(struct store *store, const struct overheard *o)
{
    size_t i;
    json_t *kind, *record = NULL;
    bool lacking = o->possible;
    struct anew found = {0};
    json_t *carried = json_object(), *own = json_object();
    if (anew_find(o->desk, store, o->complaint, &found, NULL) == 0) {
        complaint_of_case(store, found.case_id, take_carried, carried, NULL);
        add_carried(own, found.body);
        json_object_del(own, "possible");
    }
    json_array_foreach(o->harm, i, kind)
    {
        lacking = lacking || !json_object_get(carried, json_string_value(kind));
        json_object_set_new(own, json_string_value(kind), json_true());
    }
    if (lacking) {
        const char *word;
        record = json_array();
        json_object_foreach(own, word, kind)
        {
            json_array_append_new(record, json_string(word));
        }
    }
    anew_clear(&found);
    json_decref(carried);
    json_decref(own);
    return record;
}

json_t *overheard_json(struct store *store, const struct overheard *o, bool caller)
{
    bool reachable = false;
    if (!o->harm)
        return NULL;
    json_t *told = json_pack("{s:O, s:b}", "harm", o->harm, "harm_possible", (int)o->possible);
    if (*o->complaint) {
        json_t *record = lacking_json(store, o);
        json_object_set_new(told, "complaint", json_string(o->complaint));
        named_short_json(store, o->complaint, told);
        call_back_possible(store, o->complaint, &reachable, NULL);
        if (record)
            json_object_set_new(told, "record", record);
    }
    if (caller)
        json_object_set_new(told, "script", harm_read_out(o->desk->harm, o->possible, reachable));
    if (o->mailed)
        json_object_set_new(told, "alarm",
                            json_string(answer_mailed(o->desk, store, o->gathered, o->why.at_ms)));
    else
        json_object_set_new(told, "no_mail", json_string("it was told before: no mail goes out"));
    return told;
}

#include "desk/taking.h"
#include "base/jsonx.h"
#include "base/short_id.h"
#include "base/text.h"
#include "base/tz_of.h"
#include "desk/apart_past.h"
#include "desk/apart_row.h"
#include "desk/doubts.h"
#include "desk/event.h"
#include "desk/joining.h"
#include "desk/noted.h"
#include "desk/outgoing.h"
#include "desk/repeat_harm.h"
#include "desk/repeated.h"
#include "desk/sent.h"
#include "desk/taken_at.h"
#include "desk/taken_back.h"
#include "desk/told.h"
#include "intake/caller.h"
#include "intake/fields.h"
#include "intake/harm.h"
#include "intake/lexicon.h"
#include "intake/receipt.h"
#include "store/case.h"
#include "store/lot_find.h"
#include "store/work.h"
#include "tell/tell.h"
#include <assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- reading ---- */

static int32_t day_in(const struct tz *tz, const json_t *complaint, int64_t now_ms)
{
    const char *received = json_string_value(json_object_get(complaint, "received_at"));
    int64_t ms;
    return tz_day(tz, received && when_parse(received, &ms, NULL) == 0 ? ms : now_ms);
}

int32_t taking_day(const struct desk *desk, const json_t *complaint, int64_t now_ms)
{
    return day_in(placing_options(desk, complaint, NULL).tz, complaint, now_ms);
}

/* "core_at_pack [degF]" 117.5 is core_at_pack_c 47.5, as in the header of a record file. */
static int read_measured(void *arg, const char *name, double value, const char **ret_quantity,
                         double *ret_value, struct error *err)
{
    const struct catalogue_quantity *quantity = NULL;
    const char *bracket = strchr(name, '['), *end = strchr(name, ']');
    char bare[96], unit[24];
    if (!bracket)
        return triage_check_quantity(arg, name, value, err);
    if (!end || end[1] || end == bracket + 1)
        return error_set(err, ERROR_INVALID, "the unit stands in brackets at the end of the name");
    snprintf(bare, sizeof bare, "%.*s", (int)(bracket - name), name);
    snprintf(unit, sizeof unit, "%.*s", (int)(end - bracket - 1), bracket + 1);
    for (size_t length = strlen(bare); length && bare[length - 1] == ' ';)
        bare[--length] = '\0';
    int rc = catalogue_match(triage_catalogue(arg), bare, unit, &quantity, err);
    if (!rc && !quantity)
        rc = triage_check_quantity(arg, bare, value, err);
    if (!rc)
        rc = catalogue_convert(value, unit, quantity->unit, ret_value, err);
    if (!rc)
        rc = triage_check_quantity(arg, quantity->name, *ret_value, err);
    if (!rc)
        *ret_quantity = quantity->name;
    return rc;
}

int taking_form(const struct desk *desk, const json_t *complaint, int64_t now_ms, json_t *faults,
                struct complaint_form **ret, struct error *err)
{
    struct form_options options = placing_options(desk, complaint, NULL);
    options.now_ms = now_ms;
    options.faults = faults;
    options.measured = read_measured;
    options.measured_arg = desk->triage;
    return complaint_form_read(complaint, &options, ret, err);
}

static int read_form(const struct desk *desk, struct taking *t, const json_t *complaint,
                     bool partial, int64_t now_ms)
{
    struct form_options options = placing_options(desk, complaint, t->of_plant);
    options.partial = partial;
    options.now_ms = now_ms;
    options.faults = t->faults = json_array();
    options.measured = read_measured;
    options.measured_arg = desk->triage;
    return complaint_form_read(complaint, &options, &t->form, &t->err);
}

static bool is_reachable(const json_t *complaint)
{
    const json_t *contact = json_object_get(complaint, "contact");
    return json_string_length(json_object_get(contact, "phone")) ||
           json_string_length(json_object_get(contact, "email"));
}

/* Nothing of a refused complaint is kept, but harm it speaks of is heard all the same. */
static void refuse(const struct desk *desk, struct taking *t, const json_t *complaint,
                   int64_t now_ms)
{
    complaint_form_free(t->form);
    t->form = NULL;
    json_decref(t->urgent);
    t->urgent = NULL;
    error_at(&t->err, t->source, t->line, 0);
    t->harm = complaint_form_harm(complaint, &t->harm_possible);
    t->reachable = t->reachable || is_reachable(complaint);
    if (!t->harm && !t->harm_possible)
        return;
    json_t *said = told_refused(complaint);
    t->urgent = event_urgent_refused(desk->plant, harm_needs_of(desk->harm, t->harm_possible), said,
                                     t->harm, &t->err);
    if (t->harm_possible)
        event_urgent_possible(t->urgent);
    json_object_set_new(t->urgent, "contact", json_boolean(t->reachable));
    json_object_set_new(t->urgent, "said", said);
    if (t->of_plant && *t->of_plant)
        json_object_set_new(t->urgent, OUTBOX_PLANT, json_string(t->of_plant));
    event_message_id(desk->mail_domain, now_ms, t->message_id, sizeof t->message_id);
}

/* The kinds of harm that nobody chose and the note says. New reference; NULL if there are none. */
static json_t *heard_of(const json_t *taken)
{
    size_t i;
    const json_t *item;
    json_t *heard = NULL;
    json_array_foreach(taken, i, item)
    {
        if (strcmp(json_string_value(json_object_get(item, "field")), "harm") != 0)
            continue;
        heard = heard ? heard : json_array();
        json_array_append(heard, json_object_get(item, "value"));
    }
    return heard;
}

static void make_urgent(const struct desk *desk, struct store *store, struct taking *t,
                        int64_t now_ms)
{
    json_t *said = told_complaint(t->form->body, t->form->contact);
    t->urgent =
        event_urgent(desk->plant, harm_needs_of(desk->harm, t->form->harm_possible), said, t->lot);
    json_object_set(t->urgent, "doubts", t->form->doubts);
    json_object_set_new(t->urgent, "harm_heard", heard_of(t->taken));
    if (t->form->harm_possible)
        event_urgent_possible(t->urgent);
    event_urgent_grave(t->urgent, desk->harm,
                       json_string_value(json_object_get(t->form->body, "note")));
    json_object_set_new(t->urgent, "said", said);
    json_object_set_new(t->urgent, "made",
                        told_lot(store, desk->tz, complaint_lots_settled(&t->placing.lots)));
    event_message_id(desk->mail_domain, now_ms, t->message_id, sizeof t->message_id);
}

/* A row that its sender could not read: {"refused": {"faults": [{"field", "value", "reason",
 * "hint"}]}} beside what could be read of it. */
static int refused_before(struct taking *t, const json_t *complaint)
{
    const json_t *refused = json_object_get(complaint, "refused");
    if (!json_is_object(refused))
        return 0;
    const json_t *fault = json_array_get(json_object_get(refused, "faults"), 0);
    const char *reason = json_string_value(json_object_get(fault, "reason"));
    const char *hint = json_string_value(json_object_get(fault, "hint"));
    t->faults = json_deep_copy(json_object_get(refused, "faults"));
    error_field(&t->err, json_string_value(json_object_get(fault, "field")),
                json_string_value(json_object_get(fault, "value")));
    error_hint(&t->err, "%s", hint ? hint : "");
    return error_set(&t->err, ERROR_INVALID, "%s", reason ? reason : "refused by its sender");
}

/* From here on the body is without contact data. */
static void take_apart(const struct apart_from *from, struct taking *t)
{
    struct complaint_form *form = t->form;
    enum lot_state state = t->placing.lots.state;
    bool reads = state == LOT_EXACT || state == LOT_NOT_ON_RECORD;
    apart_take(from, form->body, form->contact, reads, &t->apart);
    apart_taken(from, t->taken, form->contact);
    const struct apart_row row = {.who = form->contact, .texts = t->apart.said};
    t->contact = apart_row_body(&row);
    if (!t->contact)
        return;
    free(form->contact_fold);
    form->contact_fold = apart_row_keys(&row, "");
}

/* ---- whose it is ---- */

static int find_other(struct store *store, const struct taking *t, bool *ret, struct error *err)
{
    const struct complaint_lots *lots = &t->placing.lots;
    struct lot_find_row first, row;
    int rc = lots->count ? lot_find_by_id(store, lots->lot[0].lot_id, &first, err) : 0;
    *ret = !rc && lots->count && first.plant[0] && strcmp(first.plant, t->of_plant) != 0;
    for (int i = 1; i < lots->count && !rc && *ret; i++) {
        rc = lot_find_by_id(store, lots->lot[i].lot_id, &row, err);
        *ret = !rc && strcmp(row.plant, first.plant) == 0;
    }
    return rc;
}

/* Of a whole code that one plant alone writes, that plant. */
static bool take_plant_of_code(const struct desk *desk, struct taking *t)
{
    char plant[LOT_MATCH_WORD];
    const char *code = complaint_form_text(t->form, "lot_text");
    if (!json_object_size(desk->plants) || !code ||
        !*match_plant(desk->matcher, code, t->form->received_ms, desk->tz, plant) ||
        !json_object_get(desk->plants, plant))
        return false;
    text_clip(plant, t->placing.plant, sizeof t->placing.plant);
    json_array_append_new(t->taken, json_pack("{s:s, s:s, s:s}", "field", "plant", "value", plant,
                                              "from", "how the code is written"));
    return true;
}

/* What no lot tells the plant of, and nobody names one of, is the plant's that alone writes such
 * codes, else the one's whose people took it, unless all lots that it may be about are one other
 * plant's. */
static int take_plant(const struct desk *desk, struct store *store, struct taking *t)
{
    bool other = false;
    if (t->placing.plant[0] || complaint_lots_settled(&t->placing.lots) ||
        take_plant_of_code(desk, t) || !t->of_plant)
        return 0;
    int rc = find_other(store, t, &other, &t->err);
    if (rc || other)
        return rc;
    const char *slip = complaint_form_text(t->form, "plant");
    text_clip(t->of_plant, t->placing.plant, sizeof t->placing.plant);
    json_array_append_new(
        t->taken, json_pack("{s:s, s:s, s:o}", "field", "plant", "value", t->of_plant, "from",
                            json_sprintf("who took it%s%s%s", slip ? "; " : "", slip ? slip : "",
                                         slip ? " is no plant" : "")));
    return 0;
}

/* From here on the complaint says it itself, as the settings or the lots do: so it stays the
 * plant's when it is corrected, or exported and logged anew. */
static void keep_plant(const struct taking *t)
{
    if (t->placing.plant[0])
        json_object_set_new(t->form->body, "plant", json_string(t->placing.plant));
}

static int place(const struct desk *desk, struct store *store, struct taking *t)
{
    int rc = placing_find(desk, store, t->form, &t->placing, &t->err);
    if (!rc)
        rc = take_plant(desk, store, t);
    if (rc)
        return rc;
    take_apart(&(struct apart_from){desk, store}, t);
    keep_plant(t);
    t->lot = json_object();
    placing_json(desk, store, t->form, &t->placing.lots, t->lot);
    doubts_add(desk, store, t->form, &t->placing);
    return 0;
}

/* A row of a file is mended by whoever has the file; a complaint stamped by a desk's wrong clock by
 * nobody, now or after a day in its spool. */
static json_t *mend_receipt(const struct desk *desk, const struct taking *t,
                            const json_t *complaint, int64_t now_ms)
{
    bool file = t->source && strcmp(t->source, "spool") != 0;
    return file ? json_incref((json_t *)(uintptr_t)complaint)
                : receipt_mend(complaint, desk->tz, now_ms);
}

void taking_read(const struct desk *desk, struct store *store, const json_t *said, int64_t now_ms,
                 struct taking *t)
{
    json_t *complaint = mend_receipt(desk, t, said, now_ms);
    const struct tz *tz = placing_options(desk, complaint, t->of_plant).tz;
    /* the note fills only what nobody chose; what it gave is shown to the desk */
    json_t *filled = noted_fill(desk, store, complaint, day_in(tz, complaint, now_ms), &t->taken);
    t->reachable = is_reachable(filled);
    int rc = refused_before(t, complaint);
    if (!rc)
        rc = read_form(desk, t, filled, false, now_ms);
    if (!rc)
        rc = place(desk, store, t);
    if (rc)
        refuse(desk, t, filled, now_ms);
    json_decref(filled);
    json_decref(complaint);
    if (rc)
        return;
    t->body = jsonx_dump(t->form->body);
    t->taken_text = jsonx_dump(t->taken);
    if (t->form->harm || t->form->harm_possible)
        make_urgent(desk, store, t, now_ms);
}

/* What is no JSON is read as words. */
void taking_read_broken(const struct desk *desk, const char *text, size_t length, int64_t now_ms,
                        struct taking *t)
{
    json_t *words = json_object();
    char *said = jsonx_words(text, length);
    json_object_set_new(words, "note", json_string(said));
    json_t *filled = lexicon_fill(desk->lexicon, words, WHEN_UNKNOWN_DAY, &t->taken);
    caller_fill(desk->lexicon, filled, said);
    refuse(desk, t, filled, now_ms);
    json_decref(filled);
    json_decref(words);
    free(said);
}

int taking_preview(const struct desk *desk, struct store *store, const json_t *said, int64_t now_ms,
                   struct taking *t, json_t **ret_ranking)
{
    assert(ret_ranking);
    json_t *complaint = mend_receipt(desk, t, said, now_ms);
    const struct tz *tz = placing_options(desk, complaint, t->of_plant).tz;
    json_t *filled = noted_fill(desk, store, complaint, day_in(tz, complaint, now_ms), &t->taken);
    t->reachable = is_reachable(filled);
    int rc = read_form(desk, t, filled, true, now_ms);
    json_decref(filled);
    json_decref(complaint);
    if (!rc)
        rc = place(desk, store, t);
    if (!rc)
        rc = tell_preview(desk->triage, store, t->form->body, &t->placing.lots, ret_ranking,
                          &t->err);
    return rc;
}

/* ---- logging ---- */

/* In a savepoint: a report that is refused half-way leaves nothing behind in its batch. */
static int log_joined(const struct desk *desk, struct taking *t, struct store *store,
                      const struct complaint_new *c, struct error *err)
{
    int rc = store_nest(store, err);
    if (rc)
        return rc;
    rc = joining_log(desk, store, t->form, c, &t->placed, err);
    int unnested = store_unnest(store, rc == 0, rc ? NULL : err);
    return rc ? rc : unnested;
}

/* A row that names no complaint it could repeat is refused by itself, and so is a lone complaint
 * that speaks of harm, for its alarm to be raised. */
static int log_report(const struct desk *desk, struct taking *t, struct store *store,
                      const struct complaint_new *c, struct error *err)
{
    int rc = t->form->same_as[0] ? log_joined(desk, t, store, c, err)
                                 : complaint_log(store, c, &t->placed, err);
    bool harm = t->form->harm || t->form->harm_possible;
    if (rc != ERROR_INVALID || (t->alone && !harm))
        return rc;
    json_t *body = json_incref(t->form->body);
    t->err = *err;
    error_clear(err);
    refuse(desk, t, body, c->logged_ms);
    json_decref(body);
    return 0;
}

static int raise_alarm(const struct desk *desk, struct taking *t, struct store *store,
                       int64_t now_ms, struct error *err)
{
    const struct outbox_new mail = {.event = OUTBOX_URGENT,
                                    .case_id = t->placed.case_id,
                                    .message_id = t->message_id,
                                    .created_ms = now_ms};
    /* what only a repeat speaks of has been mailed to nobody */
    int64_t gather_ms = t->placed.again ? 0 : harm_gather_ms(desk->harm);
    int rc = outgoing_add_urgent(store, &mail, gather_ms, json_incref(t->urgent), &t->mail_gathered,
                                 err);
    const struct taken_at of = {t->of_plant, t->placed.case_id, t->urgent, now_ms};
    if (!rc && !t->mail_gathered) /* else they had the first of them */
        rc = taken_at_tell(desk, store, &of, err);
    return rc || !t->placed.case_id ? rc : case_flag_harm(store, t->placed.case_id, err);
}

static int log_form(const struct desk *desk, struct store *store, int64_t now_ms, struct taking *t,
                    struct error *err)
{
    struct complaint_new c;
    placing_complaint(t->form, &t->placing, t->body, now_ms, &c);
    c.contact = t->contact;
    c.contact_fold = t->form->contact_fold;
    c.contact_purge_ms = now_ms + desk->contact_ms;
    c.logged_by = t->user;
    c.taken = t->taken_text;
    c.ranked_as = t->old ? WORK_AGAIN : t->bulk ? WORK_BULK : NULL;
    int rc = log_report(desk, t, store, &c, err);
    if (!rc && t->form && t->contact && !t->placed.again && !t->placed.joined)
        rc = apart_past_written(desk, store, &t->placed, err);
    if (!rc && t->form && t->urgent)
        json_object_set_new(t->urgent, "case", CASE_ID_JSON(t->placed.case_id));
    return rc;
}

/* An alarm of what only is said now of harm: of what was taken back and comes as it came there is
 * none, and what else is said says that it was. */
static int alarm_again(const struct desk *desk, struct store *store, struct taking *t, bool same,
                       struct error *err)
{
    char marks[REPEAT_HARM_MARKS];
    int rc = repeat_harm_news(desk, store, t->form, marks, err);
    bool news = !rc && *marks && !(same && t->placed.harm);
    json_t *back = news && !t->placed.harm ? taken_back_find(desk, store, t->form->uuid,
                                                             json_object_get(t->form->body, "harm"))
                                           : NULL;
    if (news && !(back && same)) {
        event_again_id(desk->mail_domain, t->form->uuid, marks, t->message_id,
                       sizeof t->message_id);
        if (back)
            json_object_set_new(t->urgent, "why", taken_back_told(back));
        json_decref(back);
        return 0;
    }
    json_decref(t->taken_back); /* of a job that was undone and runs again */
    t->taken_back = back;
    json_decref(t->urgent);
    t->urgent = NULL;
    return rc;
}

/* As it would be read if it were kept: numbers have the digits that are printed. */
static char *sent_text(const struct taking *t)
{
    json_t *sent = sent_of(t->form->body, t->taken);
    char *text = jsonx_dump(sent);
    json_decref(sent);
    return text;
}

/* Other content under an id that is on record: nothing is written but what speaks of harm. */
static int check_again(const struct desk *desk, struct store *store, struct taking *t,
                       int64_t now_ms, struct error *err)
{
    struct error why = {0};
    json_t *differs = NULL;
    char *sent = sent_text(t);
    int rc = repeated_check(store, t->form, sent, &differs, &why);
    free(sent);
    if (rc && rc != ERROR_CONFLICT)
        return error_set(err, rc, "%s", why.text);
    int kept = alarm_again(desk, store, t, !rc, err);
    if (!kept && t->urgent)
        kept = repeat_harm_keep(desk, store, t->form, t->user ? t->user : "", now_ms, err);
    if (kept || !rc) {
        json_decref(differs);
        return kept;
    }
    error_at(&why, t->source, t->line, 0);
    t->err = why;
    json_decref(t->faults);
    t->faults = differs;
    t->harm = json_deep_copy(json_object_get(t->form->body, "harm"));
    t->harm_possible = t->form->harm_possible;
    complaint_form_free(t->form);
    t->form = NULL;
    return 0;
}

int taking_log(const struct desk *desk, struct store *store, int64_t now_ms, struct taking *t,
               struct error *err)
{
    assert(store_writing(store));
    int rc = t->urgent ? outbox_doubtful(store, now_ms, &t->mail_stuck, err) : 0;
    if (!rc && t->form)
        rc = log_form(desk, store, now_ms, t, err);
    /* harm that only the repeat speaks of is heard; once, however often */
    if (!rc && t->placed.again && t->form)
        rc = check_again(desk, store, t, now_ms, err);
    return rc || !t->urgent ? rc : raise_alarm(desk, t, store, now_ms, err);
}

void taking_clear(struct taking *t)
{
    complaint_form_free(t->form);
    json_decref(t->faults);
    json_decref(t->taken);
    apart_clear(&t->apart);
    json_decref(t->lot);
    json_decref(t->urgent);
    json_decref(t->taken_back);
    json_decref(t->harm);
    free(t->body);
    free(t->taken_text);
    free(t->contact);
}

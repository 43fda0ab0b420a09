#include "desk/answer.h"
#include "base/short_id.h"
#include "base/text.h"
#include "desk/joining.h"
#include "desk/logged.h"
#include "desk/lot_harm.h"
#include "desk/named.h"
#include "desk/passed_on.h"
#include "desk/return_place.h"
#include "desk/understood.h"
#include "intake/harm.h"
#include "intake/whom.h"
#include "rank/triage.h"
#include "store/outbox.h"
#include "store/seen.h"
#include <assert.h>
#include <string.h>

static json_t *case_json(const struct taking *t)
{
    return CASE_ID_JSON(t->placed.case_id);
}

/* Of a report of harm: does anybody get a mail? NULL: one goes out once this is logged. */
struct alarm_known {
    bool stuck, logged, queued_before, gathered;
};

static const char *alarm_of(const struct desk *desk, const struct alarm_known *known)
{
    const char *none = desk->no_alarm(desk->no_alarm_arg);
    if (none)
        return none;
    if (known->stuck)
        return "earlier mail could not be sent yet: phone the food-safety lead";
    if (known->queued_before)
        return "its mail was queued when it was first said";
    if (known->gathered)
        return "harm of this case was mailed a moment ago: this report follows with the next mail, "
               "within minutes";
    return known->logged ? "an urgent mail goes out at once" : NULL;
}

static bool is_stuck(struct store *store, int64_t now_ms)
{
    bool stuck = false;
    return outbox_doubtful(store, now_ms, &stuck, NULL) == 0 && stuck;
}

const char *answer_mailed(const struct desk *desk, struct store *store, bool gathered,
                          int64_t now_ms)
{
    return alarm_of(desk, &(struct alarm_known){is_stuck(store, now_ms), true, false, gathered});
}

const char *answer_alarm(const struct desk *desk, struct store *store, int64_t now_ms)
{
    return answer_mailed(desk, store, false, now_ms);
}

/* What to read out, and whether a mail about it leaves. */
static void add_harm(const struct desk *desk, bool possible, bool reachable,
                     const struct alarm_known *known, json_t *answer)
{
    const char *alarm = alarm_of(desk, known); /* looks at the mail program: of harm only */
    json_object_set_new(answer, "script", harm_read_out(desk->harm, possible, reachable));
    if (alarm)
        json_object_set_new(answer, "alarm", json_string(alarm));
}

/* Of a repeat, by what was queued: an event that is left is one that was. */
static bool was_mailed(const struct taking *t)
{
    return t->placed.again && !t->urgent;
}

json_t *answer_refused_harm(const struct desk *desk, const struct taking *t)
{
    json_t *answer = json_object();
    if (t->harm)
        json_object_set(answer, "harm", t->harm);
    if (t->harm_possible)
        json_object_set_new(answer, "harm_possible", json_true());
    if (t->harm || t->harm_possible)
        add_harm(desk, t->harm_possible, t->reachable,
                 &(struct alarm_known){t->mail_stuck, true, was_mailed(t), t->mail_gathered},
                 answer);
    return answer;
}

static json_t *refusal_json(const struct desk *desk, const struct taking *t)
{
    json_t *error = json_pack("{s:s, s:I, s:s, s:s, s:s}", "source", t->source ? t->source : "",
                              "line", (json_int_t)t->line, "field", t->err.field, "value",
                              t->err.value, "reason", t->err.text);
    if (json_array_size(t->faults) > 1 || t->err.code == ERROR_CONFLICT)
        json_object_set(error, "faults", t->faults);
    if (t->err.hint[0])
        json_object_set_new(error, "hint", json_string(t->err.hint));
    json_t *refusal = answer_refused_harm(desk, t);
    json_object_set_new(refusal, "error", error);
    return refusal;
}

/* Beside harm, whoever told of it, no cause is named to the desk. */
static void add_ranking(json_t *answer, const json_t *ranking)
{
    bool harm = json_is_true(json_object_get(ranking, "harm")) ||
                json_is_true(json_object_get(ranking, "harm_possible"));
    json_t *ranked = harm ? NULL : json_object_get(ranking, "ranked");
    json_object_set_new(answer, "ranked", ranked ? json_incref(ranked) : json_array());
    json_object_set(answer, "ask", json_object_get(ranking, "ask"));
    /* lock-outs and ovens are for the plant: the desk reads out what the caller needs */
    json_object_set(answer, "cautions", json_object_get(ranking, "caller_cautions"));
}

static void add_said_harm(const struct desk *desk, const struct answer_harm *says,
                          const struct alarm_known *known, json_t *answer)
{
    json_object_set_new(answer, "harm",
                        says->harm ? json_copy((json_t *)says->harm) : json_array());
    json_object_set_new(answer, "harm_possible", json_boolean(says->possible));
    if (json_array_size(says->harm) || says->possible)
        add_harm(desk, says->possible, says->reachable, known, answer);
}

void answer_changed_harm(const struct desk *desk, struct store *store,
                         const struct answer_harm *says, const json_t *ranking, int64_t now_ms,
                         json_t *answer)
{
    json_t *cautions = json_object_get(ranking, "caller_cautions");
    json_object_set_new(answer, "cautions", cautions ? json_copy(cautions) : json_array());
    struct answer_harm said = *says;
    said.possible = says->possible && !json_array_size(says->harm);
    add_said_harm(desk, &said,
                  &(struct alarm_known){is_stuck(store, now_ms), true, !says->came, says->gathered},
                  answer);
}

/* Whoever calls next of bread that hurt somebody is asked of that first. */
static void ask_if_hurt(const struct desk *desk, json_t *answer)
{
    json_t *asks = json_copy(json_object_get(answer, "ask"));
    if (!asks)
        return;
    json_array_insert_new(
        asks, 0, json_pack("{s:s, s:s}", "ask", harm_script_of(desk->harm, true), "of", "caller"));
    json_object_set_new(answer, "ask", asks);
}

/* Of the lot, in whichever case: what else is wrong with the bread makes it no safer. */
static struct lot_harm read_lot_harm(const struct desk *desk, struct store *store,
                                     const struct taking *t, int64_t lot_id)
{
    struct lot_harm found;
    struct hold_of of = {.lot_id = lot_id};
    const char *code = complaint_form_text(t->form, "lot_text");
    if (!lot_id && code)
        text_clip(code, of.code, sizeof of.code);
    if (lot_harm_elsewhere(desk, store, &of, t->placed.case_id, &found, NULL))
        found = (struct lot_harm){0};
    return found;
}

/* `possible`: this caller's words are to be read themselves. */
static void add_earlier(const json_t *ranking, const struct lot_harm *lot, bool possible,
                        json_t *answer)
{
    const char *says = NULL;
    if (lot->reported || json_is_true(json_object_get(ranking, "harm")))
        says = "an earlier caller reported harm on this lot";
    else if (lot->measured)
        says = "a laboratory found harm in this lot";
    else if (!possible && json_is_true(json_object_get(ranking, "harm_possible")))
        says = "what was said or written of this case before may speak of harm, and nobody has "
               "read it";
    else if (!possible && lot->possible)
        says = "what was said or written of this lot before may speak of harm, and nobody has "
               "read it";
    else if (!possible && lot->measured_possible)
        says = "words of a laboratory's result of this lot may speak of harm";
    if (!says)
        return;
    json_object_set_new(answer, "earlier_harm", json_string(says));
    json_object_set_new(answer, "ranked", json_array());
}

/* This caller's; that another one reported harm before is a word of its own. */
static void add_form_harm(const struct desk *desk, const struct taking *t, const json_t *ranking,
                          const struct lot_harm *lot, const struct alarm_known *known,
                          json_t *answer)
{
    const json_t *harm = t->taken_back ? NULL : json_object_get(t->form->body, "harm");
    const struct answer_harm says = {.harm = harm,
                                     .possible = t->form->harm_possible && !t->taken_back,
                                     .reachable = t->reachable};
    add_said_harm(desk, &says, known, answer);
    if (t->taken_back)
        json_object_set(answer, "harm_taken_back", t->taken_back);
    if (!json_array_size(harm))
        add_earlier(ranking, lot, says.possible, answer);
    if (json_object_get(answer, "earlier_harm"))
        ask_if_hurt(desk, answer);
}

/* Before all others: where returned goods must not stand. */
static void add_return_caution(const struct desk *desk, const struct complaint_form *form,
                               json_t *answer)
{
    const char *channel = complaint_form_text(form, "channel");
    if (!channel || strcmp(channel, "return") != 0)
        return;
    const char *caution =
        return_place_caution(triage_catalogue(desk->triage), complaint_form_text(form, "put_at"));
    json_t *cautions = json_copy(json_object_get(answer, "cautions"));
    if (!cautions)
        cautions = json_array();
    if (caution)
        json_array_insert_new(cautions, 0, json_string(caution));
    json_object_set_new(answer, "cautions", cautions);
}

static void add_whom(const struct complaint_form *form, json_t *answer)
{
    json_object_set_new(answer, "ask_whom",
                        json_string(whom_to_ask(complaint_form_text(form, "channel"))));
}

/* What the complaint it repeats got from it, and where the two differ. */
static void add_joined(const struct desk *desk, const struct taking *t, struct store *store,
                       json_t *answer)
{
    size_t i;
    json_t *report;
    json_t *reports = joining_reports_json(store, desk->tz, t->placed.complaint_id, false, NULL);
    json_object_set_new(answer, "same_as", joining_of_json(store, t->form->uuid));
    json_array_foreach(reports, i, report)
    {
        const char *uuid = json_string_value(json_object_get(report, "complaint"));
        if (uuid && strcmp(uuid, t->form->uuid) == 0) {
            json_object_set(answer, "brought", json_object_get(report, "brought"));
            json_object_set(answer, "differs", json_object_get(report, "differs"));
        }
    }
    json_decref(reports);
}

/* What logged and previewed ones are told alike. */
static void add_understood(const struct desk *desk, struct store *store, const struct taking *t,
                           int64_t lot_id, json_t *answer)
{
    json_object_update(answer, t->lot);
    if (t->placed.again || t->placed.joined || (t->placed.complaint_id && !seen_all(store)))
        logged_json(desk, store, t->placed.complaint_id, answer);
    json_object_set_new(answer, "understood", understood_json(store, desk->tz, lot_id, t->form));
    json_object_set(answer, "taken", t->taken);
    json_object_set(answer, "apart", t->apart.told);
    if (t->placed.complaint_id && !seen_all(store)) /* of the lots that are seen */
        logged_doubts(desk, store, t->placed.complaint_id, answer);
    else
        json_object_set(answer, "doubts", t->form->doubts);
}

/* To find somebody by a number that is made up would tell who called: to the desk alone. */
static void add_similar(const struct desk *desk, struct store *store, const struct taking *t,
                        int64_t lot_id, json_t *answer)
{
    json_t *similar = t->desk ? understood_similar(store, desk, t->placed.complaint_id, t->form,
                                                   lot_id, &t->placing)
                              : json_array();
    json_object_set_new(answer, "similar", similar);
}

/* Whoever was hurt is asked of that, not of the bread. */
static void set_harm_asks(const struct desk *desk, const struct taking *t, json_t *answer)
{
    const json_t *kinds = json_object_get(t->form->body, "harm");
    if (!t->taken_back && json_array_size(kinds) && json_object_get(answer, "ask"))
        json_object_set_new(answer, "ask", harm_asks_of(desk->harm, HARM_SAID, kinds));
}

json_t *answer_taken(const struct desk *desk, struct store *store, const struct taking *t,
                     const json_t *ranking)
{
    assert(t->form || t->err.code);
    if (!t->form)
        return refusal_json(desk, t);
    json_t *answer = json_pack("{s:s, s:o, s:b}", "complaint", t->form->uuid, "case", case_json(t),
                               "again", t->placed.again);
    named_short_json(store, t->form->uuid, answer);
    add_understood(desk, store, t, t->placed.lot_id, answer);
    json_object_set(answer, "ignored", t->form->ignored);
    if (ranking)
        add_ranking(answer, ranking);
    set_harm_asks(desk, t, answer);
    add_return_caution(desk, t->form, answer);
    add_whom(t->form, answer);
    const struct lot_harm lot = read_lot_harm(desk, store, t, t->placed.lot_id);
    add_form_harm(desk, t, ranking, &lot,
                  &(struct alarm_known){t->mail_stuck, true, was_mailed(t), t->mail_gathered},
                  answer);
    if (t->placed.joined)
        add_joined(desk, t, store, answer);
    else
        add_similar(desk, store, t, t->placed.lot_id, answer);
    return answer;
}

/* Nothing that depends on what else is known of its case. */
json_t *answer_passed_on(const struct desk *desk, const struct taking *t)
{
    json_t *answer = json_pack("{s:s, s:b, s:[], s:[], s:[]}", "complaint", t->form->uuid, "again",
                               t->placed.again, "ranked", "ask", "cautions");
    const struct answer_harm says = {.harm = json_object_get(t->form->body, "harm"),
                                     .possible = t->form->harm_possible,
                                     .reachable = t->reachable};
    passed_on_json(answer);
    json_object_set_new(answer, "doubts", json_array());
    json_object_set(answer, "taken", t->taken);
    json_object_set(answer, "apart", t->apart.told);
    json_object_set(answer, "ignored", t->form->ignored);
    add_said_harm(desk, &says,
                  &(struct alarm_known){
                      .stuck = t->mail_stuck, .logged = true, .queued_before = was_mailed(t)},
                  answer);
    return answer;
}

json_t *answer_preview(const struct desk *desk, struct store *store, const struct taking *t,
                       const json_t *ranking, int64_t now_ms)
{
    assert(t->form || t->err.code);
    json_t *answer = json_object();
    int64_t lot_id = complaint_lots_settled(&t->placing.lots);
    add_understood(desk, store, t, lot_id, answer);
    add_similar(desk, store, t, lot_id, answer);
    add_ranking(answer, ranking);
    add_return_caution(desk, t->form, answer);
    add_whom(t->form, answer);
    struct lot_harm lot = {0};
    if (ranking) /* NULL: of a lot that the sender does not see */
        lot = read_lot_harm(desk, store, t, lot_id);
    add_form_harm(desk, t, ranking, &lot,
                  &(struct alarm_known){is_stuck(store, now_ms), false, false, false}, answer);
    return answer;
}

json_t *answer_busy(const struct desk *desk, const struct taking *t, bool all)
{
    if (!t->form)
        return refusal_json(desk, t);
    json_t *answer = json_pack("{s:s, s:o, s:[], s:[], s:[], s:b}", "complaint", t->form->uuid,
                               "case", case_json(t), "ranked", "ask", "cautions", "busy", true);
    if (all) {
        json_object_update(answer, t->lot);
        json_object_set(answer, "doubts", t->form->doubts);
    } else {
        passed_on_unread(answer);
    }
    add_form_harm(desk, t, NULL, &(struct lot_harm){0},
                  &(struct alarm_known){t->mail_stuck, true, was_mailed(t), t->mail_gathered},
                  answer);
    return answer;
}

#include "desk/joining.h"
#include "base/jsonx.h"
#include "base/short_id.h"
#include "base/text.h"
#include "desk/anew.h"
#include "desk/apart.h"
#include "desk/apart_again.h"
#include "desk/apart_past.h"
#include "desk/placing.h"
#include "intake/report.h"
#include "store/case.h"
#include "store/change.h"
#include "store/contact.h"
#include "store/entry.h"
#include "store/joined.h"
#include <assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static int refuse(struct error *err, const char *same_as, const char *why, const char *hint)
{
    error_clear(err);
    error_set(err, ERROR_INVALID, "%s", why);
    error_field(err, "same_as", same_as);
    error_hint(err, "%s", hint);
    return ERROR_INVALID;
}

/* May a report of this kind be joined to that complaint? */
static int check_alike(const struct anew *to, const char *uuid, const char *symptom, bool is_return,
                       const char *same_as, struct error *err)
{
    if (strcmp(to->uuid, uuid) == 0)
        return refuse(err, same_as, "is this complaint itself", "");
    if (strcmp(to->symptom, symptom) != 0)
        return refuse(err, same_as, "is about another symptom",
                      "log it as a complaint of its own: causes are weighed symptom by symptom");
    if (to->is_return != is_return)
        return refuse(err, same_as, "one is a return and the other is not",
                      "log it as a complaint of its own: goods that came back are counted apart");
    return 0;
}

/* Two codes that were read whole are of two lots, and so of two cases. */
static int check_lots(const char *code, const char *of_first, const char *same_as,
                      struct error *err)
{
    char why[2 * LOT_MATCH_CODE + 40];
    if (!code[0] || !of_first[0] || strcmp(code, of_first) == 0)
        return 0;
    snprintf(why, sizeof why, "is of another lot: %s, this one of %s", of_first, code);
    return refuse(
        err, same_as, why,
        "it is a complaint of its own; if a code was read wrong, correct it; `oddloaf join "
        "--anyway` joins what is logged all the same");
}

static int check_report_lot(const struct anew *to, struct store *store,
                            const struct complaint_new *report, const char *same_as,
                            struct error *err)
{
    const struct lot_query query = {
        .lot_text = report->lot_text, .received_ms = report->received_ms, .tz = to->desk->tz};
    char code[LOT_MATCH_CODE], first[LOT_MATCH_CODE];
    placing_code(to->desk, store, &query, &report->lots, code);
    placing_code_of(to->desk, store, to->id, first);
    return check_lots(code, first, same_as, err);
}

static int check_logged_lot(const struct anew *own, const struct anew *to, struct store *store,
                            const char *same_as, struct error *err)
{
    char code[LOT_MATCH_CODE], first[LOT_MATCH_CODE];
    placing_code_of(own->desk, store, own->id, code);
    placing_code_of(to->desk, store, to->id, first);
    return check_lots(code, first, same_as, err);
}

struct first {
    const char *same_as;
    bool unseen; /* by who names it: as if it were not there */
};

static int find_first(const struct desk *desk, struct store *store, const struct first *first,
                      struct anew *ret, struct error *err)
{
    const char *same_as = first->same_as;
    int rc = first->unseen ? ERROR_NOT_FOUND : anew_find(desk, store, same_as, ret, err);
    if (rc == ERROR_NOT_FOUND)
        return refuse(err, same_as, "there is no such complaint",
                      "the first report must be logged before the one that repeats it");
    return rc;
}

/* With one that counts nowhere a report would be lost, or bring it back unasked. */
static int check_stands(const struct anew *found, struct error *err)
{
    if (!found->withdrawn)
        return 0;
    error_hint(err, "`oddloaf withdraw --undo %s` first", found->uuid);
    return error_set(err, ERROR_CONFLICT, "complaint %s is withdrawn", found->uuid);
}

static int record(struct store *store, const char *uuid, const struct complaint_why *why,
                  const char *was, const char *now, struct error *err)
{
    const struct change_row change = {
        .complaint = uuid, .at_ms = why->at_ms, .by = why->by, .reason = why->reason};
    return change_add(store, &change, "joined", was, now, err);
}

static const char JOINED[] = "a report of the same was joined to it or taken from it";

/* After a report was added to a complaint or taken away from it. */
static int tell_anew(struct store *store, const struct anew *was, int64_t now_ms, struct error *err)
{
    const struct complaint_why why = {"oddloaf", JOINED, now_ms};
    struct complaint_placed placed;
    return anew_tell(store, was, NULL, &why, &placed, err);
}

static int add_report(struct store *store, const struct anew *to, const struct joined_row *report,
                      struct complaint_placed *ret, struct error *err)
{
    assert(to->id > 0 && report->uuid && report->body);
    struct anew now = {0};
    int rc = joined_add(store, report, err);
    if (!rc)
        rc = tell_anew(store, to, report->joined_ms, err);
    if (!rc)
        rc = apart_again_complaint(to->desk, store, to->id, err);
    if (!rc)
        rc = anew_find(to->desk, store, to->uuid, &now, err);
    if (!rc)
        *ret = (struct complaint_placed){
            .complaint_id = now.id, .case_id = now.case_id, .lot_id = now.lot_id, .joined = true};
    anew_clear(&now);
    return rc;
}

/* ---- the three ways ---- */

int joining_log(const struct desk *desk, struct store *store, const struct complaint_form *form,
                const struct complaint_new *report, struct complaint_placed *ret, struct error *err)
{
    assert(store_writing(store));
    assert(*form->same_as);
    struct anew to = {0}, own = {0};
    int rc = anew_find(desk, store, form->uuid, &own, err);
    if (rc == 0)
        *ret = (struct complaint_placed){.complaint_id = own.id,
                                         .case_id = own.case_id,
                                         .lot_id = own.lot_id,
                                         .joined = own.joined,
                                         .harm =
                                             json_array_size(json_object_get(own.body, "harm")) > 0,
                                         .again = true};
    anew_clear(&own);
    if (rc != ERROR_NOT_FOUND)
        return rc;
    error_clear(err);
    rc = find_first(desk, store, &(struct first){form->same_as, form->same_as_unseen}, &to, err);
    if (!rc && to.withdrawn)
        rc = refuse(err, form->same_as, "is withdrawn",
                    "log it as a complaint of its own, or bring that one back first");
    if (!rc)
        rc = check_alike(&to, form->uuid, report->symptom, strcmp(report->channel, "return") == 0,
                         form->same_as, err);
    if (!rc && !form->anyway)
        rc = check_report_lot(&to, store, report, form->same_as, err);
    const struct contact_row contact = {to.id, form->uuid, report->contact, report->contact_fold,
                                        report->contact_purge_ms};
    if (!rc)
        rc = contact_add(store, &contact, err);
    if (!rc)
        rc = entry_put(store, form->uuid, report, err);
    if (!rc)
        rc = add_report(store, &to,
                        &(struct joined_row){.complaint_id = to.id,
                                             .received_ms = report->received_ms,
                                             .logged_ms = report->logged_ms,
                                             .joined_ms = report->logged_ms,
                                             .uuid = form->uuid,
                                             .body = report->body},
                        ret, err);
    anew_clear(&to);
    return rc;
}

/* A verdict must not be left standing on a case without complaints. */
static int check_settled(struct store *store, const struct anew *own, const struct anew *to,
                         struct error *err)
{
    struct case_row row;
    int rc = own->case_id == to->case_id ? 0 : case_get(store, own->case_id, &row, err);
    if (!rc && own->case_id != to->case_id && row.settled && row.complaints == 1) {
        error_hint(err, "`oddloaf settle %s --reopen` first", CASE_ID(own->case_id));
        return error_set(err, ERROR_CONFLICT, "its case %s is settled", CASE_ID(own->case_id));
    }
    return rc;
}

/* What the complaint said by itself goes along; reports joined to it go over as well. */
static int take_over(struct store *store, const struct anew *own, const struct anew *to,
                     const struct complaint_why *why, struct complaint_placed *ret,
                     struct error *err)
{
    char *body = NULL;
    int rc = joined_first(store, own->id, &body, err);
    if (!rc && !body)
        body = jsonx_dump(own->body);
    if (!rc)
        rc = joined_move(store, own->id, to->id, err);
    if (!rc)
        rc = contact_move(store, own->id, "", to->id, own->uuid, err);
    if (!rc)
        rc = complaint_take_out(store, own->id, to->case_id, why->at_ms, err);
    if (!rc)
        rc = record(store, own->uuid, why, "", to->uuid, err);
    if (!rc)
        rc = add_report(store, to,
                        &(struct joined_row){.complaint_id = to->id,
                                             .received_ms = own->received_ms,
                                             .logged_ms = own->logged_ms,
                                             .joined_ms = why->at_ms,
                                             .uuid = own->uuid,
                                             .body = body},
                        ret, err);
    free(body);
    return rc;
}

static int join_standing(struct store *store, const struct anew *own, const struct anew *to,
                         const struct complaint_why *why, struct complaint_placed *ret,
                         struct error *err)
{
    int rc = check_stands(own, err);
    if (!rc)
        rc = check_stands(to, err);
    if (!rc)
        rc = check_settled(store, own, to, err);
    return rc ? rc : take_over(store, own, to, why, ret, err);
}

int joining_join(const struct desk *desk, struct store *store, const struct joining_pair *pair,
                 const struct complaint_why *why, struct complaint_placed *ret, struct error *err)
{
    assert(store_writing(store));
    assert(pair->uuid && pair->same_as);
    struct anew own = {0}, to = {0};
    int rc = anew_find(desk, store, pair->uuid, &own, err);
    if (!rc)
        rc = find_first(desk, store, &(struct first){pair->same_as, pair->unseen}, &to, err);
    bool there = !rc && own.joined && own.id == to.id;
    if (there) {
        *ret = (struct complaint_placed){.complaint_id = to.id,
                                         .case_id = to.case_id,
                                         .lot_id = to.lot_id,
                                         .joined = true,
                                         .again = true};
    } else if (!rc && own.joined) {
        rc = error_set(err, ERROR_CONFLICT, "is joined to %s already", own.uuid);
        error_hint(err, "`oddloaf join --undo %s` first", pair->uuid);
    } else if (!rc) {
        rc = check_alike(&to, own.uuid, own.symptom, own.is_return, pair->same_as, err);
        if (!rc && !pair->anyway)
            rc = check_logged_lot(&own, &to, store, pair->same_as, err);
        if (!rc)
            rc = join_standing(store, &own, &to, why, ret, err);
    }
    anew_clear(&own);
    anew_clear(&to);
    return rc;
}

struct separated {
    int64_t complaint_id, received_ms, logged_ms;
    json_t *body;
};

static int take_report(void *arg, const struct joined_row *row)
{
    struct separated *s = arg;
    s->complaint_id = row->complaint_id;
    s->received_ms = row->received_ms;
    s->logged_ms = row->logged_ms;
    return jsonx_parse(row->body, strlen(row->body), &s->body, NULL);
}

/* It was logged when it was logged, and by whom (store/entry.h); that it is separated now is on
 * record by itself. */
static int log_separated(const struct desk *desk, struct store *store,
                         const struct separated *report, struct complaint_placed *ret,
                         struct error *err)
{
    struct form_options options = placing_options(desk, report->body, NULL);
    struct complaint_form *form = NULL;
    struct placing placing = {0};
    struct complaint_new c;
    options.now_ms = report->received_ms;
    json_object_del(report->body, "same_as");
    int rc = complaint_form_read(report->body, &options, &form, err);
    if (!rc)
        rc = placing_find(desk, store, form, &placing, err);
    if (!rc)
        rc = joined_remove(store, form->uuid, err);
    if (!rc) {
        char *body = jsonx_dump(form->body);
        placing_complaint(form, &placing, body, report->logged_ms, &c);
        rc = complaint_log(store, &c, ret, err);
        free(body);
    }
    if (!rc)
        rc = contact_move(store, report->complaint_id, form->uuid, ret->complaint_id, "", err);
    if (!rc)
        rc = apart_past_written(desk, store, ret, err);
    complaint_form_free(form);
    return rc;
}

int joining_separate(const struct desk *desk, struct store *store, const char *uuid,
                     const struct complaint_why *why, struct complaint_placed *ret,
                     struct error *err)
{
    assert(store_writing(store));
    struct separated report = {0};
    struct anew from = {0};
    int rc = joined_by_uuid(store, uuid, take_report, &report, err);
    if (!rc)
        rc = anew_find(desk, store, uuid, &from, err);
    if (!rc)
        rc = log_separated(desk, store, &report, ret, err);
    if (!rc)
        rc = record(store, uuid, why, from.uuid, "", err);
    if (!rc)
        rc = tell_anew(store, &from, why->at_ms, err);
    anew_clear(&from);
    json_decref(report.body);
    return rc;
}

/* ---- showing ---- */

static int take_uuid(void *arg, const struct joined_row *row)
{
    text_clip(row->complaint, arg, UUID_TEXT);
    return 0;
}

json_t *joining_of_json(struct store *store, const char *uuid)
{
    char first[UUID_TEXT];
    return joined_by_uuid(store, uuid, take_uuid, first, NULL) == 0 ? json_string(first)
                                                                    : json_null();
}

struct showing {
    struct store *store;
    bool desk;
    json_t *said, *reports;
    const struct tz *tz;
};

static int show_report(void *arg, const struct joined_row *row)
{
    struct showing *s = arg;
    json_t *report = NULL;
    char when[40];
    if (jsonx_parse(row->body, strlen(row->body), &report, NULL))
        return 0;
    json_t *brought = json_array(), *differs = json_array();
    json_t *merged = report_merge(s->said, report, brought, differs);
    json_t *shown = json_pack("{s:s, s:s, s:O?, s:o, s:o, s:o}", "complaint", row->uuid,
                              "received_at", when_format(s->tz, row->received_ms, when), "channel",
                              json_object_get(report, "channel"), "said", report, "brought",
                              brought, "differs", differs);
    json_t *person =
        s->desk ? apart_show(s->store, row->complaint_id, row->uuid, report, NULL) : NULL;
    if (person)
        json_object_set_new(shown, "contact", person);
    json_array_append_new(s->reports, shown);
    json_decref(s->said);
    s->said = merged;
    return 0;
}

json_t *joining_reports_json(struct store *store, const struct tz *tz, int64_t complaint_id,
                             bool desk, json_t **ret_first)
{
    char *first = NULL;
    struct showing s = {.store = store, .desk = desk, .reports = json_array(), .tz = tz};
    if (joined_first(store, complaint_id, &first, NULL) == 0 && first &&
        jsonx_parse(first, strlen(first), &s.said, NULL) == 0) {
        if (ret_first)
            *ret_first = json_incref(s.said);
        joined_of(store, complaint_id, show_report, &s, NULL);
    }
    json_decref(s.said);
    free(first);
    return s.reports;
}

struct brief {
    const struct tz *tz;
    json_t *list;
};

static int show_brief(void *arg, const struct joined_row *row)
{
    const struct brief *b = arg;
    char when[40];
    json_array_append_new(b->list, json_pack("{s:s, s:s, s:s}", "complaint", row->uuid, "same_as",
                                             row->complaint, "received_at",
                                             when_format(b->tz, row->received_ms, when)));
    return 0;
}

json_t *joining_case_json(struct store *store, const struct tz *tz, int64_t case_id)
{
    struct brief brief = {tz, json_array()};
    joined_of_case(store, case_id, show_brief, &brief, NULL);
    return brief.list;
}

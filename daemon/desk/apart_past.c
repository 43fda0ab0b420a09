#include "desk/apart_past.h"
#include "base/jsonx.h"
#include "desk/outgoing.h"
#include "desk/placing.h"
#include "intake/fields.h"
#include "intake/mask.h"
#include "store/change.h"
#include "store/contact.h"
#include "store/noted.h"
#include "store/pattern.h"
#include <assert.h>
#include <stdlib.h>
#include <string.h>

struct past {
    struct store *store;
    const json_t *caller;
    struct apart_row *row;
    bool changed; /* words of what it said once are masked */
    bool noted;   /* words of what the plant wrote are */
    struct error *err;
};

static char *masked(const struct past *p, const char *field, const char *text)
{
    bool code = strcmp(field, "lot_text") == 0 || strcmp(field, "reference") == 0;
    const struct mask_options options = {
        .contact = p->caller, .sure = code, .prose = fields_is_prose(field)};
    return mask_text(text, &options, NULL, NULL);
}

int apart_past_forget(struct store *store, const char *field, const char *was, struct error *err)
{
    assert(store_writing(store));
    bool counts = strcmp(field, "store") == 0 || strcmp(field, "route") == 0;
    return counts && was && *was ? pattern_forget(store, was, err) : 0;
}

/* ---- changes ---- */

/* The desk sees it as it was said. */
static void keep(const struct past *p, const struct change_row *change, const char *name,
                 const char *said, const char *masked)
{
    if (strcmp(said, masked) != 0)
        apart_row_keep_change(p->row, change->id, name, said);
}

static int mask_change(void *arg, const struct change_row *row)
{
    struct past *p = arg;
    bool typed = fields_is_typed(row->field);
    char *was = typed ? masked(p, row->field, row->was) : NULL;
    char *now = typed ? masked(p, row->field, row->now) : NULL;
    char *reason = masked(p, "reason", row->reason);
    const struct change_row without = {
        .id = row->id, .reason = reason, .was = was ? was : row->was, .now = now ? now : row->now};
    keep(p, row, "was", row->was, without.was);
    keep(p, row, "now", row->now, without.now);
    bool same = strcmp(without.reason, row->reason) == 0 && strcmp(without.was, row->was) == 0 &&
                strcmp(without.now, row->now) == 0;
    int rc = same ? 0 : change_rewrite(p->store, &without, p->err);
    if (!rc && strcmp(without.was, row->was) != 0)
        rc = apart_past_forget(p->store, row->field, row->was, p->err);
    if (!rc && strcmp(without.now, row->now) != 0)
        rc = apart_past_forget(p->store, row->field, row->now, p->err);
    p->changed = p->changed || !same;
    free(was);
    free(now);
    free(reason);
    return rc;
}

/* ---- mails ---- */

static int mask_mail(void *arg, int64_t mail_id, const char *payload)
{
    const struct past *p = arg;
    json_t *event = NULL;
    if (jsonx_parse(payload, strlen(payload), &event, NULL))
        return 0;
    /* a digest's lots and figures are no numbers of a caller; what it quotes was masked for those
     */
    const char *name = json_string_value(json_object_get(event, "event"));
    bool sure = !p->row || (name && strcmp(name, "digest") == 0);
    json_t *told = outgoing_masked(event, p->caller, sure);
    char *text = jsonx_dump(told);
    int rc = json_equal(told, event) ? 0 : outbox_rewrite(p->store, mail_id, text, p->err);
    free(text);
    json_decref(told);
    json_decref(event);
    return rc;
}

/* ---- what the plant wrote ---- */

/* Numbers were masked when it was written, where the codes it is about were known. */
static int mask_noted(void *arg, const struct noted_row *row)
{
    struct past *p = arg;
    const struct mask_options options = {.contact = p->caller, .sure = true};
    char *text = mask_text(row->text, &options, NULL, NULL);
    char *end = mask_text(row->end, &options, NULL, NULL);
    const struct noted_row without = {row->of, row->id, text, end};
    bool same = strcmp(text, row->text) == 0 && strcmp(end, row->end) == 0;
    int rc = same ? 0 : noted_rewrite(p->store, &without, p->err);
    p->noted = p->noted || !same;
    free(text);
    free(end);
    return rc;
}

struct callers {
    struct store *store;
    int64_t complaint_id;
    const char *code;
    struct error *err;
};

static int mask_by(void *arg, const char *body)
{
    const struct callers *c = arg;
    struct apart_row row;
    apart_row_parse(body, &row);
    json_t *caller = apart_row_caller(&row, "");
    struct past p = {.store = c->store, .caller = caller, .err = c->err};
    int rc = noted_about(c->store, c->complaint_id, c->code, mask_noted, &p, c->err);
    if (!rc && p.noted) /* mails quote it */
        rc = outbox_about(c->store, c->complaint_id, "", mask_mail, &p, c->err);
    json_decref(caller);
    apart_row_clear(&row);
    return rc;
}

int apart_past_written(const struct desk *desk, struct store *store,
                       const struct complaint_placed *placed, struct error *err)
{
    assert(store_writing(store));
    char code[LOT_MATCH_CODE] = "";
    if (!placed->lot_id)
        placing_code_of(desk, store, placed->complaint_id, code);
    struct callers c = {store, placed->complaint_id, code, err};
    return contact_of_complaint(store, placed->complaint_id, mask_by, &c, err);
}

int apart_past_mask(const struct desk *desk, struct store *store, const struct entry_report *report,
                    const json_t *caller, struct apart_row *row, struct error *err)
{
    assert(store_writing(store));
    char code[LOT_MATCH_CODE];
    struct past p = {.store = store, .caller = caller, .row = row, .err = err};
    placing_code_of(desk, store, report->complaint_id, code);
    int rc = change_of(store, report->report, mask_change, &p, err);
    if (!rc && p.changed)
        rc = entry_forget_words(store, err);
    if (!rc)
        rc = outbox_about(store, report->complaint_id, report->report, mask_mail, &p, err);
    return rc ? rc : noted_about(store, report->complaint_id, code, mask_noted, &p, err);
}

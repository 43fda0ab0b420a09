#include "desk/logged.h"
#include "base/jsonx.h"
#include "base/short_id.h"
#include "base/text.h"
#include "desk/doubts.h"
#include "store/case.h"
#include "tell/hold_json.h"
#include <string.h>

enum { MOVED_MOST = 50, DOUBTED_MOST = 10 };

struct telling {
    const struct desk *desk;
    struct store *store;
    json_t *into;
    struct ranking *kept; /* may be NULL */
};

static int tell_row(void *arg, const struct complaint_row *row)
{
    const struct telling *t = arg;
    const struct lot_query query = {
        .lot_text = row->lot_text, .received_ms = row->received_ms, .tz = t->desk->tz};
    struct complaint_lots lots;
    struct standing standing;
    if (complaint_lots_of(t->store, row->id, &lots, NULL) ||
        placing_standing(t->desk, t->store, &query, &lots, &standing))
        return 0;
    standing_json(&standing, t->into);
    if (t->kept) {
        const char *lot = standing_lot(&standing);
        t->kept->lot_told = true;
        text_clip(lot ? lot : "", t->kept->lot, sizeof t->kept->lot);
    }
    if (!json_object_get(t->into, "lots"))
        json_object_set_new(t->into, "lots", standing_lots_json(&standing));
    return 0;
}

void logged_json(const struct desk *desk, struct store *store, int64_t complaint_id, json_t *into)
{
    struct telling t = {desk, store, into, NULL};
    json_object_del(into, "lots"); /* of when it was placed: of every plant */
    complaint_by_id(store, complaint_id, tell_row, &t, NULL);
}

void logged_case_json(const struct desk *desk, struct store *store, int64_t case_id, json_t *into,
                      struct ranking *kept)
{
    struct telling t = {desk, store, into, kept};
    struct case_row row;
    int64_t id[MOVED_MOST];
    struct store_ids ids = {id, 0, MOVED_MOST};
    json_t *cases = json_array();
    complaint_surest_of_case(store, case_id, tell_row, &t, NULL);
    if (case_get(store, case_id, &row, NULL) == 0)
        hold_json_mark(store, desk->tz, row.lot_id, into);
    case_moved_here(store, case_id, &ids, NULL);
    for (int i = 0; i < ids.count; i++)
        json_array_append_new(cases, CASE_ID_JSON(id[i]));
    json_object_set_new(into, "moved_here", cases);
    if (kept) {
        kept->moved_here = ids.count;
        kept->harm = json_is_true(json_object_get(into, "harm"));
    }
}

/* ---- doubts ---- */

struct doubting {
    const struct desk *desk;
    struct store *store;
    json_t *doubts;
};

/* As it was placed, with the lot whose code was read. */
static int placing_of(const struct doubting *d, const struct complaint_row *row,
                      struct placing *ret)
{
    const struct lot_query query = {
        .lot_text = row->lot_text, .received_ms = row->received_ms, .tz = d->desk->tz};
    struct standing standing;
    *ret = (struct placing){.product_id = row->product_id};
    int rc = complaint_lots_of(d->store, row->id, &ret->lots, NULL);
    if (!rc)
        rc = placing_standing(d->desk, d->store, &query, &ret->lots, &standing);
    if (!rc)
        ret->read_lot_id = standing.read_lot_id;
    return rc;
}

/* Several callers read the same wrong date off the same loaf. */
static bool is_told(const json_t *told, const json_t *doubt)
{
    static const char *const SAME[] = {"field", "value", "says"};
    size_t i;
    const json_t *one;
    json_array_foreach(told, i, one)
    {
        size_t same = 0;
        for (size_t k = 0; k < sizeof SAME / sizeof *SAME; k++)
            same +=
                json_equal(json_object_get(one, SAME[k]), json_object_get(doubt, SAME[k])) ? 1u : 0;
        if (same == sizeof SAME / sizeof *SAME)
            return true;
    }
    return false;
}

static int doubt_row(void *arg, const struct complaint_row *row)
{
    const struct doubting *d = arg;
    const struct form_options options = {.tz = d->desk->tz, .now_ms = row->received_ms};
    struct complaint_form *form = NULL;
    struct placing placing;
    json_t *body = NULL, *doubt;
    size_t i;
    int rc = jsonx_parse(row->body, strlen(row->body), &body, NULL);
    if (!rc)
        rc = complaint_form_read(body, &options, &form, NULL);
    if (!rc)
        rc = placing_of(d, row, &placing);
    if (!rc)
        rc = placing_plant(d->desk, d->store, complaint_form_text(form, "plant"), placing.plant,
                           NULL);
    if (!rc) {
        doubts_add(d->desk, d->store, form, &placing);
        json_array_foreach(form->doubts, i, doubt)
        {
            if (is_told(d->doubts, doubt))
                continue;
            json_object_set_new(doubt, "complaint", json_string(row->uuid));
            json_array_append(d->doubts, doubt);
        }
    }
    complaint_form_free(form);
    json_decref(body);
    return 0;
}

void logged_doubts(const struct desk *desk, struct store *store, int64_t complaint_id, json_t *into)
{
    struct doubting d = {desk, store, json_array()};
    complaint_by_id(store, complaint_id, doubt_row, &d, NULL);
    json_object_set_new(into, "doubts", d.doubts);
}

void logged_case_doubts(const struct desk *desk, struct store *store, int64_t case_id, json_t *into)
{
    struct doubting d = {desk, store, json_array()};
    complaint_newest_of_case(store, case_id, DOUBTED_MOST, doubt_row, &d, NULL);
    json_object_set_new(into, "doubts", d.doubts);
}

#include "desk/placing.h"
#include "base/jsonx.h"
#include "base/text.h"
#include "base/tz_of.h"
#include "store/lot_find.h"
#include "store/seen.h"
#include <assert.h>
#include <stdlib.h>
#include <string.h>

/* ---- reading ---- */

/* Of a whole code that one plant alone writes, that plant; false: none alone does. Without a
 * receipt there is no year for its day. */
static bool plant_of_code(const struct desk *desk, const json_t *complaint,
                          char ret[static LOT_MATCH_WORD])
{
    const char *code = json_string_value(json_object_get(complaint, "lot_text"));
    const char *received = json_string_value(json_object_get(complaint, "received_at"));
    int64_t ms;
    return json_object_size(desk->plants) && code && received &&
           when_parse(received, &ms, NULL) == 0 &&
           *match_plant(desk->matcher, code, ms, desk->tz, ret);
}

struct form_options placing_options(const struct desk *desk, const json_t *complaint,
                                    const char *of_plant)
{
    const char *plant = json_string_value(json_object_get(complaint, "plant"));
    char by_code[LOT_MATCH_WORD];
    if (!plant || !*plant)
        plant = plant_of_code(desk, complaint, by_code) ? by_code : of_plant;
    return (struct form_options){.tz = tz_of(desk->tz, plant)};
}

/* ---- finding ---- */

static struct lot_query query_of(const struct desk *desk, const struct complaint_form *form)
{
    return (struct lot_query){.lot_text = complaint_form_text(form, "lot_text"),
                              .product = complaint_form_text(form, "product"),
                              .code_day = form->code_day,
                              .store = complaint_form_text(form, "store"),
                              .route = complaint_form_text(form, "route"),
                              .bought_day = form->bought_day,
                              .found_day = form->found_day,
                              .received_ms = form->received_ms,
                              .tz = desk->tz,
                              .settle_at = desk->settle_at,
                              .settle_of = desk->settle_of};
}

struct plant {
    char said[LENGTH_CODE + 1], *found;
};

static int is_plant(void *arg, const char *plant)
{
    struct plant *p = arg;
    char folded[LENGTH_CODE + 1];
    if (strcmp(text_fold(plant, folded, sizeof folded), p->said) == 0)
        text_clip(plant, p->found, LENGTH_CODE + 1);
    return 0;
}

/* What is typed may hold anything: only what the settings name or lots bear is taken for a plant.
 */
// NOLINTNEXTLINE(readability-non-const-parameter): is_plant() writes to it
int placing_plant(const struct desk *desk, struct store *store, const char *said,
                  char found[static LENGTH_CODE + 1], struct error *err)
{
    struct plant p = {.found = found};
    const char *name;
    json_t *settings;
    *found = '\0';
    text_fold(said ? said : "", p.said, sizeof p.said);
    if (!*p.said)
        return 0;
    json_object_foreach((json_t *)(uintptr_t)desk->plants, name, settings) is_plant(&p, name);
    return *found ? 0 : lot_find_plants(store, is_plant, &p, err);
}

int placing_find(const struct desk *desk, struct store *store, const struct complaint_form *form,
                 struct placing *ret, struct error *err)
{
    const struct lot_query query = query_of(desk, form);
    struct lot_match_result matched = {0};
    bool some = seen_whole(store); /* whosever it is; what is told of it is what is seen */
    int rc = match_lot(desk->matcher, store, &query, &matched, err);
    seen_again(store, some);
    if (rc)
        return rc;
    *ret = (struct placing){.lots.state = matched.state,
                            .read_lot_id = matched.read_lot_id,
                            .product_id = matched.product_id};
    text_clip(matched.store, ret->store, sizeof ret->store);
    text_clip(matched.route, ret->route, sizeof ret->route);
    for (size_t i = 0; i < matched.count && i < COMPLAINT_LOTS; i++)
        ret->lots.lot[ret->lots.count++] =
            (struct complaint_lot){matched.candidate[i].lot_id, matched.candidate[i].weight};
    return placing_plant(desk, store, complaint_form_text(form, "plant"), ret->plant, err);
}

static int take_body(void *arg, const struct complaint_row *row)
{
    return jsonx_parse(row->body, strlen(row->body), arg, NULL);
}

static int match_all(const struct desk *desk, struct store *store,
                     const struct complaint_form *form, struct placing_all *ret, struct error *err)
{
    struct lot_match_all *all = xcalloc(1, sizeof *all);
    const struct lot_query query = query_of(desk, form);
    int rc = match_lot_all(desk->matcher, store, &query, all, err);
    for (size_t i = 0; i < all->count && !rc; i++)
        ret->lot[ret->count++] =
            (struct complaint_lot){all->candidate[i].lot_id, all->candidate[i].weight};
    ret->left_out = (int64_t)all->left_out;
    free(all);
    return rc;
}

int placing_all(const struct desk *desk, struct store *store, int64_t case_id,
                struct placing_all *ret, struct error *err)
{
    struct complaint_form *form = NULL;
    json_t *body = NULL;
    memset(ret, 0, sizeof *ret);
    int rc = complaint_newest_of_case(store, case_id, 1, take_body, &body, err);
    const struct form_options options = placing_options(desk, body, NULL);
    if (!rc && body)
        rc = complaint_form_read(body, &options, &form, err);
    if (!rc && form)
        rc = match_all(desk, store, form, ret, err);
    complaint_form_free(form);
    json_decref(body);
    return rc;
}

void placing_complaint(const struct complaint_form *form, const struct placing *placing,
                       const char *body, int64_t now_ms, struct complaint_new *ret)
{
    assert(form && placing && body);
    *ret = (struct complaint_new){
        .uuid = form->uuid,
        .received_ms = form->received_ms,
        .logged_ms = now_ms,
        .channel = complaint_form_text(form, "channel"),
        .symptom = complaint_form_text(form, "symptom"),
        .lot_text = complaint_form_text(form, "lot_text"),
        /* one spelling of a store, or its counts by store fall apart; what was typed is found, too
         */
        .store = placing->store[0] ? placing->store : complaint_form_text(form, "store"),
        .route = placing->route[0] ? placing->route : complaint_form_text(form, "route"),
        .plant = placing->plant,
        .store_said = complaint_form_text(form, "store"),
        .reference = complaint_form_text(form, "reference"),
        .note = complaint_form_text(form, "note"),
        .product_id = placing->product_id,
        .code_day = form->code_day,
        .bought_day = form->bought_day,
        .found_day = form->found_day,
        .packs = form->packs,
        .units = form->units,
        .harm = form->harm,
        .body = body,
        .lots = placing->lots,
    };
}

/* ---- telling ---- */

int placing_standing(const struct desk *desk, struct store *store, const struct lot_query *query,
                     const struct complaint_lots *lots, struct standing *ret)
{
    assert(lots->count >= 0 && lots->count <= COMPLAINT_LOTS);
    int64_t lot_id[COMPLAINT_LOTS];
    double weight[COMPLAINT_LOTS];
    for (int i = 0; i < lots->count; i++) {
        lot_id[i] = lots->lot[i].lot_id;
        weight[i] = lots->lot[i].weight;
    }
    const struct standing_kept kept = {lots->state, lot_id, weight, (size_t)lots->count};
    return standing_of_kept(desk->matcher, store, query, &kept, ret, NULL);
}

void placing_code(const struct desk *desk, struct store *store, const struct lot_query *query,
                  const struct complaint_lots *lots, char out[LOT_MATCH_CODE])
{
    struct standing standing;
    const char *code = "";
    /* in the other states no code was read whole, or another is likelier */
    if ((lots->state == LOT_EXACT || lots->state == LOT_NOT_ON_RECORD) &&
        placing_standing(desk, store, query, lots, &standing) == 0)
        code = lots->state == LOT_EXACT ? standing_lot(&standing) : standing.code;
    text_clip(code ? code : "", out, LOT_MATCH_CODE);
}

struct coding {
    const struct desk *desk;
    struct store *store;
    char *out;
};

static int code_row(void *arg, const struct complaint_row *row)
{
    const struct coding *c = arg;
    const struct lot_query query = {
        .lot_text = row->lot_text, .received_ms = row->received_ms, .tz = c->desk->tz};
    struct complaint_lots lots;
    int rc = complaint_lots_of(c->store, row->id, &lots, NULL);
    if (!rc)
        placing_code(c->desk, c->store, &query, &lots, c->out);
    return rc;
}

void placing_code_of(const struct desk *desk, struct store *store, int64_t complaint_id,
                     char out[LOT_MATCH_CODE])
{
    struct coding c = {desk, store, out};
    out[0] = '\0';
    complaint_by_id(store, complaint_id, code_row, &c, NULL);
}

void placing_json(const struct desk *desk, struct store *store, const struct complaint_form *form,
                  const struct complaint_lots *lots, json_t *into)
{
    const struct lot_query query = {.lot_text = complaint_form_text(form, "lot_text"),
                                    .received_ms = form->received_ms,
                                    .tz = desk->tz};
    struct standing standing;
    if (placing_standing(desk, store, &query, lots, &standing))
        return;
    standing_json(&standing, into);
    json_object_set_new(into, "lots", standing_lots_json(&standing));
}

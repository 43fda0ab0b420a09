#include "desk/placing.h"
#include "base/jsonx.h"
#include "base/text.h"
#include "store/lot_find.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum {
    AGAIN_DAYS = 120, /* older complaints are about bread long gone from any record's view */
    BEFORE_DAYS = 90  /* a plant that has just begun to load logs the complaints of before, too */
};

int placing_find(const struct desk *desk, struct store *store, const struct complaint_form *form,
                 struct placing *ret, struct error *err)
{
    const struct lot_query query = {.lot_text = complaint_form_text(form, "lot_text"),
                                    .product = complaint_form_text(form, "product"),
                                    .code_day = form->code_day,
                                    .store = complaint_form_text(form, "store"),
                                    .route = complaint_form_text(form, "route"),
                                    .bought_day = form->bought_day,
                                    .found_day = form->found_day,
                                    .received_ms = form->received_ms,
                                    .tz = desk->tz};
    struct lot_match_result matched = {0};
    int rc = lot_match(desk->matcher, store, &query, &matched, err);
    if (rc)
        return rc;
    memset(ret, 0, sizeof *ret);
    for (size_t i = 0; i < matched.count && i < COMPLAINT_LOTS; i++) {
        text_clip(matched.candidate[i].code, ret->code[i], sizeof ret->code[i]);
        ret->lots[ret->lot_count++] =
            (struct complaint_lot){matched.candidate[i].lot_id, matched.candidate[i].weight};
    }
    struct lot_find_product product;
    if (query.product && lot_find_product_by_code(store, query.product, &product, NULL) == 0)
        ret->product_id = product.product_id;
    return 0;
}

void placing_doubt(struct store *store, const struct complaint_form *form)
{
    int64_t first_ms;
    if (lot_find_first(store, &first_ms, NULL) == 0 &&
        form->received_ms < first_ms - BEFORE_DAYS * WHEN_DAY_MS)
        complaint_form_doubt(form, "received_at", "long before the plant's first lot on record");
}

void placing_complaint(const struct desk *desk, const struct complaint_form *form,
                       const struct placing *placing, const char *body, int64_t now_ms,
                       struct complaint_new *ret)
{
    *ret = (struct complaint_new){
        .uuid = form->uuid,
        .received_ms = form->received_ms,
        .logged_ms = now_ms,
        .channel = complaint_form_text(form, "channel"),
        .symptom = complaint_form_text(form, "symptom"),
        .lot_text = complaint_form_text(form, "lot_text"),
        .store = complaint_form_text(form, "store"),
        .route = complaint_form_text(form, "route"),
        .product_id = placing->product_id,
        .code_day = form->code_day,
        .bought_day = form->bought_day,
        .found_day = form->found_day,
        .packs = form->packs,
        .units = form->units,
        .harm = form->harm,
        .body = body,
        .lot_count = placing->lot_count,
        .settled_weight = desk->settled_weight,
    };
    memcpy(ret->lots, placing->lots, sizeof ret->lots);
}

/* ---- again ---- */

struct again {
    const struct desk *desk;
    int64_t now_ms;
    struct store *store;
    struct {
        int64_t complaint_id;
        struct placing placing;
    } * moved;
    size_t count, capacity;
};

static bool same_lots(struct store *store, int64_t complaint_id, const struct placing *p)
{
    struct complaint_lot was[COMPLAINT_LOTS];
    int count = 0;
    if (complaint_candidates(store, complaint_id, was, &count, NULL) || count != p->lot_count)
        return false;
    for (int i = 0; i < count; i++) {
        if (was[i].lot_id != p->lots[i].lot_id || fabs(was[i].weight - p->lots[i].weight) > 0.01)
            return false;
    }
    return true;
}

static int again_row(void *arg, const struct complaint_row *row)
{
    struct again *again = arg;
    const struct form_options options = {.tz = again->desk->tz, .now_ms = row->received_ms};
    json_t *body = NULL;
    struct complaint_form *form = NULL;
    struct placing placing;
    int rc = jsonx_parse(row->body, strlen(row->body), &body, NULL);
    if (!rc)
        rc = complaint_form_read(body, &options, &form, NULL);
    if (!rc)
        rc = placing_find(again->desk, again->store, form, &placing, NULL);
    if (!rc && !same_lots(again->store, row->id, &placing)) {
        if (again->count == again->capacity) {
            again->capacity = again->capacity ? again->capacity * 2 : 16;
            again->moved = xrealloc(again->moved, again->capacity * sizeof *again->moved);
        }
        again->moved[again->count].complaint_id = row->id;
        again->moved[again->count++].placing = placing;
    }
    complaint_form_free(form);
    json_decref(body);
    return 0; /* one complaint that can't be read again stays as it is */
}

static int place_all(struct store *store, void *arg, struct error *err)
{
    struct again *again = arg;
    int rc = 0;
    for (size_t i = 0; i < again->count && !rc; i++) {
        struct complaint_placed placed;
        rc = complaint_place(store, again->moved[i].complaint_id, again->moved[i].placing.lots,
                             again->moved[i].placing.lot_count, again->desk->settled_weight,
                             again->now_ms, &placed, err);
    }
    return rc;
}

int placing_again(const struct desk *desk, struct writer *writer, struct store *store,
                  int64_t now_ms, struct error *err)
{
    struct again again = {.desk = desk, .now_ms = now_ms, .store = store};
    int64_t since_ms = now_ms - AGAIN_DAYS * WHEN_DAY_MS;
    int rc = complaint_open_lots(store, since_ms, again_row, &again, err);
    if (!rc && again.count)
        rc = writer_run(writer, place_all, &again, err);
    free(again.moved);
    return rc;
}

#include "desk/understood.h"
#include "base/plant_level.h"
#include "base/text.h"
#include "base/tz_of.h"
#include "lots/product_named.h"
#include "store/contact.h"
#include "store/lot_find.h"
#include "store/seen.h"
#include <stdlib.h>
#include <string.h>

static void set_time(json_t *out, const char *name, const struct tz *tz, int64_t ms)
{
    char text[40];
    if (ms != WHEN_UNKNOWN_MS)
        json_object_set_new(out, name, json_string(when_format(tz, ms, text)));
}

/* As on record where one is meant, else as it was said. */
static void add_product(struct store *store, const char *said, json_t *out)
{
    struct product_named named;
    if (!said)
        return;
    if (product_named_find(store, said, &named, NULL) || !product_named_one(&named)) {
        json_object_set_new(out, "product", json_string(said));
        return;
    }
    json_object_set_new(out, "product", json_string(named.row[0].product));
    json_object_set_new(out, "name", json_string(named.row[0].name));
}

json_t *understood_json(struct store *store, const struct tz *tz, int64_t lot_id,
                        const struct complaint_form *form)
{
    json_t *out = json_object();
    struct lot_find_row row;
    if (lot_id > 0 && lot_find_by_id(store, lot_id, &row, NULL) == 0) {
        char date[16];
        struct lot_find_product product;
        json_object_set_new(out, "lot", json_string(row.code));
        json_object_set_new(out, "product", json_string(row.product));
        if (lot_find_product_by_code(store, row.product, &product, NULL) == 0)
            json_object_set_new(out, "name", json_string(product.name));
        json_object_set_new(out, "line", json_string(row.line));
        plant_level_set(out, row.plant);
        set_time(out, "packed_from", tz_of(tz, row.plant), row.packed_from_ms);
        if (tz_of_apart(tz, row.plant))
            json_object_set_new(out, "zone", json_string(tz_of_apart(tz, row.plant)));
        json_object_set_new(out, "code_date", json_string(day_format(row.code_day, date)));
    } else {
        add_product(store, complaint_form_text(form, "product"), out);
    }
    return out;
}

/* ---- the same person, lot and symptom ---- */

enum { SIMILAR_LOOKED_AT = 50, SIMILAR_MOST = 5 };

struct similar {
    const struct desk *desk;
    struct store *store;
    char code[LOT_MATCH_CODE]; /* of this one, read whole; "" */
    json_t *found;
};

static int add_similar(void *arg, const struct contact_match *match)
{
    const struct similar *s = arg;
    char when[40], code[LOT_MATCH_CODE];
    if (!seen_complaint(s->store, match->complaint_id))
        return 0; /* whether somebody complained at another plant is that plant's */
    placing_code_of(s->desk, s->store, match->complaint_id, code);
    if (s->code[0] && code[0] && strcmp(s->code, code) != 0)
        return 0;
    const char *why = match->same_lot
                          ? "the same person reported this symptom of this lot"
                          : "the same person reported this symptom; it may be the same lot";
    json_array_append_new(
        s->found, json_pack("{s:s, s:s, s:s}", "complaint", match->uuid, "received_at",
                            when_format(s->desk->tz, match->received_ms, when), "why", why));
    return json_array_size(s->found) == SIMILAR_MOST;
}

json_t *understood_similar(struct store *store, const struct desk *desk, int64_t self,
                           const struct complaint_form *form, int64_t lot_id,
                           const struct placing *placing)
{
    struct similar similar = {desk, store, "", json_array()};
    if (!form->contact_fold || desk->similar_ms == 0)
        return similar.found;
    const char *channel = complaint_form_text(form, "channel");
    const struct contact_query query = {.self = self,
                                        .symptom = complaint_form_text(form, "symptom"),
                                        .fold = form->contact_fold,
                                        .is_return = channel && strcmp(channel, "return") == 0,
                                        .received = {form->received_ms - desk->similar_ms,
                                                     form->received_ms + desk->similar_ms + 1},
                                        .lot_id = lot_id,
                                        .product_id = placing->product_id};
    const struct lot_query read = {.lot_text = complaint_form_text(form, "lot_text"),
                                   .received_ms = form->received_ms,
                                   .tz = desk->tz};
    placing_code(desk, store, &read, &placing->lots, similar.code);
    contact_same_person(store, &query, SIMILAR_LOOKED_AT, add_similar, &similar, NULL);
    return similar.found;
}

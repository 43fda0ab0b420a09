#include "serve/understood.h"
#include "base/text.h"
#include "store/complaint.h"
#include "store/lot_find.h"
#include <stdlib.h>
#include <string.h>

json_t *understood_code(struct store *store, int64_t lot_id, const json_t *lots)
{
    struct lot_find_row row;
    if (lot_id > 0 && lot_find_by_id(store, lot_id, &row, NULL) == 0)
        return json_string(row.code);
    json_t *likeliest = json_object_get(json_array_get(lots, 0), "lot");
    return likeliest ? json_incref(likeliest) : json_null();
}

static void set_time(json_t *out, const char *name, const struct tz *tz, int64_t ms)
{
    char text[40];
    if (ms != WHEN_UNKNOWN_MS)
        json_object_set_new(out, name, json_string(when_format(tz, ms, text)));
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
        set_time(out, "packed_from", tz, row.packed_from_ms);
        json_object_set_new(out, "code_date", json_string(day_format(row.code_day, date)));
    } else if (complaint_form_text(form, "product")) {
        json_object_set_new(out, "product", json_string(complaint_form_text(form, "product")));
    }
    return out;
}

/* ---- the same person, lot and symptom ---- */

struct similar {
    struct store *store;
    const char *symptom, *contact_fold;
    int64_t self, from_ms, to_ms, lot_id;
    json_t *found;
};

/* One whole line of `fold` (name, phone or mail) that stands in both. */
static bool share_a_line(const char *a, const char *b)
{
    for (const char *at = a; at[0] == '\n' && at[1];) {
        size_t length = strcspn(at + 1, "\n");
        char *line = xstrndup(at, length + 2);
        bool shared = length > 2 && strstr(b, line) != NULL;
        free(line);
        if (shared)
            return true;
        at += length + 1;
    }
    return false;
}

static int similar_row(void *arg, const struct complaint_row *row)
{
    struct similar *s = arg;
    if (row->id == s->self || row->received_ms < s->from_ms || row->received_ms > s->to_ms ||
        row->lot_id != s->lot_id)
        return 0;
    char *fold = NULL;
    if (contact_get_fold(s->store, row->id, &fold, NULL) || !fold)
        return 0;
    if (share_a_line(s->contact_fold, fold)) {
        char when[32];
        json_array_append_new(s->found,
                              json_pack("{s:s, s:s, s:s}", "complaint", row->uuid, "received_at",
                                        when_format_utc(row->received_ms, when), "why",
                                        "the same person reported this symptom of this lot"));
    }
    free(fold);
    return 0;
}

json_t *understood_similar(struct store *store, const struct config *config, int64_t self,
                           const struct complaint_form *form, int64_t lot_id)
{
    enum { MOST = 200 };
    json_t *found = json_array();
    int64_t span = config_number(config, "similar_days") * WHEN_DAY_MS;
    if (!form->contact_fold || span == 0)
        return found;
    struct similar s = {.store = store,
                        .contact_fold = form->contact_fold,
                        .self = self,
                        .from_ms = form->received_ms - span,
                        .to_ms = form->received_ms + span,
                        .lot_id = lot_id,
                        .found = found};
    complaint_between(store, complaint_form_text(form, "symptom"), s.from_ms, s.to_ms + 1, MOST,
                      similar_row, &s, NULL);
    return found;
}

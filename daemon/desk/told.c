#include "desk/told.h"
#include "base/jsonx.h"
#include "base/plant_level.h"
#include "base/text.h"
#include "base/tz_of.h"
#include "intake/fields.h"
#include "intake/mask.h"
#include "store/complaint.h"
#include "store/joined.h"
#include "store/lot_find.h"
#include <assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- one complaint ---- */

/* Numbers of one that is `logged` were masked then, where the plant's codes were known. */
static json_t *without(const json_t *body, const json_t *contact, bool logged)
{
    json_t *told = json_copy((json_t *)body);
    for (const struct field *f = fields_all(); f->name; f++) {
        const char *text = json_string_value(json_object_get(body, f->name));
        if (!(f->flags & FIELD_TYPED) || !text)
            continue;
        bool code = strcmp(f->name, "lot_text") == 0 || strcmp(f->name, "reference") == 0;
        const struct mask_options options = {
            .contact = contact,
            .codes = json_string_value(json_object_get(body, "lot_text")),
            .sure = logged || code,
            .prose = fields_is_prose(f->name),
            .one_line = true};
        char *masked = mask_text(text, &options, NULL, NULL);
        json_object_set_new(told, f->name, json_string(masked));
        free(masked);
    }
    return told;
}

json_t *told_complaint(const json_t *body, const json_t *contact)
{
    return without(body, contact, true);
}

static bool is_tellable(const char *group, const char *name, const json_t *value)
{
    enum { NOTE_MOST = 4000 };
    size_t length = json_is_string(value) ? json_string_length(value) : 0;
    bool scalar = json_is_string(value) || json_is_number(value) || json_is_boolean(value);
    return scalar && fields_member(group, name) && length <= NOTE_MOST;
}

static json_t *tellable(const char *group, const json_t *object)
{
    const char *name;
    json_t *value;
    json_t *told = json_object();
    json_object_foreach((json_t *)object, name, value)
    {
        if (is_tellable(group, name, value))
            json_object_set(told, name, value);
    }
    return told;
}

json_t *told_refused(const json_t *complaint)
{
    json_t *body = tellable("", complaint);
    json_t *observed = tellable("observed", json_object_get(complaint, "observed"));
    if (json_object_size(observed))
        json_object_set(body, "observed", observed);
    json_t *told = without(body, json_object_get(complaint, "contact"), false);
    json_decref(observed);
    json_decref(body);
    return told;
}

json_t *told_logged(const char *body)
{
    json_t *said = NULL;
    if (jsonx_parse(body, strlen(body), &said, NULL))
        return json_object();
    json_t *told = told_complaint(said, NULL);
    json_decref(said);
    return told;
}

/* ---- those of a case ---- */

struct telling {
    json_t *told;  /* oldest first */
    json_t *again; /* complaint's uuid → texts of reports joined to it */
};

static int tell_one(void *arg, const struct complaint_row *row)
{
    struct telling *t = arg;
    json_array_append_new(t->told, told_logged(row->body));
    if (json_array_size(t->told) > TOLD_MOST)
        json_array_remove(t->told, 0);
    return 0;
}

static int tell_joined(void *arg, const struct joined_row *row)
{
    struct telling *t = arg;
    json_t *told = told_logged(row->body);
    json_t *note = json_object_get(told, "note"),
           *texts = json_object_get(t->again, row->complaint);
    if (note && !texts) {
        texts = json_array();
        json_object_set_new(t->again, row->complaint, texts);
    }
    if (note)
        json_array_append(texts, note);
    if (json_array_size(texts) > TOLD_MOST)
        json_array_remove(texts, 0);
    json_decref(told);
    return 0;
}

static json_t *newest_first(const struct telling *t)
{
    json_t *list = json_array();
    for (size_t i = json_array_size(t->told); i-- > 0;) {
        json_t *one = json_array_get(t->told, i);
        const char *uuid = json_string_value(json_object_get(one, "id"));
        json_t *texts = uuid ? json_object_get(t->again, uuid) : NULL;
        if (texts)
            json_object_set(one, "again", texts);
        json_array_append(list, one);
    }
    return list;
}

int told_case(struct store *store, int64_t case_id, json_t **ret, struct error *err)
{
    struct telling t = {json_array(), json_object()};
    int rc = complaint_of_case(store, case_id, tell_one, &t, err);
    if (!rc)
        rc = joined_of_case(store, case_id, tell_joined, &t, err);
    if (!rc)
        *ret = newest_first(&t);
    json_decref(t.told);
    json_decref(t.again);
    return rc;
}

/* ---- the lot ---- */

static void set_time(json_t *out, const char *name, const struct tz *tz, int64_t ms)
{
    char text[40];
    if (ms != WHEN_UNKNOWN_MS)
        json_object_set_new(out, name, json_string(when_format(tz, ms, text)));
}

json_t *told_lot(struct store *store, const struct tz *tz, int64_t lot_id)
{
    char date[16];
    struct lot_find_row row;
    struct lot_find_product product;
    if (lot_id <= 0 || lot_find_by_id(store, lot_id, &row, NULL))
        return json_null();
    tz = tz_of(tz, row.plant);
    json_t *out = json_pack("{s:s, s:s, s:s, s:I}", "lot", row.code, "product", row.product, "line",
                            row.line, "units", (json_int_t)row.units);
    plant_level_set(out, row.plant);
    if (lot_find_product_by_code(store, row.product, &product, NULL) == 0)
        json_object_set_new(out, "name", json_string(product.name));
    set_time(out, "packed_from", tz_of(tz, row.plant), row.packed_from_ms);
    set_time(out, "packed_to", tz_of(tz, row.plant), row.packed_to_ms);
    if (row.code_day != WHEN_UNKNOWN_DAY)
        json_object_set_new(out, "code_date", json_string(day_format(row.code_day, date)));
    return out;
}

#include "desk/apart.h"
#include "base/text.h"
#include "desk/apart_codes.h"
#include "desk/apart_row.h"
#include "intake/fields.h"
#include "intake/mask.h"
#include "store/contact.h"
#include "store/lot_find.h"
#include <assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- taking apart ---- */

struct looking {
    struct apart *apart;
    const char *field;
    unsigned told; /* kinds, as bits */
};

static void on_found(void *arg, enum mask_kind kind, const char *at, size_t length)
{
    (void)at;
    (void)length;
    static const char *const KINDS[] = {
        [MASK_MAIL] = "mail address", [MASK_PHONE] = "phone", [MASK_NAME] = "name"};
    struct looking *l = arg;
    char says[128];
    if (l->told & 1u << kind)
        return;
    l->told |= 1u << kind;
    snprintf(says, sizeof says, "the %s holds %s: kept for the desk only",
             strcmp(l->field, "lot_text") == 0 ? "lot code" : l->field, mask_says(kind));
    json_array_append_new(l->apart->told, json_pack("{s:s, s:s, s:s}", "field", l->field, "kind",
                                                    KINDS[kind], "says", says));
}

/* A name of the trade is no person's. */
static bool is_on_record(struct store *store, const char *field, const char *text)
{
    bool known = false;
    bool is_store = strcmp(field, "store") == 0;
    if (!is_store && strcmp(field, "route") != 0)
        return false;
    enum lot_find_place kind = is_store ? LOT_FIND_STORE : LOT_FIND_ROUTE;
    return lot_find_place_known(store, kind, text, &known, NULL) == 0 && known;
}

static bool is_code(const char *field)
{
    return strcmp(field, "lot_text") == 0 || strcmp(field, "reference") == 0;
}

static void take_field(const struct field *f, json_t *body, const struct mask_options *options,
                       struct apart *apart)
{
    struct looking looking = {apart, f->name, 0};
    json_t *value = json_object_get(body, f->name);
    char *masked = mask_text(json_string_value(value), options, on_found, &looking);
    if (looking.told) {
        json_object_set(apart->said, f->name, value);
        json_object_set_new(body, f->name, json_string(masked));
    }
    free(masked);
}

void apart_take(const struct apart_from *from, json_t *body, const json_t *contact, bool code_reads,
                struct apart *ret)
{
    assert(json_is_object(body) && ret);
    char code[256];
    *ret = (struct apart){json_object(), json_array()};
    const char *lot_text = json_string_value(json_object_get(body, "lot_text"));
    text_clip(lot_text ? lot_text : "", code, sizeof code);
    for (const struct field *f = fields_all(); f->name; f++) {
        const char *text = json_string_value(json_object_get(body, f->name));
        bool is_lot = strcmp(f->name, "lot_text") == 0;
        if (!text || (!is_lot && !(f->flags & FIELD_TYPED)) ||
            is_on_record(from->store, f->name, text))
            continue;
        char *codes =
            apart_codes(from->desk, from->store, text, !is_lot || code_reads ? code : NULL);
        const struct mask_options options = {.contact = contact,
                                             .codes = codes,
                                             .sure = is_code(f->name),
                                             .prose = fields_is_prose(f->name)};
        take_field(f, body, &options, ret);
        free(codes);
    }
}

void apart_clear(struct apart *apart)
{
    json_decref(apart->said);
    json_decref(apart->told);
}

void apart_taken(const struct apart_from *by, json_t *taken, const json_t *contact)
{
    size_t i;
    json_t *item;
    json_array_foreach(taken, i, item)
    {
        const char *from = json_string_value(json_object_get(item, "from"));
        if (!from)
            continue;
        char *codes = apart_codes(by->desk, by->store, from, NULL);
        const struct mask_options options = {
            .contact = contact, .codes = codes, .prose = true, .one_line = true};
        char *masked = mask_text(from, &options, NULL, NULL);
        json_object_set_new(item, "from", json_string(masked));
        free(masked);
        free(codes);
    }
}

/* ---- what the plant writes ---- */

struct writing {
    char *codes;
    char *text;
};

static void mask_written(struct writing *w, const json_t *contact)
{
    const struct mask_options options = {.contact = contact, .codes = w->codes, .prose = true};
    char *masked = mask_text(w->text, &options, NULL, NULL);
    free(w->text);
    w->text = masked;
}

static int mask_caller(void *arg, const char *body)
{
    struct apart_row row;
    apart_row_parse(body, &row);
    json_t *caller = apart_row_caller(&row, "");
    mask_written(arg, caller);
    json_decref(caller);
    apart_row_clear(&row);
    return 0;
}

static char *written(struct writing *w)
{
    mask_written(w, NULL);
    free(w->codes);
    return w->text;
}

char *apart_written(const struct apart_from *from, const char *text,
                    const struct apart_about *about)
{
    struct lot_find_row lot;
    char fold[LOT_FIND_CODE];
    const char *codes = about->codes;
    if (!text)
        return NULL;
    if (!codes && lot_find_by_id(from->store, about->lot_id, &lot, NULL) == 0)
        codes = lot.code;
    struct writing w = {apart_codes(from->desk, from->store, text, codes), xstrdup(text)};
    contact_callers(from->store, about->case_id, about->lot_id, mask_caller, &w, NULL);
    if (about->code && *lot_find_fold(about->code, fold, sizeof fold))
        contact_of_code(from->store, fold, mask_caller, &w, NULL);
    return written(&w);
}

char *apart_written_of(const struct apart_from *from, const char *text, const char *line,
                       const char *cause)
{
    struct writing w = {apart_codes(from->desk, from->store, text, NULL), xstrdup(text)};
    contact_about(from->store, line, cause, mask_caller, &w, NULL);
    return written(&w);
}

/* ---- showing ---- */

/* `like`, unless NULL, says the same there. */
static void put_back(json_t *into, const json_t *said, const json_t *like)
{
    const char *name;
    json_t *text;
    json_object_foreach((json_t *)said, name, text)
    {
        json_t *told = json_object_get(into, name);
        if (told && (!like || json_equal(told, json_object_get(like, name))))
            json_object_set(into, name, text);
    }
}

json_t *apart_show(struct store *store, int64_t complaint_id, const char *report, json_t *body,
                   json_t *sent)
{
    assert(report);
    struct apart_row row;
    apart_row_get(store, complaint_id, report, &row);
    put_back(sent, row.texts, body);
    put_back(sent, json_object_get(row.past, "sent"), NULL);
    put_back(body, row.texts, NULL);
    json_t *contact = json_incref(row.who);
    apart_row_clear(&row);
    return contact;
}

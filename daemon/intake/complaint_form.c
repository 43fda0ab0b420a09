#include "intake/complaint_form.h"
#include "base/jsonx.h"
#include "base/near.h"
#include "base/phone_key.h"
#include "base/text.h"
#include "intake/fields.h"
#include "intake/mask.h"
#include "intake/receipt.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { KEY_SIZE = 160, FUTURE_DAYS = 1, LONG_DAYS = 366, LONG_SHELF_DAYS = 2 * 366 };

#define GRACE_MS INT64_C(600000) /* between two machines' clocks */

/* One complaint being read: every fault of it is told, the first is the error. */
struct reading {
    const struct form_options *options;
    struct complaint_form *form;
    struct error *err;
    int code; /* of the first fault */
};

json_t *complaint_form_fault(const struct error *why)
{
    return json_pack("{s:s, s:s, s:s, s:s*}", "field", why->field, "value", why->value, "reason",
                     why->text, "hint", why->hint[0] ? why->hint : NULL);
}

static void fault(struct reading *r, const struct error *why)
{
    if (r->options->faults)
        json_array_append_new(r->options->faults, complaint_form_fault(why));
    if (!r->code)
        r->code = (int)why->code;
    if (r->err && !r->err->code)
        *r->err = *why;
}

/* ---- one field ---- */

static void value_text(const json_t *value, char *out, size_t size)
{
    if (json_is_string(value)) {
        text_clip(json_string_value(value), out, size);
        return;
    }
    char *dump = json_dumps(value, JSON_ENCODE_ANY | JSON_COMPACT | JSON_REAL_PRECISION(12));
    text_clip(dump ? dump : "?", out, size);
    free(dump);
}

static int refuse(const struct field *f, const json_t *value, struct error *err, const char *why)
{
    char text[96];
    value_text(value, text, sizeof text);
    error_set(err, ERROR_INVALID, "%s", why);
    error_field(err, f->name, text);
    return ERROR_INVALID;
}

static int refuse_word(const struct field *f, const json_t *value, struct error *err)
{
    struct text_buffer known = {0};
    text_append(&known, "not one of ");
    fields_list(f->words, &known);
    int rc = refuse(f, value, err, known.data);
    if (json_is_string(value)) {
        struct near near = near_to(json_string_value(value));
        for (const struct field_word *w = f->words; w->word; w++)
            near_try(&near, w->word);
        near_hint(&near, "", err);
    }
    text_buffer_free(&known);
    return rc;
}

static int check_words(const struct field *f, const json_t *value, json_t **ret, struct error *err)
{
    json_t *list = json_array();
    if (json_is_string(value)) {
        json_array_append(list, (json_t *)value);
    } else if (json_is_array(value)) {
        json_array_extend(list, (json_t *)value);
    } else {
        json_decref(list);
        return refuse(f, value, err, "must be a list of words");
    }
    size_t i;
    const json_t *word;
    json_array_foreach(list, i, word)
    {
        if (!json_is_string(word) || !fields_word(f->words, json_string_value(word))) {
            int rc = refuse_word(f, word, err);
            json_decref(list);
            return rc;
        }
    }
    *ret = list;
    return 0;
}

/* A line feed or a mark that turns the reading direction would be shown wherever it is told. */
static json_t *tamed(const struct field *f, const json_t *text)
{
    char *tame = text_tame(json_string_value(text), f->kept ? f->kept : "");
    json_t *json = tame ? json_string(tame) : json_incref((json_t *)text);
    free(tame);
    return json;
}

static int check_text(const struct field *f, const json_t *value, json_t **ret, struct error *err)
{
    /* a store "0417" often arrives as the number 417: take its digits rather than lose it */
    if (json_is_integer(value)) {
        *ret = json_sprintf("%" JSON_INTEGER_FORMAT, json_integer_value(value));
        return 0;
    }
    if (!json_is_string(value))
        return refuse(f, value, err, "must be text");
    if (json_string_length(value) > (size_t)f->high)
        return refuse(f, value, err, "is too long");
    *ret = tamed(f, value);
    return 0;
}

static int check_whole(const struct field *f, const json_t *value, json_t **ret, struct error *err)
{
    char why[96];
    double number = json_number_value(value);
    if (!json_is_number(value) || number != floor(number))
        return refuse(f, value, err, "must be a whole number");
    if (number < (double)f->low || number > (double)f->high) {
        snprintf(why, sizeof why, "must lie between %ld and %ld", f->low, f->high);
        return refuse(f, value, err, why);
    }
    *ret = json_integer((json_int_t)number);
    return 0;
}

static int check_bool(const struct field *f, const json_t *value, json_t **ret, struct error *err)
{
    if (!json_is_boolean(value))
        return refuse(f, value, err, "must be true or false");
    *ret = json_incref((json_t *)value);
    return 0;
}

static int check_word(const struct field *f, const json_t *value, json_t **ret, struct error *err)
{
    if (!json_is_string(value) || !fields_word(f->words, json_string_value(value)))
        return refuse_word(f, value, err);
    *ret = json_incref((json_t *)value);
    return 0;
}

static int check_date(const struct field *f, const json_t *value, json_t **ret, struct error *err)
{
    int32_t day;
    if (!json_is_string(value) || day_parse(json_string_value(value), &day, NULL))
        return refuse(f, value, err, "must be a date, YYYY-MM-DD");
    *ret = json_incref((json_t *)value);
    return 0;
}

static int check_time(const struct field *f, const json_t *value, json_t **ret, struct error *err)
{
    int64_t ms;
    if (!json_is_string(value) || when_parse(json_string_value(value), &ms, NULL))
        return refuse(f, value, err, "must be a time with its offset, 2026-11-20T09:14:00-05:00");
    *ret = json_incref((json_t *)value);
    return 0;
}

static int check_id(const struct field *f, const json_t *value, json_t **ret, struct error *err)
{
    char uuid[UUID_TEXT];
    if (!json_is_string(value) || !uuid_normalize(json_string_value(value), uuid))
        return refuse(f, value, err, "must be a complaint's id, a UUID");
    *ret = json_string(uuid);
    return 0;
}

typedef int (*field_check)(const struct field *, const json_t *, json_t **, struct error *);
static const field_check CHECKS[] = {
    [FIELD_WORD] = check_word,   [FIELD_WORDS] = check_words, [FIELD_TEXT] = check_text,
    [FIELD_WHOLE] = check_whole, [FIELD_BOOL] = check_bool,   [FIELD_PAST] = check_date,
    [FIELD_NEAR] = check_date,   [FIELD_TIME] = check_time,   [FIELD_ID] = check_id,
};

/* ---- objects ---- */

/* Empty is unknown. */
static bool is_empty(const json_t *value)
{
    return !value || json_is_null(value) || (json_is_string(value) && !json_string_length(value));
}

static void read_members(const json_t *object, const char *group, json_t *out, struct reading *r)
{
    const char *name;
    json_t *value;
    char key[KEY_SIZE];
    json_object_foreach((json_t *)object, name, value)
    {
        const struct field *f = fields_member(group, name);
        if (!f) {
            char cut[101];
            snprintf(key, sizeof key, "%s%s%s", group, *group ? "/" : "",
                     text_clip(name, cut, sizeof cut));
            json_array_append_new(r->form->ignored, json_string(key));
            continue;
        }
        if (is_empty(value))
            continue;
        struct error why = {0};
        json_t *checked = NULL;
        if (CHECKS[f->type](f, value, &checked, &why))
            fault(r, &why);
        else
            json_object_set_new(out, name, checked);
    }
}

static int read_quantity(const struct form_options *options, const char *name, json_t *value,
                         json_t *taken, struct error *err)
{
    char key[KEY_SIZE], text[96];
    const char *quantity = name;
    double number = json_number_value(value);
    int rc = json_is_number(value)
                 ? 0
                 : error_set(err, ERROR_INVALID, "must be a number in the quantity's unit");
    if (!rc && options->measured)
        rc = options->measured(options->measured_arg, name, number, &quantity, &number, err);
    if (!rc && json_object_get(taken, quantity))
        rc = error_set(err, ERROR_INVALID, "%.80s is measured twice", quantity);
    if (rc) {
        snprintf(key, sizeof key, "measured/%.100s", name);
        value_text(value, text, sizeof text);
        error_field(err, key, text);
        return rc;
    }
    json_object_set_new(taken, quantity,
                        number == json_number_value(value) ? json_incref(value)
                                                           : json_real(number));
    return 0;
}

static void read_measured(const json_t *measured, struct reading *r)
{
    const char *name;
    json_t *value;
    struct error why = {0};
    if (!measured || json_is_null(measured))
        return;
    if (!json_is_object(measured)) {
        refuse(fields_find("measured"), measured, &why, "must be an object of quantities");
        fault(r, &why);
        return;
    }
    json_t *taken = json_object();
    json_object_foreach((json_t *)measured, name, value)
    {
        error_clear(&why);
        if (read_quantity(r->options, name, value, taken, &why))
            fault(r, &why);
    }
    json_object_set_new(r->form->body, "measured", taken);
}

void complaint_form_contact_key(const char *text, char *out, size_t size)
{
    char folded[256];
    char *plain = mask_plain(text);
    text_fold(plain, folded, sizeof folded);
    free(plain);
    if (!phone_key(folded, out, size))
        text_clip(folded, out, size);
}

bool complaint_form_spelled_key(const char *name, char *out, size_t size)
{
    char *spelled = mask_spelled(name);
    if (spelled)
        complaint_form_contact_key(spelled, out, size);
    free(spelled);
    return spelled != NULL;
}

static void add_words(const char *folded, const char *mark, struct text_buffer *out)
{
    for (const char *at = folded + strspn(folded, " "); *at; at += strspn(at, " ")) {
        size_t length = strcspn(at, " ");
        text_appendf(out, "%s %.*s\n", mark, (int)length, at);
        at += length;
    }
}

/* "mueller" as who writes ü looks for it; what it does to other names is no matter in a look-up. */
static bool shorten(char *folded)
{
    char *to = folded;
    bool any = false;
    for (const char *from = folded; *from; from++) {
        bool second = to > folded &&
                      ((*from == 'e' && strchr("aou", to[-1])) || (*from == 'a' && to[-1] == 'a'));
        if (!second)
            *to++ = *from;
        any = any || second;
    }
    *to = '\0';
    return any;
}

void complaint_form_name_keys(const char *name, const char *mark, struct text_buffer *out)
{
    char folded[256];
    char *plain = mask_plain(name), *spelled = mask_spelled(plain);
    text_fold(plain, folded, sizeof folded);
    add_words(folded, mark, out);
    if (shorten(folded))
        add_words(folded, mark, out);
    if (spelled)
        add_words(text_fold(spelled, folded, sizeof folded), mark, out);
    free(spelled);
    free(plain);
}

char *complaint_form_contact_keys(const json_t *contact)
{
    static const char *const NAMES[] = {"name", "phone", "email"};
    struct text_buffer fold = {0};
    char key[256];
    text_append(&fold, "\n");
    for (size_t i = 0; i < sizeof NAMES / sizeof NAMES[0]; i++) {
        const char *text = json_string_value(json_object_get(contact, NAMES[i]));
        complaint_form_contact_key(text ? text : "", key, sizeof key);
        if (*key)
            text_appendf(&fold, "%s\n", key);
    }
    const char *name = json_string_value(json_object_get(contact, "name"));
    if (name && complaint_form_spelled_key(name, key, sizeof key))
        text_appendf(&fold, "%s\n", key);
    complaint_form_name_keys(name ? name : "", "", &fold);
    return text_take(&fold);
}

static int check_contact(const json_t *contact, struct complaint_form *form, struct error *err)
{
    if (!contact || json_is_null(contact))
        return 0;
    /* values of contact data never go into an error text */
    if (!json_is_object(contact)) {
        error_set(err, ERROR_INVALID, "must be an object with name, phone, email");
        error_field(err, "contact", "(not shown)");
        return ERROR_INVALID;
    }
    json_t *kept = json_object();
    for (const struct field *f = fields_all(); f->name; f++) {
        const json_t *value = json_object_get(contact, fields_leaf(f));
        if (!(f->flags & FIELD_PERSON) || is_empty(value))
            continue;
        if (!json_is_string(value) || json_string_length(value) > (size_t)f->high) {
            error_set(err, ERROR_INVALID, "must be text of at most %ld bytes", f->high);
            error_field(err, "contact", "(not shown)");
            json_decref(kept);
            return ERROR_INVALID;
        }
        json_object_set_new(kept, fields_leaf(f), tamed(f, value));
    }
    if (json_object_size(kept) == 0) {
        json_decref(kept);
        return 0;
    }
    form->contact = kept;
    form->contact_fold = complaint_form_contact_keys(kept);
    return 0;
}

/* ---- dates ---- */

static int32_t date_of(const json_t *body, const char *name)
{
    int32_t day;
    const char *text = json_string_value(json_object_get(body, name));
    return text && !day_parse(text, &day, NULL) ? day : WHEN_UNKNOWN_DAY;
}

void complaint_form_doubt(const struct complaint_form *form, const char *field, const char *says)
{
    json_array_append_new(form->doubts,
                          json_pack("{s:s, s:s*, s:s}", "field", field, "value",
                                    json_string_value(json_object_get(form->body, field)), "says",
                                    says));
}

/* The day a field names, or unknown with a doubt if it lies outside [from, to]. */
static int32_t day_between(struct complaint_form *form, const char *field, int32_t from, int32_t to,
                           const char *too_late)
{
    int32_t day = date_of(form->body, field);
    if (day == WHEN_UNKNOWN_DAY || (day >= from && day <= to))
        return day;
    complaint_form_doubt(form, field,
                         day > to ? too_late : "long before the day the complaint was received");
    return WHEN_UNKNOWN_DAY;
}

static void read_dates(struct complaint_form *form, const struct form_options *options)
{
    int32_t received = tz_day(options->tz, form->received_ms), latest = received + FUTURE_DAYS;
    form->code_day =
        day_between(form, "code_date", received - LONG_SHELF_DAYS, received + LONG_SHELF_DAYS,
                    "long after the day the complaint was received");
    form->found_day = day_between(form, "found_on", received - LONG_DAYS, latest,
                                  "after the day the complaint was received");
    if (form->found_day != WHEN_UNKNOWN_DAY)
        latest = form->found_day;
    form->bought_day = day_between(form, "bought_on", received - LONG_DAYS, latest,
                                   "after the day it was found or received");
    const char *inspected = complaint_form_text(form, "inspected_at");
    int64_t ms;
    if (options->now_ms && inspected && !when_parse(inspected, &ms, NULL) &&
        ms > options->now_ms + GRACE_MS)
        complaint_form_doubt(form, "inspected_at", "lies in the future");
}

/* ---- the whole ---- */

/* What was there and could not be taken was told already. */
static void need(struct reading *r, const json_t *complaint, const char *name)
{
    const json_t *value = json_object_get(complaint, name);
    struct error why = {0};
    if (!is_empty(value))
        return;
    error_set(&why, ERROR_INVALID, "is missing");
    error_field(&why, name, "");
    fault(r, &why);
}

static int check_uuid(const json_t *complaint, bool partial, char uuid[static UUID_TEXT],
                      struct error *err)
{
    const json_t *id = json_object_get(complaint, "id");
    if (!id && partial)
        return 0;
    if (json_is_string(id) && uuid_normalize(json_string_value(id), uuid))
        return 0;
    char text[96] = "";
    if (id)
        value_text(id, text, sizeof text);
    error_set(err, ERROR_INVALID, id ? "must be a UUID (the client makes UUIDv7)" : "is missing");
    error_field(err, "id", text);
    return ERROR_INVALID;
}

/* The complaint without the members that are read on their own. */
static json_t *plain_members(const json_t *complaint)
{
    static const char *const APART[] = {"id",       "contact",       "measured",
                                        "observed", "harm_possible", "harm_read",
                                        "anyway",   RECEIPT_SAID,    NULL};
    json_t *rest = json_copy((json_t *)complaint);
    for (const char *const *name = APART; *name; name++)
        json_object_del(rest, *name);
    return rest;
}

static void read_observed(const json_t *observed, struct reading *r)
{
    static const struct field as_object = {.name = "observed"};
    struct error why = {0};
    if (!observed || json_is_null(observed))
        return;
    if (!json_is_object(observed)) {
        refuse(&as_object, observed, &why, "must be an object");
        fault(r, &why);
        return;
    }
    json_t *checked = json_object();
    read_members(observed, "observed", checked, r);
    if (json_object_size(checked))
        json_object_set(r->form->body, "observed", checked);
    json_decref(checked);
}

/* No complaint comes before its time, nor from a time before there was one to write it down. */
static void read_received(struct reading *r)
{
    struct error why = {0};
    const char *received = complaint_form_text(r->form, "received_at");
    if (!received || when_parse(received, &r->form->received_ms, NULL)) {
        r->form->received_ms = r->options->now_ms;
        return;
    }
    if (!receipt_check(r->options->tz, r->form->received_ms, r->options->now_ms, &why))
        return;
    error_field(&why, "received_at", received);
    fault(r, &why);
}

/* What the sender's clock said goes with the complaint, told as a doubt. */
static void read_said(const json_t *complaint, struct complaint_form *form)
{
    static const char SAYS[] =
        "by the sender's clock, which cannot be right: taken as received when "
        "it came";
    json_t *said = json_object_get(complaint, RECEIPT_SAID);
    int64_t ms;
    if (!json_is_string(said) || when_parse(json_string_value(said), &ms, NULL))
        return;
    json_object_set(form->body, RECEIPT_SAID, said);
    json_array_append_new(form->doubts, json_pack("{s:s, s:O, s:s}", "field", "received_at",
                                                  "value", said, "says", SAYS));
}

static void read_apart(const json_t *complaint, struct reading *r)
{
    struct error why = {0};
    if (check_uuid(complaint, r->options->partial, r->form->uuid, &why))
        fault(r, &why);
    error_clear(&why);
    if (check_contact(json_object_get(complaint, "contact"), r->form, &why))
        fault(r, &why);
}

static void read_all(const json_t *complaint, struct reading *r)
{
    json_t *rest = plain_members(complaint);
    read_apart(complaint, r);
    read_members(rest, "", r->form->body, r);
    json_decref(rest);
    read_observed(json_object_get(complaint, "observed"), r);
    read_measured(json_object_get(complaint, "measured"), r);
    need(r, complaint, "symptom");
    if (!r->options->partial) {
        need(r, complaint, "channel");
        need(r, complaint, "received_at");
    }
    read_received(r);
    read_said(complaint, r->form);
    r->form->anyway = json_is_true(json_object_get(complaint, "anyway"));
    r->form->harm_possible = json_is_true(json_object_get(complaint, "harm_possible"));
    if (json_is_true(json_object_get(complaint, "harm_read")))
        json_object_set_new(r->form->body, "harm_read", json_true());
}

static void settle(struct complaint_form *form, const struct form_options *options)
{
    const json_t *packs = json_object_get(form->body, "packs");
    const char *same_as = complaint_form_text(form, "same_as");
    read_dates(form, options);
    form->packs = packs ? (int)json_integer_value(packs) : 1;
    form->units = json_integer_value(json_object_get(form->body, "units"));
    form->harm = json_array_size(json_object_get(form->body, "harm")) > 0;
    form->harm_possible = form->harm_possible && !form->harm;
    if (form->harm_possible)
        json_object_set_new(form->body, "harm_possible", json_true());
    text_clip(same_as ? same_as : "", form->same_as, sizeof form->same_as);
    if (form->uuid[0])
        json_object_set_new(form->body, "id", json_string(form->uuid));
}

int complaint_form_read(const json_t *complaint, const struct form_options *options,
                        struct complaint_form **ret, struct error *err)
{
    if (!json_is_object(complaint))
        return error_set(err, ERROR_INVALID, "a complaint must be a JSON object");
    struct complaint_form *form = xcalloc(1, sizeof *form);
    form->body = json_object();
    form->doubts = json_array();
    form->ignored = json_array();
    struct reading r = {.options = options, .form = form, .err = err};
    read_all(complaint, &r);
    if (r.code) {
        complaint_form_free(form);
        return r.code;
    }
    settle(form, options);
    *ret = form;
    return 0;
}

void complaint_form_free(struct complaint_form *form)
{
    if (!form)
        return;
    json_decref(form->body);
    json_decref(form->contact);
    json_decref(form->doubts);
    json_decref(form->ignored);
    free(form->contact_fold);
    free(form);
}

const char *complaint_form_text(const struct complaint_form *form, const char *name)
{
    return json_string_value(json_object_get(form->body, name));
}

json_t *complaint_form_harm(const json_t *complaint, bool *ret_possible)
{
    const struct field *field = fields_find("harm");
    const json_t *said = json_object_get(complaint, "harm");
    json_t *known = json_array();
    size_t count = json_is_array(said) ? json_array_size(said) : said && !json_is_null(said);
    for (size_t i = 0; i < count; i++) {
        const char *word = json_string_value(json_is_array(said) ? json_array_get(said, i) : said);
        if (word && fields_word(field->words, word))
            json_array_append_new(known, json_string(word));
    }
    *ret_possible = !json_array_size(known) &&
                    (count || json_is_true(json_object_get(complaint, "harm_possible")));
    if (json_array_size(known))
        return known;
    json_decref(known);
    return NULL;
}

#include "desk/doubts.h"
#include "base/text.h"
#include "base/tz_of.h"
#include "desk/apart_codes.h"
#include "lots/outlet_named.h"
#include "lots/product_named.h"
#include "models/predict.h"
#include "store/seen.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* A plant that has just begun to load logs the complaints of before, too. */
enum { BEFORE_DAYS = 90 };

struct doubting {
    const struct desk *desk;
    struct store *store;
    const struct complaint_form *form;
    struct product_named product; /* that the form names */
    struct lot_find_row lot;      /* the one it is, or whose code was read */
};

static void doubt_receipt(const struct doubting *d)
{
    int64_t first_ms, newest_ms;
    if (lot_find_span(d->store, &first_ms, &newest_ms, NULL) == 0 && first_ms != WHEN_UNKNOWN_MS &&
        d->form->received_ms < first_ms - BEFORE_DAYS * WHEN_DAY_MS)
        complaint_form_doubt(d->form, "received_at", "long before the plant's first lot on record");
}

/* ---- names that no record knows, or several do ---- */

/* For the desk to pick from. */
static void doubt_with(const struct doubting *d, const char *field, const char *says,
                       json_t *choices)
{
    complaint_form_doubt(d->form, field, says);
    json_t *doubt = json_array_get(d->form->doubts, json_array_size(d->form->doubts) - 1);
    json_object_set_new(doubt, "choices", choices);
}

static void doubt_several_products(const struct doubting *d)
{
    struct text_buffer says = {0};
    json_t *choices = json_array();
    for (size_t i = 0; i < d->product.count; i++)
        json_array_append_new(choices, json_pack("{s:s, s:s}", "value", d->product.row[i].product,
                                                 "says", d->product.row[i].name));
    text_append(&says, "fits ");
    product_named_list(&d->product, &says);
    text_append(&says, d->product.more ? "; not used" : "; lots of each are looked at");
    doubt_with(d, "product", says.data, choices);
    text_buffer_free(&says);
}

static void doubt_product(const struct doubting *d)
{
    if (d->product.several)
        doubt_several_products(d);
    else if (!d->product.count && complaint_form_text(d->form, "product"))
        complaint_form_doubt(d->form, "product",
                             "no product of that code or name is on record; not used");
}

static void doubt_several_places(const struct doubting *d, const char *field,
                                 const struct outlet_named *named)
{
    struct text_buffer says = {0};
    json_t *choices = json_array();
    text_append(&says, "fits ");
    for (size_t i = 0; i < named->count; i++) {
        text_appendf(&says, "%s%s", i ? ", " : "", named->name[i]);
        json_array_append_new(choices,
                              json_pack("{s:s, s:s}", "value", named->name[i], "says", ""));
    }
    text_appendf(&says, "%s; not used", named->more ? " and more" : "");
    doubt_with(d, field, says.data, choices);
    text_buffer_free(&says);
}

static void doubt_place(const struct doubting *d, const char *field, enum lot_find_place kind)
{
    struct outlet_named named;
    const char *name = complaint_form_text(d->form, field);
    if (!name || outlet_named_find(d->store, kind, name, &named, NULL))
        return;
    if (named.count > 1)
        doubt_several_places(d, field, &named);
    else if (!named.count && !named.unrecorded)
        complaint_form_doubt(d->form, field, "no dispatch on record went there; not used");
}

/* ---- against the lot ---- */

static void doubt_received(const struct doubting *d)
{
    char why[160], packed[40];
    if (d->form->received_ms >= d->lot.packed_from_ms)
        return;
    snprintf(why, sizeof why, "before lot %s was packed, at %s", d->lot.code,
             when_format(tz_of(d->desk->tz, d->lot.plant), d->lot.packed_from_ms, packed));
    complaint_form_doubt(d->form, "received_at", why);
}

static void doubt_day(const struct doubting *d, const char *field, int32_t day)
{
    char why[160], packed[16];
    int32_t packed_day = tz_day(tz_of(d->desk->tz, d->lot.plant), d->lot.packed_from_ms);
    if (day == WHEN_UNKNOWN_DAY || day >= packed_day)
        return;
    snprintf(why, sizeof why, "before lot %s was packed, on %s", d->lot.code,
             day_format(packed_day, packed));
    complaint_form_doubt(d->form, field, why);
}

/* Mold takes its days: sooner the code or a date is wrong, or bread of before was packed. */
static void doubt_soon(const struct doubting *d)
{
    char why[256], packed[16];
    const struct tz *tz = tz_of(d->desk->tz, d->lot.plant);
    bool found = d->form->found_day != WHEN_UNKNOWN_DAY;
    int32_t packed_day = tz_day(tz, d->lot.packed_from_ms);
    int32_t day = found ? d->form->found_day : tz_day(tz, d->form->received_ms);
    const char *symptom = complaint_form_text(d->form, "symptom");
    if (!symptom || strcmp(symptom, "mold") != 0 || day < packed_day ||
        !predict_mold_too_soon(day - packed_day))
        return;
    snprintf(why, sizeof why,
             "%s lot %s was packed, on %s: mold takes %.1f days at the least; ask for the code and "
             "the day again, and look whether older bread was packed with it",
             day == packed_day ? "the day" : "the day after", d->lot.code,
             day_format(packed_day, packed), predict_mold_soonest_days());
    complaint_form_doubt(d->form, found ? "found_on" : "received_at", why);
}

static void doubt_code_date(const struct doubting *d)
{
    char why[160], date[16];
    if (d->form->code_day == WHEN_UNKNOWN_DAY || d->form->code_day == d->lot.code_day)
        return;
    snprintf(why, sizeof why, "lot %s is best by %s", d->lot.code,
             day_format(d->lot.code_day, date));
    complaint_form_doubt(d->form, "code_date", why);
}

/* Where a product is named and no lot: a pack made on the day of the report bears the latest date
 * there can be, and one that is past its date was old stock, or the date was misread. */
static void doubt_code_life(const struct doubting *d)
{
    char why[160], date[16];
    const struct tz *tz = placing_options(d->desk, d->form->body, NULL).tz;
    int32_t day = d->form->code_day, today = tz_day(tz, d->form->received_ms);
    if (day == WHEN_UNKNOWN_DAY || !product_named_one(&d->product))
        return;
    int32_t latest = today + d->product.row[0].shelf_life_days;
    if (day > latest)
        snprintf(why, sizeof why, "later than a %s made today is best by, %s",
                 d->product.row[0].product, day_format(latest, date));
    else if (day < today)
        snprintf(why, sizeof why, "before the day of the report: old stock, or misread");
    else
        return;
    complaint_form_doubt(d->form, "code_date", why);
}

static void doubt_lots_product(const struct doubting *d)
{
    char why[192];
    if (!d->product.count || d->product.more || product_named_fits(&d->product, d->lot.product_id))
        return;
    snprintf(why, sizeof why, "lot %s is %s", d->lot.code, d->lot.product);
    complaint_form_doubt(d->form, "product", why);
}

static void doubt_lots_store(const struct doubting *d)
{
    struct lot_find_sent sent;
    struct outlet_named named;
    char why[160];
    const char *name = complaint_form_text(d->form, "store");
    if (outlet_named_find(d->store, LOT_FIND_STORE, name, &named, NULL) || named.count != 1 ||
        lot_find_sent(d->store, d->lot.lot_id, named.name[0], NULL, &sent, NULL) != 0)
        return;
    if (sent.units > 0 && sent.units_there == 0) {
        snprintf(why, sizeof why, "none of lot %s was sent there, by the records", d->lot.code);
        complaint_form_doubt(d->form, "store", why);
    }
}

static void doubt_plant(const struct doubting *d, const struct placing *placing)
{
    const char *named = complaint_form_text(d->form, "plant");
    char why[160];
    if (!named || !*named)
        return;
    if (!placing->plant[0])
        complaint_form_doubt(d->form, "plant",
                             "is no plant: neither the settings nor a lot on record name it");
    else if (d->lot.lot_id && strcmp(d->lot.plant, placing->plant) != 0) {
        snprintf(why, sizeof why, "lot %s is %s%s", d->lot.code,
                 d->lot.plant[0] ? "of plant " : "of no plant that is named", d->lot.plant);
        complaint_form_doubt(d->form, "plant", why);
    }
}

/* ---- codes ---- */

static bool is_folded_in(const char *list, const char *fold)
{
    size_t length = strlen(fold);
    for (const char *at = list; (at = strstr(at, fold)); at++)
        if ((at == list || at[-1] == '\n') && (!at[length] || at[length] == '\n'))
            return true;
    return false;
}

/* Bread of two lots can be in one report, and is one complaint: whoever reads of harm must see the
 * others. */
static void doubt_codes(const struct doubting *d)
{
    enum { SAYS = 400 };
    const char *read = complaint_form_text(d->form, "lot_text"),
               *note = complaint_form_text(d->form, "note");
    struct text_buffer text = {0}, seen = {0}, others = {0};
    char fold[LOT_FIND_CODE], says[SAYS];
    text_appendf(&text, "%s\n%s", read ? read : "", note ? note : "");
    text_appendf(&seen, "%s\n", lot_find_fold(read ? read : "", fold, sizeof fold));
    text_appendf(&seen, "%s", lot_find_fold(d->lot.code, fold, sizeof fold));
    char *codes = apart_codes(d->desk, d->store, text.data, NULL), *rest = codes;
    for (char *code; (code = strsep(&rest, "\n"));) {
        lot_find_fold(code, fold, sizeof fold);
        if (!*fold || is_folded_in(seen.data, fold))
            continue;
        text_appendf(&seen, "\n%s", fold);
        text_appendf(&others, "%s%s", others.length ? ", " : "", code);
    }
    if (others.length) {
        snprintf(says, sizeof says, "%s %.300s: hold and look at each",
                 read ? "names other lots, too:" : "names several lots:", others.data);
        complaint_form_doubt(d->form, "lot_text", says);
    }
    free(codes);
    text_buffer_free(&text);
    text_buffer_free(&seen);
    text_buffer_free(&others);
}

void doubts_add(const struct desk *desk, struct store *store, const struct complaint_form *form,
                const struct placing *placing)
{
    struct doubting d = {.desk = desk, .store = store, .form = form};
    int64_t lot_id = complaint_lots_settled(&placing->lots);
    doubt_receipt(&d);
    if (product_named_find(store, complaint_form_text(form, "product"), &d.product, NULL) == 0)
        doubt_product(&d);
    doubt_place(&d, "store", LOT_FIND_STORE);
    doubt_place(&d, "route", LOT_FIND_ROUTE);
    if (!lot_id)
        lot_id = placing->read_lot_id;
    bool known = lot_id && lot_find_by_id(store, lot_id, &d.lot, NULL) == 0;
    if (form->harm || form->harm_possible)
        doubt_codes(&d);
    if (!known || !seen_plant(store, d.lot.plant)) {
        d.lot = (struct lot_find_row){0};
        doubt_plant(&d, placing);
        doubt_code_life(&d);
        return;
    }
    doubt_plant(&d, placing);
    doubt_received(&d);
    doubt_day(&d, "found_on", form->found_day);
    doubt_day(&d, "bought_on", form->bought_day);
    doubt_soon(&d);
    doubt_code_date(&d);
    doubt_lots_product(&d);
    doubt_lots_store(&d);
}

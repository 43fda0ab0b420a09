/* GET /v1/whatif: what the models expect with something done otherwise. */
#include "tell/whatif.h"
#include "base/short_id.h"
#include "base/text.h"
#include "desk/named.h"
#include "lots/product_named.h"
#include "serve/app.h"
#include "serve/lot_named.h"
#include "serve/route.h"
#include "store/case.h"
#include "store/lot_find.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { SHARE_PCT = 95 };

/* What is asked of: a case's lot, a product, or a lot. */
struct subject {
    int64_t case_id, lot_id;
    bool of_product;
};

/* ---- of what ---- */

static int keep_lot(void *arg, const struct lot_find_key *key)
{
    *(int64_t *)arg = key->lot_id;
    return 1;
}

static int newest_lot(struct store *store, const struct lot_find_product *product, int64_t *ret,
                      struct error *err)
{
    const struct lot_find_where where = {.product_id = product->product_id,
                                         .code_day = WHEN_UNKNOWN_DAY,
                                         .packed = {0, INT64_MAX},
                                         .limit = 1};
    bool more;
    int rc = lot_find_each_key(store, &where, keep_lot, ret, &more, err);
    if (rc && !*ret)
        return rc;
    if (*ret)
        return 0;
    error_hint(err, "its targets and usual readings go by its lots: load some");
    return error_set(err, ERROR_NOT_FOUND, "no lot of product %.60s is on record",
                     product->product);
}

static int find_case(struct store *store, const char *word, struct subject *ret, struct error *err)
{
    struct case_row row;
    int rc = named_case(store, word, &ret->case_id, err);
    if (!rc)
        rc = case_get(store, ret->case_id, &row, err);
    if (rc)
        return rc;
    ret->lot_id = row.lot_id;
    if (row.lot_id)
        return 0;
    error_hint(err, "name the lot, or its product");
    return error_set(err, ERROR_CONFLICT, "the lot of %.20s is not certain", word);
}

static bool looks_like_case(const char *word)
{
    return (*word == 'C' || *word == 'c') && word[1] && !word[1 + strspn(word + 1, "0123456789")];
}

/* "C06": no case is written so, and one product's code is. One that is written as a case is, too,
 * is asked about. */
static int refuse_both(struct store *store, const char *word, struct error *err)
{
    int64_t case_id;
    if (word[1] == '0' || named_case(store, word, &case_id, NULL))
        return 0;
    error_hint(err, "name a lot of the one that is meant");
    return error_set(err, ERROR_CONFLICT, "%.20s is a product's code and a case", word);
}

/* A product's code may look like a lot's; a lot on record goes first. */
static int find_subject(struct setup *setup, struct store *store, const char *word, int64_t now_ms,
                        struct subject *ret, struct error *err)
{
    struct hold_of lot = {0};
    struct product_named product;
    struct lot_find_row row;
    if (lot_find_by_code(store, word, &row, NULL) == 0) {
        ret->lot_id = row.lot_id;
        return 0;
    }
    int rc = product_named_find(store, word, &product, err);
    bool is_code = !rc && product.count && strcmp(product.row[0].product, word) == 0;
    if (!rc && looks_like_case(word))
        rc = is_code ? refuse_both(store, word, err) : find_case(store, word, ret, err);
    if (rc || (looks_like_case(word) && !is_code))
        return rc;
    if (product_named_one(&product)) {
        ret->of_product = true;
        return newest_lot(store, &product.row[0], &ret->lot_id, err);
    }
    rc = lot_named(setup, store, word, now_ms, &lot, err);
    ret->lot_id = lot.lot_id;
    if (rc || lot.lot_id)
        return rc;
    error_hint(err, "a lot's code, a case as C12, or one product by its code or name");
    return error_set(err, ERROR_NOT_FOUND, "no lot, case or single product is called %.60s", word);
}

/* ---- with what otherwise ---- */

/* Under the name that a lot has it; NULL: the models take none of it. */
static const char *taken(const struct triage *triage, const struct catalogue_quantity *quantity)
{
    const char *own = triage_quantity(triage, quantity->name);
    return model_lot_takes(triage_catalogue(triage), own) ? own : NULL;
}

/* The name it is like, else the first that are read off a loaf; the client's help has all. */
static void hint_taken(const struct triage *triage, const char *name, struct error *err)
{
    const struct catalogue *catalogue = triage_catalogue(triage);
    const char *like = catalogue_like(catalogue, name);
    if (like && taken(triage, catalogue_quantity(catalogue, like)))
        error_hint(err, "is it %s?", like);
    else
        error_hint(err, "the models take the dose (inhibitor_pct_flour, acid_pct_flour), crumb_ph, "
                        "crumb_aw, bake_min, cool_min, core_at_pack_c and others: "
                        "oddloaf help whatif");
}

static int read_change(struct triage *triage, const char *text, struct whatif *asked,
                       struct error *err)
{
    const struct catalogue *catalogue = triage_catalogue(triage);
    const struct catalogue_quantity *quantity = NULL;
    char *name = xstrndup(text, strcspn(text, "="));
    const char *value_text = text + strlen(name), *known = NULL;
    double value = NAN;
    int rc = 0;
    quantity = catalogue_said(catalogue, name);
    known = quantity ? taken(triage, quantity) : NULL;
    if (!known) {
        hint_taken(triage, name, err);
        rc = error_set(err, ERROR_INVALID, "the models know nothing of %.60s", name);
    } else if (!*value_text || text_to_double(value_text + 1, &value)) {
        rc = error_set(err, ERROR_INVALID, "must be QUANTITY=NUMBER, as core_at_pack_c=39");
    } else {
        rc = triage_check_quantity(triage, known, value, err);
    }
    for (size_t i = 0; known && i < asked->change_count && !rc; i++)
        if (strcmp(asked->changes[i].quantity, known) == 0)
            rc = error_set(err, ERROR_INVALID, "%s is set twice", known);
    if (!rc && asked->change_count == WHATIF_CHANGES)
        rc = error_set(err, ERROR_INVALID, "more than %d changes", WHATIF_CHANGES);
    if (!rc && known)
        asked->changes[asked->change_count++] = (struct model_change){known, value};
    else
        error_field(err, "set", text);
    free(name);
    return rc;
}

/* "core_at_pack_c=39,crumb_ph=5.2" */
static int read_changes(struct triage *triage, const char *text, struct whatif *asked,
                        struct error *err)
{
    char *copy = xstrndup(text ? text : "", text ? strlen(text) : 0), *rest = NULL;
    int rc = 0;
    for (char *one = strtok_r(copy, ",", &rest); one && !rc; one = strtok_r(NULL, ",", &rest))
        rc = read_change(triage, one, asked, err);
    free(copy);
    return rc;
}

static int read_query(const struct request *rq, struct triage *triage, struct whatif *asked,
                      struct error *err)
{
    int64_t days = 0, pct = SHARE_PCT;
    int rc = request_query_within(rq, "hold", 1, WHATIF_DAYS_MOST, &days, err);
    if (!rc)
        rc = request_query_within(rq, "share", 50, 99, &pct, err);
    asked->hold_days = (int)days;
    asked->share = (double)pct / 100;
    return rc ? rc : read_changes(triage, request_query(rq, "set"), asked, err);
}

void whatif_get(struct request *rq, struct store *store)
{
    struct error err = {0};
    struct setup *setup = app_setup(rq->app);
    struct whatif asked = {.limits = setup->limits};
    struct subject subject = {0};
    json_t *answer = NULL;
    const char *of = request_query(rq, "of"), *word = of ? of : "";
    int rc = *word ? 0 : error_set(&err, ERROR_INVALID, "a lot, a case or a product");
    if (rc)
        error_field(&err, "of", word);
    struct triage *triage = setup->triage;
    if (!rc)
        rc = find_subject(setup, store, word, app_now_ms(rq->app), &subject, &err);
    if (!rc)
        rc = triage_of_lot(triage, store, subject.lot_id, &triage, &err);
    if (!rc)
        rc = read_query(rq, triage, &asked, &err);
    asked.lot_id = subject.lot_id;
    asked.of_product = subject.of_product;
    if (!rc)
        rc = whatif_tell(triage, store, &asked, &answer, &err);
    if (!rc)
        json_object_set_new(answer, "case",
                            subject.case_id ? json_string(CASE_ID(subject.case_id)) : json_null());
    setup_unref(setup);
    request_reply_result(rq, rc, answer, &err);
}

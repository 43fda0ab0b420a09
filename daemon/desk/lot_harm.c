#include "desk/lot_harm.h"
#include "base/jsonx.h"
#include "base/short_id.h"
#include "base/text.h"
#include "desk/spoken.h"
#include "store/lot_find.h"
#include "store/open_harm.h"
#include "store/seen.h"
#include <assert.h>
#include <string.h>

struct finding {
    const struct hold_of *of;
    int64_t case_id;
    struct lot_harm *ret;
};

/* A lot that is open, or was held for a case, is not said to have hurt anybody. */
static bool is_of(const struct hold_of *of, const struct open_harm_row *row)
{
    char own[LOT_FIND_CODE], asked[LOT_FIND_CODE];
    json_t *body = NULL;
    if (of->lot_id || row->lot_id)
        return row->lot_id == of->lot_id;
    if (jsonx_parse(row->body, strlen(row->body), &body, NULL))
        return false;
    const char *text = json_string_value(json_object_get(body, "lot_text"));
    bool same = text && strcmp(lot_find_fold(text, own, sizeof own),
                               lot_find_fold(of->code, asked, sizeof asked)) == 0;
    json_decref(body);
    return same;
}

static int take(void *arg, const struct open_harm_row *row)
{
    const struct finding *f = arg;
    int64_t *found = row->possible ? &f->ret->possible : &f->ret->reported;
    if (!*found && row->case_id != f->case_id && is_of(f->of, row))
        *found = row->case_id;
    return 0;
}

static int add_measured(const struct desk *desk, struct store *store, const struct hold_of *of,
                        struct lot_harm *ret, struct error *err)
{
    size_t i;
    const json_t *one;
    json_t *spoken = NULL;
    int rc = spoken_of_lot(desk, store, of, &spoken, err);
    json_array_foreach(spoken, i, one)
    {
        if (json_array_size(json_object_get(one, "harm")))
            ret->measured = true;
        else
            ret->measured_possible = true;
    }
    json_decref(spoken);
    return rc;
}

int lot_harm_elsewhere(const struct desk *desk, struct store *store, const struct hold_of *of,
                       int64_t case_id, struct lot_harm *ret, struct error *err)
{
    assert(desk && store && of && ret);
    struct finding f = {of, case_id, ret};
    *ret = (struct lot_harm){0};
    if (!of->lot_id && !of->code[0])
        return 0;
    int rc = open_harm_of_lot(store, of, take, &f, err);
    return rc ? rc : add_measured(desk, store, of, ret, err);
}

static void add_of_case(const struct lot_harm *found, json_t *into)
{
    int64_t other = found->reported ? found->reported : found->possible;
    json_object_set_new(into, "harm_elsewhere",
                        json_pack("{s:o, s:b, s:s}", "case", CASE_ID_JSON(other), "possible",
                                  !found->reported, "says",
                                  found->reported
                                      ? "harm is reported on the same lot in another case"
                                      : "words of another case of the same lot may "
                                        "speak of harm, and nobody has read them"));
}

static int add_of_lot(struct store *store, const struct lot_harm *found, int64_t lot_id,
                      json_t *into, struct error *err)
{
    struct lot_find_row lot;
    int rc = lot_find_by_id(store, lot_id, &lot, err);
    if (rc)
        return rc;
    json_object_set_new(
        into, "harm_elsewhere",
        json_pack("{s:s, s:b, s:s}", "lot", lot.code, "possible", !found->measured, "says",
                  found->measured ? "a laboratory found harm in this lot"
                                  : "words of a laboratory's result of this lot may speak of "
                                    "harm"));
    return 0;
}

int lot_harm_json(const struct desk *desk, struct store *store, int64_t case_id, int64_t lot_id,
                  json_t *into, struct error *err)
{
    struct lot_harm found;
    struct hold_of of = {.lot_id = lot_id};
    const char *code = json_string_value(json_object_get(into, "lot_text"));
    if (!lot_id && code)
        text_clip(code, of.code, sizeof of.code);
    int rc = lot_harm_elsewhere(desk, store, &of, case_id, &found, err);
    if (rc)
        return rc;
    if (found.reported && !seen_case(store, found.reported)) /* another plant's own affair */
        found.reported = 0;
    if (found.possible && !seen_case(store, found.possible))
        found.possible = 0;
    if (found.reported || (found.possible && !found.measured))
        add_of_case(&found, into);
    else if (found.measured || found.measured_possible)
        rc = add_of_lot(store, &found, lot_id, into, err);
    return rc;
}

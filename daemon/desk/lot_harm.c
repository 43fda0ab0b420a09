#include "desk/lot_harm.h"
#include "base/jsonx.h"
#include "base/short_id.h"
#include "base/text.h"
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

int lot_harm_elsewhere(struct store *store, const struct hold_of *of, int64_t case_id,
                       struct lot_harm *ret, struct error *err)
{
    assert(store && of && ret);
    struct finding f = {of, case_id, ret};
    *ret = (struct lot_harm){0};
    if (!of->lot_id && !of->code[0])
        return 0;
    return open_harm_of_lot(store, of, take, &f, err);
}

void lot_harm_json(struct store *store, int64_t case_id, int64_t lot_id, json_t *into)
{
    struct lot_harm found;
    struct hold_of of = {.lot_id = lot_id};
    const char *code = json_string_value(json_object_get(into, "lot_text"));
    if (!lot_id && code)
        text_clip(code, of.code, sizeof of.code);
    if (lot_harm_elsewhere(store, &of, case_id, &found, NULL) ||
        (!found.reported && !found.possible))
        return;
    if (found.reported && !seen_case(store, found.reported)) /* another plant's own affair */
        found.reported = 0;
    int64_t other = found.reported ? found.reported : found.possible;
    if (!other || !seen_case(store, other))
        return;
    json_object_set_new(into, "harm_elsewhere",
                        json_pack("{s:o, s:b, s:s}", "case", CASE_ID_JSON(other), "possible",
                                  !found.reported, "says",
                                  found.reported
                                      ? "harm is reported on the same lot in another case"
                                      : "words of another case of the same lot may "
                                        "speak of harm, and nobody has read them"));
}

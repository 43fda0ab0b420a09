#include "serve/lot_named.h"
#include "base/text.h"
#include "store/lot_find.h"
#include <string.h>

int lot_named(const struct setup *setup, struct store *store, const char *text, int64_t now_ms,
              struct hold_of *ret, struct error *err)
{
    enum { TWO = 2 };
    struct lot_parsed parsed;
    struct lot_find_row row, rows[TWO];
    struct lot_find_rows same = {.row = rows, .capacity = TWO};
    char fold[LOT_FIND_CODE];
    match_understand(setup->matcher, text, NULL, now_ms, setup->tz, &parsed);
    const char *code = parsed.code[0] ? parsed.code : parsed.text[0] ? parsed.text : text;
    *ret = (struct hold_of){0};
    text_clip(code, ret->code, sizeof ret->code);
    if (lot_find_by_code(store, text, &row, NULL) == 0 ||
        lot_find_by_code(store, code, &row, NULL) == 0) {
        ret->lot_id = row.lot_id;
        text_clip(row.code, ret->code, sizeof ret->code);
        return 0;
    }
    int rc = lot_find_by_fold(store, lot_find_fold(code, fold, sizeof fold), TWO, &same, err);
    if (rc || same.count == 0)
        return rc;
    if (same.count > 1) {
        error_set(err, ERROR_CONFLICT, "%.80s may be %s or %s; nothing was recorded", text,
                  rows[0].code, rows[1].code);
        error_field(err, "lots", text);
        error_hint(err, "write the code as it is on record, or name them all");
        return ERROR_CONFLICT;
    }
    ret->lot_id = rows[0].lot_id;
    text_clip(rows[0].code, ret->code, sizeof ret->code);
    return 0;
}

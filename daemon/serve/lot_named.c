#include "serve/lot_named.h"
#include "base/text.h"
#include "serve/app.h"
#include "store/case.h"
#include "store/lot_find.h"
#include "store/seen.h"
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

bool lot_named_elsewhere(const struct setup *setup, struct store *store, const char *text,
                         int64_t now_ms, struct hold_of *ret)
{
    struct hold_of own = {0}, of = {0};
    if (seen_all(store) || lot_named(setup, store, text, now_ms, &own, NULL) || own.lot_id)
        return false;
    bool some = seen_whole(store);
    int rc = lot_named(setup, store, text, now_ms, &of, NULL);
    seen_again(store, some);
    if (rc || !of.lot_id)
        return false;
    *ret = of;
    return true;
}

void lot_named_plant(const struct request *rq, const struct setup *setup, struct store *store,
                     const char *text, int64_t case_id, char plant[static LENGTH_CODE + 1])
{
    char by_code[LOT_MATCH_WORD];
    struct case_row of;
    bool several = !rq->sees_all && rq->seen.count > 1;
    match_plant(setup->matcher, text, app_now_ms(rq->app), setup->tz, by_code);
    const char *is = config_plant_named(setup->config, by_code) >= 0 ? by_code : "";
    if (!rq->sees_all && rq->seen.count == 1)
        is = rq->seen.plant[0];
    else if (several && !seen_plant(store, is))
        is = case_id && case_get(store, case_id, &of, NULL) == 0 && seen_plant(store, of.plant)
                 ? of.plant
                 : rq->seen.plant[0];
    text_clip(is, plant, LENGTH_CODE + 1);
}

int lot_named_refuse(const char *field, const char *text, struct error *err)
{
    error_set(err, ERROR_CONFLICT, "%.60s is another plant's lot; nothing was recorded", text);
    error_field(err, field, text);
    error_hint(err, "ask that plant's people, or the company's");
    return ERROR_CONFLICT;
}

static int refuse_words(const char *code, const char *first, struct error *err)
{
    struct text_buffer word = {0};
    text_append_word(&word, code);
    error_set(
        err, ERROR_CONFLICT,
        "%.40s and what follows it are no lots on record, together they are lot %.80s; nothing "
        "was recorded",
        first, code);
    error_field(err, "lots", first);
    error_hint(err,
               "a code with blanks is one word in quotes: %s; lots that are really named so are "
               "named one a command",
               word.data);
    text_buffer_free(&word);
    return ERROR_CONFLICT;
}

/* From this name on, up to where they are one code; one of them is no lot's. */
static int check_from(struct store *store, const json_t *texts, const struct hold_of *of,
                      size_t from, struct error *err)
{
    char joined[LOT_FIND_CODE] = "", fold[LOT_FIND_CODE];
    struct lot_find_row row;
    bool unknown = false;
    for (size_t i = from; i < json_array_size(texts); i++) {
        const char *text = json_string_value(json_array_get(texts, i));
        size_t used = strlen(joined);
        if (used + strlen(text) >= sizeof joined)
            break;
        text_clip(text, joined + used, sizeof joined - used);
        unknown = unknown || !of[i].lot_id;
        struct lot_find_rows same = {.row = &row, .capacity = 1};
        if (i == from || !unknown)
            continue;
        int rc = lot_find_by_fold(store, lot_find_fold(joined, fold, sizeof fold), 1, &same, err);
        if (rc || same.count)
            return rc ? rc
                      : refuse_words(row.code, json_string_value(json_array_get(texts, from)), err);
    }
    return 0;
}

int lot_named_whole(struct store *store, const json_t *texts, const struct hold_of *of,
                    struct error *err)
{
    int rc = 0;
    for (size_t i = 0; i < json_array_size(texts) && !rc; i++)
        rc = check_from(store, texts, of, i, err);
    return rc;
}

/* Finding what is no complaint: lots, cases, and what the plant itself wrote. */
#include "base/short_id.h"
#include "serve/app.h"
#include "serve/asked_product.h"
#include "serve/route.h"
#include "store/written_find.h"
#include <stdlib.h>
#include <string.h>

enum { LIMIT_USUAL = 10, LIMIT_MOST = 100 };

static const struct {
    const char *name;
    char letter;    /* of its short id; 0: its number, of a lot its code */
    unsigned roles; /* who may ask for it where it stands */
} KINDS[WRITTEN_KINDS] = {[WRITTEN_LOT] = {"lot", 0, ~0u},
                          [WRITTEN_CASE] = {"case", SHORT_ID_CASE, ~0u},
                          [WRITTEN_NOTE] = {"note", 0, ~0u},
                          [WRITTEN_RESULT] = {"result", 0, ~0u},
                          [WRITTEN_FILE] = {"attachment", 0, ROLE_DESK | ROLE_QA},
                          [WRITTEN_HOLD] = {"hold", SHORT_ID_HOLD, ~0u},
                          [WRITTEN_ACTION] = {"action", 0, ROLE_QA | ROLE_MANAGER}};

struct listing {
    const struct tz *tz;
    json_t *found;
};

static json_t *id_json(const struct written_row *row)
{
    char letter = KINDS[row->kind].letter;
    if (row->kind == WRITTEN_LOT)
        return json_string(row->lot);
    return letter ? short_id_json(letter, row->id) : json_sprintf("%lld", (long long)row->id);
}

static json_t *text_or_null(const char *text)
{
    return *text ? json_string(text) : json_null();
}

static int add_row(void *arg, const struct written_row *row)
{
    const struct listing *l = arg;
    char at[40];
    return json_array_append_new(
        l->found,
        json_pack("{s:s, s:o, s:s, s:o, s:o, s:o, s:o, s:s}", "kind", KINDS[row->kind].name, "id",
                  id_json(row), "at", when_format(l->tz, row->at_ms, at), "case",
                  CASE_ID_JSON(row->case_id), "lot", text_or_null(row->lot), "complaint",
                  text_or_null(row->complaint), "by", text_or_null(row->by), "says", row->says));
}

static int read_filter(const struct request *rq, const struct setup *setup,
                       struct written_filter *filter, struct error *err)
{
    int32_t day;
    int64_t limit = LIMIT_USUAL;
    const char *since = request_query(rq, "since");
    *filter =
        (struct written_filter){.words = request_query(rq, "word"), .since_ms = WHEN_UNKNOWN_MS};
    if (!filter->words || !*filter->words) {
        error_field(err, "word", "");
        return error_set(err, ERROR_INVALID, "is needed: what to look for");
    }
    if (since && day_parse(since, &day, NULL)) {
        error_field(err, "since", since);
        return error_set(err, ERROR_INVALID, "must be a date, YYYY-MM-DD");
    }
    if (since)
        filter->since_ms = tz_day_start_ms(setup->tz, day);
    int rc = request_query_within(rq, "limit", 1, LIMIT_MOST, &limit, err);
    filter->limit = (int)limit;
    return rc;
}

static int find(const struct request *rq, const struct setup *setup, struct store *store,
                json_t *found, struct error *err)
{
    struct written_filter filter;
    struct product_named named = {0};
    struct listing list = {setup->tz, found};
    int rc = read_filter(rq, setup, &filter, err);
    if (!rc)
        rc = asked_product(rq, store, &named, err);
    char *ids = rc ? NULL : asked_product_ids(&named);
    filter.products = ids;
    filter.family = named.family[0] ? named.family : NULL;
    for (int kind = 0; kind < WRITTEN_KINDS && !rc; kind++)
        if (rq->roles & KINDS[kind].roles)
            rc = written_find(store, (enum written_kind)kind, &filter, add_row, &list, err);
    free(ids);
    return rc;
}

void found_get(struct request *rq, struct store *store)
{
    struct error err = {0};
    struct setup *setup = app_setup(rq->app);
    json_t *found = json_array();
    int rc = find(rq, setup, store, found, &err);
    setup_unref(setup);
    request_reply_result(rq, rc, json_pack("{s:o}", "found", found), &err);
}

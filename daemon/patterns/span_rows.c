#include "patterns/span_rows.h"
#include "base/jsonx.h"
#include "base/plant_level.h"
#include "base/short_id.h"
#include "base/text.h"
#include "base/tz_of.h"
#include "intake/harm.h"
#include "store/case.h"
#include "store/change.h"
#include "store/complaint.h"
#include "store/follow.h"
#include "store/hold.h"
#include "store/lot_find.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct kept {
    const struct tz *tz;
    const char *plant; /* NULL or "": any */
    json_t *rows;
    int64_t *lots, *cases; /* of the rows; 0: open */
    size_t count, capacity;
    bool possible; /* of harm: what may speak of it, not what reports it */
    const json_t *harm;
};

static void set_day(json_t *row, const char *name, int32_t day)
{
    char text[16];
    if (day != WHEN_UNKNOWN_DAY)
        json_object_set_new(row, name, json_string(day_format(day, text)));
}

static void keep_ids(struct kept *k, const struct complaint_row *c)
{
    if (k->count == k->capacity) {
        k->capacity = k->capacity ? 2 * k->capacity : 256;
        k->lots = xrealloc(k->lots, k->capacity * sizeof *k->lots);
        k->cases = xrealloc(k->cases, k->capacity * sizeof *k->cases);
    }
    k->lots[k->count] = c->lot_id;
    k->cases[k->count++] = c->case_id;
}

static bool is_of(const struct kept *k, const struct complaint_row *c)
{
    return !k->plant || !*k->plant || strcmp(k->plant, c->plant) == 0;
}

static int keep_complaint(void *arg, const struct complaint_row *c)
{
    struct kept *k = arg;
    char at[40];
    if (!is_of(k, c))
        return 0;
    json_t *row =
        json_pack("{s:s, s:s, s:s, s:s, s:o, s:s*, s:s, s:s*, s:s*, s:i, s:b}", "complaint",
                  c->uuid, "received_at", when_format(k->tz, c->received_ms, at), "symptom",
                  c->symptom, "channel", c->channel, "case", CASE_ID_JSON(c->case_id), "lot_text",
                  c->lot_text, "lot_state", lot_state_word(c->lot_state), "store", c->store,
                  "route", c->route, "packs", c->packs, "harm", c->harm);
    set_day(row, "code_date", c->code_day);
    set_day(row, "bought_on", c->bought_day);
    set_day(row, "found_on", c->found_day);
    json_array_append_new(k->rows, row);
    keep_ids(k, c);
    return 0;
}

static int keep_all(struct store *store, struct kept *k, const struct span_rows *of,
                    struct error *err)
{
    const struct span *span = of->span;
    k->tz = tz_of(k->tz, of->plant);
    const struct when_span days = {tz_day_start_ms(k->tz, span->from_day),
                                   tz_day_start_ms(k->tz, span->to_day)};
    k->rows = json_array();
    k->plant = of->plant;
    return complaint_between(store, when_span_until(days, of->now_ms), SPAN_ROWS_MOST,
                             keep_complaint, k, err);
}

static int add_lot(struct store *store, int64_t lot_id, json_t *row, struct error *err)
{
    struct lot_find_row lot;
    int rc = lot_find_by_id(store, lot_id, &lot, err);
    if (rc)
        return rc;
    json_object_set_new(row, "lot", json_string(lot.code));
    json_object_set_new(row, "line", json_string(lot.line));
    plant_level_set(row, lot.plant);
    json_object_set_new(row, "product", json_string(lot.product));
    return 0;
}

static void end(struct kept *k, int rc, json_t **ret)
{
    free(k->lots);
    free(k->cases);
    if (rc)
        json_decref(k->rows);
    else
        *ret = k->rows;
}

int span_rows_complaints(struct store *store, const struct span_rows *of, json_t **ret,
                         struct error *err)
{
    struct kept k = {.tz = of->tz};
    int rc = keep_all(store, &k, of, err);
    for (size_t i = 0; i < k.count && !rc; i++) {
        if (k.lots[i] > 0)
            rc = add_lot(store, k.lots[i], json_array_get(k.rows, i), err);
    }
    end(&k, rc, ret);
    return rc;
}

/* Beside harm, or words that may mean it, no cause is named. */
static json_t *case_json(struct store *store, const struct tz *tz, const struct case_row *c)
{
    char from[40], to[40];
    bool possible = case_may_harm(store, c), named = !c->harm && !possible;
    return json_pack("{s:o, s:s, s:s, s:i, s:i, s:b, s:b, s:s, s:s, s:s, s:o}", "case",
                     CASE_ID_JSON(c->id), "symptom", c->symptom, "state",
                     c->settled ? "settled" : "open", "complaints", c->complaints, "packs",
                     c->packs, "harm", c->harm, "harm_possible", possible, "opened_at",
                     when_format(tz, c->opened_ms, from), "as_of", when_format(tz, c->as_of_ms, to),
                     "cause", named ? c->top_cause : "", "probability",
                     named ? json_real(c->top_probability) : json_null());
}

static int by_number(const void *a, const void *b)
{
    const int64_t *x = a, *y = b;
    return (*x > *y) - (*x < *y);
}

int span_rows_cases(struct store *store, const struct span_rows *of, json_t **ret,
                    struct error *err)
{
    struct kept k = {.tz = of->tz};
    int rc = keep_all(store, &k, of, err);
    json_array_clear(k.rows);
    if (k.count)
        qsort(k.cases, k.count, sizeof *k.cases, by_number);
    for (size_t i = 0; i < k.count && !rc; i++) {
        struct case_row c;
        if (i && k.cases[i] == k.cases[i - 1])
            continue;
        rc = case_get(store, k.cases[i], &c, err);
        json_t *row = rc ? NULL : case_json(store, of->tz, &c);
        if (row && c.lot_id > 0)
            rc = add_lot(store, c.lot_id, row, err);
        if (row)
            json_array_append_new(k.rows, row);
    }
    end(&k, rc, ret);
    return rc;
}

static int keep_harm(void *arg, const struct complaint_row *row)
{
    struct kept *k = arg;
    char at[40];
    if (row->harm == k->possible || !is_of(k, row))
        return 0;
    json_t *body = json_loads(row->body, 0, NULL);
    json_t *kinds = json_object_get(body, "harm");
    if (k->possible && !json_is_true(json_object_get(body, "harm_possible"))) {
        json_decref(body);
        return 0;
    }
    json_t *told = json_pack(
        "{s:s, s:o, s:s, s:s, s:O, s:b, s:s?}", "complaint", row->uuid, "case",
        CASE_ID_JSON(row->case_id), "received_at", when_format(k->tz, row->received_ms, at),
        "symptom", row->symptom, "harm", json_is_array(kinds) ? kinds : json_null(), "possible",
        k->possible, "lot_text", row->lot_text && *row->lot_text ? row->lot_text : NULL);
    json_t *grave = harm_grave_of(k->harm, json_string_value(json_object_get(body, "note")));
    if (grave)
        json_object_set_new(told, "grave", grave);
    json_array_append_new(k->rows, told);
    keep_ids(k, row);
    json_decref(body);
    return 0;
}

/* Which lot it is, whether that is held, and who follows the case. */
static int add_standing(struct store *store, int64_t lot_id, int64_t case_id, json_t *row,
                        struct error *err)
{
    struct lot_find_row lot;
    struct follow_row follow;
    int rc = follow_get(store, case_id, &follow, err);
    if (!rc && lot_id > 0)
        rc = lot_find_by_id(store, lot_id, &lot, err);
    if (rc)
        return rc;
    json_object_set_new(row, "lot", lot_id > 0 ? json_string(lot.code) : json_null());
    json_object_set_new(row, "held", json_boolean(lot_id > 0 && hold_stands(store, lot_id)));
    json_object_set_new(row, "owner", *follow.owner ? json_string(follow.owner) : json_null());
    return 0;
}

struct gravity {
    const json_t *harm;
    json_t *row;
};

/* Said since by a repeat, a call, a correction; not by what took harm back. */
static int take_gravity(void *arg, const struct change_row *change)
{
    const struct gravity *g = arg;
    bool back = !*change->now || strcmp(change->now, "[]") == 0;
    if (strcmp(change->field, "harm") != 0 || back)
        return 0;
    json_t *said = harm_grave_of(g->harm, change->reason), *told = json_object_get(g->row, "grave");
    if (said && !told) {
        told = json_array();
        json_object_set_new(g->row, "grave", told);
    }
    jsonx_add_missing(told, said);
    json_decref(said);
    return 0;
}

static int add_gravity(struct store *store, const json_t *harm, json_t *row, struct error *err)
{
    const char *uuid = json_string_value(json_object_get(row, "complaint"));
    struct gravity gravity = {harm, row};
    return harm ? change_of(store, uuid, take_gravity, &gravity, err) : 0;
}

int span_rows_harm(struct store *store, const struct span_harm *of, json_t **ret, struct error *err)
{
    struct kept k = {.tz = of->tz,
                     .plant = of->plant,
                     .rows = json_array(),
                     .possible = of->possible,
                     .harm = of->harm};
    int rc = complaint_between(store, of->span, SPAN_ROWS_MOST, keep_harm, &k, err);
    for (size_t i = 0; i < k.count && !rc; i++) {
        json_t *row = json_array_get(k.rows, i);
        rc = add_standing(store, k.lots[i], k.cases[i], row, err);
        rc = rc ? rc : add_gravity(store, of->harm, row, err);
    }
    end(&k, rc, ret);
    return rc;
}

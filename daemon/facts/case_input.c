#include "facts/case_input.h"
#include "base/jsonx.h"
#include "base/short_id.h"
#include "base/text.h"
#include "rules/vocabulary.h"
#include "store/case.h"
#include <assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static struct case_complaint *add(struct case_input *input)
{
    if (input->count == CASE_COMPLAINTS) {
        json_decref(input->complaints[0].body);
        memmove(&input->complaints[0], &input->complaints[1],
                (CASE_COMPLAINTS - 1) * sizeof input->complaints[0]);
        input->count--;
    }
    input->complaints =
        xrealloc(input->complaints, (size_t)(input->count + 1) * sizeof *input->complaints);
    struct case_complaint *complaint = &input->complaints[input->count++];
    memset(complaint, 0, sizeof *complaint);
    return complaint;
}

static bool may_be_harm(const json_t *body)
{
    return json_is_true(json_object_get(body, "harm_possible"));
}

static int take_row(void *arg, const struct complaint_row *row)
{
    struct case_input *input = arg;
    struct case_complaint *complaint = add(input);
    snprintf(complaint->uuid, sizeof complaint->uuid, "%s", row->uuid);
    snprintf(complaint->route, sizeof complaint->route, "%s", row->route ? row->route : "");
    snprintf(complaint->store, sizeof complaint->store, "%s", row->store ? row->store : "");
    complaint->received_ms = row->received_ms;
    complaint->found_day = row->found_day;
    complaint->bought_day = row->bought_day;
    complaint->code_day = row->code_day;
    complaint->packs = row->packs;
    complaint->harm = row->harm;
    if (jsonx_parse(row->body, strlen(row->body), &complaint->body, NULL))
        complaint->body = json_object(); /* what cannot be read says nothing */
    input->packs += row->packs;
    input->harm = input->harm || row->harm;
    input->harm_possible = input->harm_possible || may_be_harm(complaint->body);
    if (row->received_ms > input->as_of_ms)
        input->as_of_ms = row->received_ms;
    input->last_id = row->id;
    return 0;
}

static void settle_weights(struct case_input *input)
{
    double sum = 0;
    for (int i = 0; i < input->lot_count; i++)
        sum += input->lots[i].weight;
    if (sum > 1)
        for (int i = 0; i < input->lot_count; i++)
            input->lots[i].weight /= sum;
    input->none_weight = sum < 1 ? 1 - sum : 0;
}

static int read_lots(struct store *store, int64_t complaint_id, struct case_input *input,
                     struct error *err)
{
    struct complaint_lots lots;
    int rc = complaint_lots_of(store, complaint_id, &lots, err);
    if (rc)
        return rc;
    memcpy(input->lots, lots.lot, sizeof input->lots);
    input->lot_count = lots.count;
    return 0;
}

int case_input_read(struct store *store, int64_t case_id, struct case_input *ret, struct error *err)
{
    struct case_input input = {.case_id = case_id, .as_of_ms = WHEN_UNKNOWN_MS};
    struct case_row row;
    int rc = case_get(store, case_id, &row, err);
    if (!rc)
        rc = complaint_of_case(store, case_id, take_row, &input, err);
    if (!rc && input.count == 0)
        rc = error_set(err, ERROR_NOT_FOUND, "case %s has no complaints", CASE_ID(case_id));
    if (!rc && row.lot_id > 0) {
        input.lots[0] = (struct complaint_lot){row.lot_id, 1};
        input.lot_count = 1;
    } else if (!rc) {
        /* an open case has one complaint */
        rc = read_lots(store, input.last_id, &input, err);
    }
    if (rc) {
        case_input_clear(&input);
        return rc;
    }
    input.symptom = symptom_of(row.symptom);
    memcpy(input.plant, row.plant, sizeof input.plant);
    input.harm = input.harm || row.harm;
    input.settled = row.settled;
    input.revision = row.revision;
    settle_weights(&input);
    *ret = input;
    return 0;
}

static int32_t day_member(const json_t *object, const char *name)
{
    int32_t day;
    const char *text = json_string_value(json_object_get(object, name));
    return text && day_parse(text, &day, NULL) == 0 ? day : WHEN_UNKNOWN_DAY;
}

static void text_member(const json_t *object, const char *name, char *out, size_t size)
{
    const char *text = json_string_value(json_object_get(object, name));
    snprintf(out, size, "%s", text ? text : "");
}

int case_input_of(const json_t *complaint, const struct complaint_lots *lots, int64_t now_ms,
                  struct case_input *ret, struct error *err)
{
    assert(complaint && ret);
    assert(!lots || (lots->count >= 0 && lots->count <= COMPLAINT_LOTS));
    struct case_input input = {.as_of_ms = now_ms};
    const char *symptom = json_string_value(json_object_get(complaint, "symptom"));
    const char *received = json_string_value(json_object_get(complaint, "received_at"));
    input.symptom = symptom_of(symptom);
    if (input.symptom < 0) {
        struct text_buffer known = {0};
        fields_list(fields_find("symptom")->words, &known);
        error_set(err, ERROR_INVALID, "must be one of %s", known.data);
        text_buffer_free(&known);
        error_field(err, "symptom", symptom);
        return ERROR_INVALID;
    }
    if (received && when_parse(received, &input.as_of_ms, NULL))
        input.as_of_ms = now_ms;
    struct case_complaint *one = add(&input);
    text_member(complaint, "id", one->uuid, sizeof one->uuid);
    text_member(complaint, "route", one->route, sizeof one->route);
    text_member(complaint, "store", one->store, sizeof one->store);
    one->received_ms = input.as_of_ms;
    one->found_day = day_member(complaint, "found_on");
    one->bought_day = day_member(complaint, "bought_on");
    one->code_day = day_member(complaint, "code_date");
    json_int_t packs = json_integer_value(json_object_get(complaint, "packs"));
    one->packs = packs > 0 && packs < 1000000 ? (int)packs : 1;
    one->harm = json_array_size(json_object_get(complaint, "harm")) > 0;
    one->body = json_deep_copy(complaint);
    input.packs = one->packs;
    input.harm = one->harm;
    input.harm_possible = may_be_harm(complaint);
    for (int i = 0; i < lots->count; i++)
        input.lots[input.lot_count++] = lots->lot[i];
    settle_weights(&input);
    *ret = input;
    return 0;
}

void case_input_clear(struct case_input *input)
{
    for (int i = 0; i < input->count; i++)
        json_decref(input->complaints[i].body);
    free(input->complaints);
    *input = (struct case_input){0};
}

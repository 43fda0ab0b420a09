/* What stands around a lot: its cases, samples kept back of it, the lots beside it on its line. */
#include "base/short_id.h"
#include "store/case.h"
#include "store/lot_around.h"
#include "store/verdict.h"
#include "tell/case_json.h"
#include "tell/hold_json.h"
#include "tell/tell.h"
#include <math.h>

enum { BESIDE_MOST = 3 };
/* What packs kept back are watched for: days until the first visible mold. */
#define SAMPLED "mold_free_days"

struct around {
    struct triage *triage;
    struct store *store;
    const char *plant; /* the lot's, and of those beside it on its line */
    json_t *list;
};

static int add_settled_on(void *arg, const struct verdict_row *row)
{
    return json_object_set_new(arg, "settled_on", json_string(row->cause));
}

/* Beside harm no cause is named. */
static int add_case(void *arg, const struct case_row *row)
{
    const struct around *a = arg;
    json_t *item = json_pack("{s:o, s:s, s:i, s:o, s:s, s:b}", "case", CASE_ID_JSON(row->id),
                             "symptom", row->symptom, "complaints", row->complaints, "as_of",
                             case_json_when(a->triage, row->plant, row->as_of_ms), "state",
                             row->settled ? "settled" : "open", "harm", row->harm);
    bool possible = case_may_harm(a->store, row);
    if (possible)
        json_object_set_new(item, "harm_possible", json_true());
    if (row->settled && !row->harm && !possible)
        verdict_of_case(a->store, row->id, add_settled_on, item, NULL);
    if (row->top_cause[0] && !row->harm && !possible)
        json_object_set_new(item, "top",
                            json_pack("{s:s, s:s*, s:f}", "cause", row->top_cause, "title",
                                      triage_cause_title(a->triage, row->top_cause), "probability",
                                      row->top_probability));
    return json_array_append_new(a->list, item);
}

static int add_sample(void *arg, const struct lot_around_sample *row)
{
    const struct around *a = arg;
    return json_array_append_new(a->list,
                                 json_pack("{s:s, s:o, s:o, s:o}", "quantity", row->quantity,
                                           "value", jsonx_rounded(row->value, 4), "at",
                                           case_json_when(a->triage, a->plant, row->at_ms), "note",
                                           *row->note ? json_string(row->note) : json_null()));
}

static int add_neighbour(void *arg, const struct lot_around_row *row)
{
    const struct around *a = arg;
    json_t *item = json_pack("{s:s, s:s, s:s, s:o, s:o, s:i}", "lot", row->lot, "product",
                             row->product, "side", row->before ? "before" : "after", "packed_from",
                             case_json_when(a->triage, a->plant, row->packed_from_ms), "packed_to",
                             case_json_when(a->triage, a->plant, row->packed_to_ms), "complaints",
                             row->complaints);
    hold_json_mark(a->store, a->triage->tz, row->lot_id, item);
    return json_array_append_new(a->list, item);
}

static struct around begin(struct triage *triage, struct store *store, json_t *into,
                           const char *member)
{
    const char *plant = json_string_value(json_object_get(into, "plant"));
    struct around a = {triage, store, plant ? plant : "", json_array()};
    json_object_set_new(into, member, a.list);
    return a;
}

int tell_lot_around(struct triage *triage, struct store *store, int64_t lot_id, json_t *into,
                    struct error *err)
{
    int64_t may_be = 0;
    struct around a = begin(triage, store, into, "cases");
    int rc = case_of_lot(store, lot_id, add_case, &a, err);
    a = begin(triage, store, into, "samples");
    if (!rc)
        rc = lot_around_samples(store, lot_id, SAMPLED, add_sample, &a, err);
    a = begin(triage, store, into, "neighbours");
    if (!rc)
        rc = lot_around_line(store, lot_id, BESIDE_MOST, add_neighbour, &a, err);
    if (!rc)
        rc = lot_around_may_be(store, lot_id, &may_be, err);
    json_object_set_new(into, "may_be", json_integer(may_be));
    return rc;
}

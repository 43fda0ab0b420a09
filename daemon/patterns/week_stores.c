#include "patterns/week_stores.h"
#include "base/length.h"
#include "base/text.h"
#include <string.h>

enum { STORES_SAID = 3 };

/* Of the complaint at hand, and of all so far. */
struct naming {
    const struct week_level *led, *cause;
    int64_t complaint_id;
    bool is_led, is_cause;
    char store[LENGTH_CODE + 1];
    json_t *counts; /* by store */
};

static void end_complaint(struct naming *n)
{
    if (n->is_led && n->is_cause && n->store[0]) {
        json_int_t before = json_integer_value(json_object_get(n->counts, n->store));
        json_object_set_new(n->counts, n->store, json_integer(before + 1));
    }
    n->is_led = n->is_cause = false;
    n->store[0] = 0;
}

static int add_named(void *arg, const struct pattern_part *row)
{
    struct naming *n = arg;
    if (row->complaint_id != n->complaint_id)
        end_complaint(n);
    n->complaint_id = row->complaint_id;
    n->is_cause |= week_data_is_of(n->cause, row) && 2 * (double)row->n >= PATTERN_MILLION;
    n->is_led |= week_data_is_of(n->led, row);
    if (strcmp(row->factor, "store") == 0)
        text_clip(row->level, n->store, sizeof n->store);
    return 0;
}

/* [{"store", "complaints"}], the most named first; one complaint singles out no store. */
static json_t *most_named(json_t *counts)
{
    json_t *out = json_array(), *count;
    const char *store;
    json_object_foreach(counts, store, count)
    {
        size_t at = 0;
        while (at < json_array_size(out) &&
               json_integer_value(json_object_get(json_array_get(out, at), "complaints")) >=
                   json_integer_value(count))
            at++;
        if (json_integer_value(count) > 1 && at < STORES_SAID)
            json_array_insert_new(out, at,
                                  json_pack("{s:s, s:O}", "store", store, "complaints", count));
    }
    while (json_array_size(out) > STORES_SAID)
        json_array_remove(out, STORES_SAID);
    return out;
}

int week_stores(struct store *store, const struct pattern_scope *scope,
                const struct week_stores_of *of, json_t **ret, struct error *err)
{
    struct naming n = {.led = of->led, .cause = of->cause, .counts = json_object()};
    int rc = pattern_span_parts(store, scope, add_named, &n, err);
    end_complaint(&n);
    *ret = rc ? NULL : most_named(n.counts);
    json_decref(n.counts);
    return rc;
}

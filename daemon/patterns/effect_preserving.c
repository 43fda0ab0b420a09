#include "patterns/effect_preserving.h"
#include "base/jsonx.h"
#include <math.h>

static const double MOVED = 0.2; /* less is a week's mix of products */

struct adding {
    json_t *shares; /* ingredient -> share of the units */
    double units;
};

static int add(void *arg, const struct evidence_share *row)
{
    struct adding *a = arg;
    double share = json_number_value(json_object_get(a->shares, row->level));
    json_object_set_new(a->shares, row->level,
                        json_real(share + (double)row->units / fmax(a->units, 1)));
    return 0;
}

static void set(json_t *all, const char *ingredient, const char *side, double share)
{
    json_t *one = json_object_get(all, ingredient);
    if (!one) {
        one = json_pack("{s:s, s:f, s:f}", "ingredient", ingredient, "before", 0.0, "after", 0.0);
        json_object_set_new(all, ingredient, one);
    }
    json_object_set_new(one, side, jsonx_rounded(share, 3));
}

static json_t *moved(json_t *before, json_t *after)
{
    json_t *all = json_object(), *list = json_array(), *value;
    const char *ingredient;
    json_object_foreach(before, ingredient, value)
    {
        set(all, ingredient, "before", json_number_value(value));
    }
    json_object_foreach(after, ingredient, value)
    {
        set(all, ingredient, "after", json_number_value(value));
    }
    json_object_foreach(all, ingredient, value)
    {
        double was = json_number_value(json_object_get(value, "before"));
        double is = json_number_value(json_object_get(value, "after"));
        if (fabs(is - was) >= MOVED)
            json_array_append(list, value);
    }
    json_decref(all);
    return list;
}

int effect_preserving_json(struct store *store, const struct effect_preserving *query, json_t **ret,
                           struct error *err)
{
    struct adding before = {json_object(), query->units_before};
    struct adding after = {json_object(), query->units_after};
    int rc = evidence_preserving(store, query->before, &query->line, add, &before, err);
    if (!rc)
        rc = evidence_preserving(store, query->after, &query->line, add, &after, err);
    /* of one side nothing is told, so nothing of a change */
    bool told = json_object_size(before.shares) && json_object_size(after.shares);
    if (!rc)
        *ret = told ? moved(before.shares, after.shares) : json_array();
    json_decref(before.shares);
    json_decref(after.shares);
    return rc;
}

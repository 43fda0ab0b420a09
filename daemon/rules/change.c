#include "rules/change.h"
#include <assert.h>
#include <math.h>
#include <stddef.h>
#include <string.h>

#define MEMBER(name) offsetof(struct lot_conditions, name)
#define COUNT(table) ((int)(sizeof(table) / sizeof(table)[0]))

/* Parts of a lot: numbers, and two that are more than numbers. */
static const struct {
    const char *word;
    size_t members[5]; /* 0 ends: no number stands at the start */
} PARTS[] = {
    {"dose", {0}},
    {"storage", {0}},
    {"ph", {MEMBER(crumb_ph)}},
    {"water", {MEMBER(crumb_aw), MEMBER(crumb_moisture_pct)}},
    {"packing",
     {MEMBER(core_at_pack_c), MEMBER(cool_min), MEMBER(cooler_air_c), MEMBER(pack_room_c)}},
    {"baking", {MEMBER(bake_min), MEMBER(core_end_bake_c), MEMBER(enzyme_min)}},
    {"softener", {MEMBER(softener_ratio)}},
    {"leaks", {MEMBER(leaks)}},
    {"spores", {MEMBER(spores_per_pack), MEMBER(aerobic_spores_cfu_g)}},
};
enum { PART_DOSE, PART_STORAGE };

static const struct number {
    const char *name;
    size_t member;
} NUMBERS[CHANGE_NUMBERS] = {
    {"core_at_pack_c", MEMBER(core_at_pack_c)},
    {"crumb_ph", MEMBER(crumb_ph)},
    {"crumb_aw", MEMBER(crumb_aw)},
    {"crumb_moisture_pct", MEMBER(crumb_moisture_pct)},
    {"softener_ratio", MEMBER(softener_ratio)},
    {"leaks", MEMBER(leaks)},
    {"core_end_bake_c", MEMBER(core_end_bake_c)},
    {"bake_min", MEMBER(bake_min)},
    {"cool_min", MEMBER(cool_min)},
    {"enzyme_min", MEMBER(enzyme_min)},
    {"spores_per_pack", MEMBER(spores_per_pack)},
    {"aerobic_spores_cfu_g", MEMBER(aerobic_spores_cfu_g)},
};

enum { TIMES_DOSE, TIMES_SPORES, TIMES_SOFTENER };
static const char *const TIMES[] = {"dose", "spores", "softener"};

static double *number_at(struct lot_conditions *lot, size_t member)
{
    assert(member < sizeof *lot);
    return (double *)(void *)((char *)lot + member);
}

/* ---- applying ---- */

static void take_dose(const struct lot_conditions *made, struct lot_conditions *ret)
{
    if (made->doses_known) {
        memcpy(ret->doses, made->doses, sizeof ret->doses);
        ret->dose_count = made->dose_count;
        ret->doses_known = true;
    }
    ret->propionate_mg_kg = made->propionate_mg_kg;
}

static void take_storage(const struct lot_conditions *made, struct lot_conditions *ret)
{
    if (made->segment_count) {
        memcpy(ret->segments, made->segments, sizeof ret->segments);
        ret->segment_count = made->segment_count;
    }
}

static void take_part(const struct lot_conditions *made, int part, struct lot_conditions *ret)
{
    struct lot_conditions from = *made;
    if (part == PART_DOSE)
        take_dose(made, ret);
    if (part == PART_STORAGE)
        take_storage(made, ret);
    for (int m = 0; m < COUNT(PARTS[part].members) && PARTS[part].members[m]; m++) {
        double value = *number_at(&from, PARTS[part].members[m]);
        if (!isnan(value))
            *number_at(ret, PARTS[part].members[m]) = value;
    }
}

void change_apply(const struct change *change, const struct lot_conditions *made,
                  const struct lot_conditions *specified, struct lot_conditions *ret)
{
    *ret = *specified;
    if (!change)
        return;
    for (int part = 0; part < COUNT(PARTS); part++)
        if (change->recorded & 1U << part)
            take_part(made, part, ret);
    for (int i = 0; i < CHANGE_NUMBERS; i++)
        if (!isnan(change->set[i]))
            *number_at(ret, NUMBERS[i].member) = change->set[i];
    for (size_t i = 0; i < ret->dose_count; i++)
        ret->doses[i].dose_pct_flour *= change->times[TIMES_DOSE];
    ret->spores_factor *= change->times[TIMES_SPORES];
    if (change->times[TIMES_SOFTENER] != 1)
        ret->softener_ratio =
            (isnan(ret->softener_ratio) ? 1 : ret->softener_ratio) * change->times[TIMES_SOFTENER];
    if (!isnan(change->kept_c)) {
        ret->segments[0] = (struct mold_segment){24, change->kept_c};
        ret->segment_count = 1;
    }
}

static bool same(double a, double b)
{
    return a == b || (isnan(a) && isnan(b));
}

bool change_equal(const struct change *a, const struct change *b)
{
    bool equal = a->recorded == b->recorded && same(a->kept_c, b->kept_c);
    for (int i = 0; i < CHANGE_NUMBERS; i++)
        equal = equal && same(a->set[i], b->set[i]);
    for (int i = 0; i < COUNT(TIMES); i++)
        equal = equal && same(a->times[i], b->times[i]);
    return equal;
}

/* ---- reading ---- */

static const char *read_recorded(const json_t *words, struct change *ret)
{
    if (!json_is_array(words))
        return "must be a list";
    for (size_t i = 0; i < json_array_size(words); i++) {
        const char *word = json_string_value(json_array_get(words, i));
        int part = 0;
        while (word && part < COUNT(PARTS) && strcmp(PARTS[part].word, word) != 0)
            part++;
        if (!word || part == COUNT(PARTS))
            return "no such part of a lot (dose ph water packing baking storage softener leaks "
                   "spores)";
        ret->recorded |= 1U << part;
    }
    return NULL;
}

static double *number_of(struct change *change, const char *name)
{
    for (int i = 0; i < CHANGE_NUMBERS; i++)
        if (strcmp(NUMBERS[i].name, name) == 0)
            return &change->set[i];
    return NULL;
}

static double *factor_of(struct change *change, const char *name)
{
    for (int i = 0; i < COUNT(TIMES); i++)
        if (strcmp(TIMES[i], name) == 0)
            return &change->times[i];
    return NULL;
}

static const char *read_numbers(const json_t *object,
                                double *(*slot_of)(struct change *, const char *),
                                struct change *ret, const char **ret_member)
{
    const char *name;
    json_t *value;
    if (!json_is_object(object))
        return "must be an object";
    json_object_foreach((json_t *)object, name, value)
    {
        double *slot = slot_of(ret, name);
        *ret_member = name;
        if (!slot)
            return "no such thing to change";
        if (!json_is_number(value) || !(json_number_value(value) >= 0))
            return "must be a number that is not negative";
        *slot = json_number_value(value);
    }
    return NULL;
}

static const char *read_member(const char *name, const json_t *value, struct change *ret,
                               const char **ret_member)
{
    if (strcmp(name, "recorded") == 0)
        return read_recorded(value, ret);
    if (strcmp(name, "set") == 0)
        return read_numbers(value, number_of, ret, ret_member);
    if (strcmp(name, "times") == 0)
        return read_numbers(value, factor_of, ret, ret_member);
    if (strcmp(name, "kept_c") != 0)
        return "no such change (recorded, set, times, kept_c)";
    if (!json_is_number(value) || !(fabs(json_number_value(value)) <= 60))
        return "must be a temperature from -60 to 60";
    ret->kept_c = json_number_value(value);
    return NULL;
}

const char *change_read(const json_t *written, struct change *ret, const char **ret_member)
{
    const char *name;
    json_t *value;
    *ret = (struct change){.times = {1, 1, 1}, .kept_c = NAN, .written = written};
    for (int i = 0; i < CHANGE_NUMBERS; i++)
        ret->set[i] = NAN;
    *ret_member = "";
    if (!json_is_object(written))
        return "must be an object";
    json_object_foreach((json_t *)written, name, value)
    {
        *ret_member = name;
        const char *fault = read_member(name, value, ret, ret_member);
        if (fault)
            return fault;
    }
    return NULL;
}

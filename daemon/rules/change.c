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
    if (made->doses_known)
        lot_conditions_take_doses(ret, made);
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
    for (size_t i = 0; i < ret->spray_count; i++)
        ret->sprays[i].dose_pct_flour *= change->times[TIMES_DOSE];
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

static void read_part(const struct doc_place *place, void *change)
{
    const char *word = json_string_value(place->value);
    int part = 0;
    while (word && part < COUNT(PARTS) && strcmp(PARTS[part].word, word) != 0)
        part++;
    if (!word || part == COUNT(PARTS))
        doc_fault(place, "no such part of a lot (dose ph water packing baking storage softener "
                         "leaks spores)");
    else
        ((struct change *)change)->recorded |= 1U << part;
}

static void read_number(const struct doc_place *place, double *slot)
{
    static const struct doc_row NUMBER = {
        .kind = DOC_NUMBER, .size = sizeof(double), .low = 0, .high = INFINITY};
    if (slot)
        doc_value(place, &NUMBER, slot);
    else
        doc_fault(place, "no such thing to change");
}

static void read_set(const struct doc_place *place, void *change)
{
    int i = 0;
    while (i < CHANGE_NUMBERS && strcmp(NUMBERS[i].name, place->name) != 0)
        i++;
    read_number(place, i < CHANGE_NUMBERS ? &((struct change *)change)->set[i] : NULL);
}

static void read_times(const struct doc_place *place, void *change)
{
    int i = 0;
    while (i < COUNT(TIMES) && strcmp(TIMES[i], place->name) != 0)
        i++;
    read_number(place, i < COUNT(TIMES) ? &((struct change *)change)->times[i] : NULL);
}

bool change_read(const struct doc_place *place, struct change *ret)
{
    static const struct doc_row ROWS[] = {
        {"recorded", DOC_LIST, .each = read_part},
        {"set", DOC_MAP, .each = read_set},
        {"times", DOC_MAP, .each = read_times},
        {"kept_c", DOC_NUMBER, DOC_AT(struct change, kept_c), -60, 60},
        {0}};
    *ret = (struct change){.times = {1, 1, 1}, .kept_c = NAN, .written = place->value};
    for (int i = 0; i < CHANGE_NUMBERS; i++)
        ret->set[i] = NAN;
    return doc_read(place, ROWS, ret);
}

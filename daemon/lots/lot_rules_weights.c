#include "base/jsonx.h"
#include "lots/lot_rules.h"
#include <math.h>
#include <stddef.h>
#include <string.h>

struct number_row {
    const char *name;
    size_t offset;
    double low, high;
};

static void read_numbers(struct lot_rules *r, const json_t *object, const char *pointer,
                         const struct number_row *rows, size_t count, void *into)
{
    for (size_t i = 0; i < count; i++) {
        double *value = (double *)(void *)((char *)into + rows[i].offset);
        lot_rules_number(r, object, pointer, rows[i].name, rows[i].low, rows[i].high, value);
    }
}

static void fault(struct lot_rules *r, const char *pointer, const char *value, const char *text)
{
    struct error why = {0};
    error_set(&why, ERROR_INVALID, "%s", text);
    lot_rules_fault(r, pointer, value, &why);
}

#define RATE(member)                                                                               \
    {                                                                                              \
#member, offsetof(struct reading_rates, member), 0, 0.3                                    \
    }

static void read_quality(struct lot_rules *r, const json_t *reading, const char *name, size_t at)
{
    static const struct number_row ROWS[] = {
        {"share", offsetof(struct reading_rates, share), 0, 1},
        RATE(confused),
        RATE(other),
        RATE(dropped),
        RATE(doubled),
        RATE(extra),
        RATE(swapped),
    };
    static const char *const KNOWN[] = {"share",   "confused", "other",   "dropped",
                                        "doubled", "extra",    "swapped", NULL};
    char pointer[LOT_RULES_POINTER];
    const json_t *rates = lot_rules_object(r, reading, "/reading", name);
    lot_rules_at("/reading", name, pointer);
    lot_rules_only(r, rates, pointer, KNOWN);
    read_numbers(r, rates, pointer, ROWS, sizeof ROWS / sizeof ROWS[0],
                 &r->matcher->reading.quality[at]);
}

static void read_alike(struct lot_rules *r, const json_t *reading)
{
    static const char *const KNOWN[] = {"letters", "times", NULL};
    const json_t *alike = lot_rules_array(r, reading, "/reading", "alike", 200);
    if (!alike)
        return;
    memset(r->matcher->reading.alike, 0, sizeof r->matcher->reading.alike);
    for (size_t i = 0; i < json_array_size(alike); i++) {
        char pointer[LOT_RULES_POINTER];
        double times = 1;
        const json_t *pair = json_array_get(alike, i);
        lot_rules_at_index("/reading/alike", i, pointer);
        lot_rules_only(r, pair, pointer, KNOWN);
        const char *letters = lot_rules_text(r, pair, pointer, "letters", true);
        lot_rules_number(r, pair, pointer, "times", 0, 20, &times);
        if (letters && !reading_set_alike(&r->matcher->reading, letters, times))
            fault(r, pointer, letters, "must be capital letters and digits");
    }
}

void lot_rules_reading(struct lot_rules *r, const json_t *reading)
{
    static const struct number_row ROWS[] = {
        {"part_missing", offsetof(struct reading, part_missing), 0, 0.3},
        {"head_missing", offsetof(struct reading, head_missing), 0, 0.3},
        {"tail_missing", offsetof(struct reading, tail_missing), 0, 0.3},
        {"letter_missing", offsetof(struct reading, letter_missing), 0, 0.3},
        {"junk", offsetof(struct reading, junk), 0, 0.3},
    };
    static const char *const KNOWN[] = {
        "because",      "source",       "clear",          "smudged", "alike", "part_missing",
        "head_missing", "tail_missing", "letter_missing", "junk",    NULL};
    struct reading *into = &r->matcher->reading;
    if (!reading)
        return;
    lot_rules_only(r, reading, "/reading", KNOWN);
    read_quality(r, reading, "clear", 0);
    read_quality(r, reading, "smudged", 1);
    read_numbers(r, reading, "/reading", ROWS, sizeof ROWS / sizeof ROWS[0], into);
    read_alike(r, reading);
    if (fabs(into->quality[0].share + into->quality[1].share - 1) > 1e-9 ||
        into->quality[0].share <= 0)
        fault(r, "/reading/smudged/share", NULL, "the shares of clear and smudged must sum to 1");
    if (!reading_is_sound(into))
        fault(r, "/reading", NULL,
              "some character would be misread more often than not: lower the rates");
}

#define CHANCE(member)                                                                             \
    {                                                                                              \
#member, offsetof(struct agreement, member), 1e-6, 0.5                                     \
    }

static void read_reported(struct lot_rules *r, const json_t *agreement)
{
    static const char *const KNOWN[] = {"age", "weight", NULL};
    struct agreement *into = &r->matcher->agreement;
    const json_t *points =
        lot_rules_array(r, agreement, "/agreement", "reported", AGREEMENT_POINTS);
    if (!points)
        return;
    into->reported_count = json_array_size(points);
    if (into->reported_count < 2)
        fault(r, "/agreement/reported", NULL, "at least two points are wanted");
    for (size_t i = 0; i < into->reported_count; i++) {
        char pointer[LOT_RULES_POINTER];
        const json_t *point = json_array_get(points, i);
        lot_rules_at_index("/agreement/reported", i, pointer);
        lot_rules_only(r, point, pointer, KNOWN);
        double age = NAN, weight = NAN;
        lot_rules_number(r, point, pointer, "age", 0, 1000, &age);
        lot_rules_number(r, point, pointer, "weight", 0, 1, &weight);
        if (isnan(age) || isnan(weight))
            fault(r, pointer, NULL, "a point has an age and a weight");
        else if (i && age <= into->reported[i - 1].age)
            fault(r, pointer, NULL, "ages must grow from point to point");
        into->reported[i].age = age;
        into->reported[i].weight = weight;
    }
}

void lot_rules_agreement(struct lot_rules *r, const json_t *agreement)
{
    static const struct number_row ROWS[] = {
        CHANCE(unrecorded),
        CHANCE(wrong_pack),
        CHANCE(product_wrong),
        CHANCE(scanned_wrong),
        CHANCE(store_wrong),
        CHANCE(bought_wrong),
        CHANCE(bought_late),
        CHANCE(found_wrong),
        {"code_date_day_off", offsetof(struct agreement, code_date_day_off), 0, 0.1},
        {"code_date_week_off", offsetof(struct agreement, code_date_week_off), 0, 0.1},
        {"code_date_swapped", offsetof(struct agreement, code_date_swapped), 0, 0.1},
        {"code_date_year_off", offsetof(struct agreement, code_date_year_off), 0, 0.1},
        {"code_date_wrong", offsetof(struct agreement, code_date_wrong), 1e-6, 0.3},
        {"code_date_spread_days", offsetof(struct agreement, code_date_spread_days), 5, 400},
        {"settled_at", offsetof(struct agreement, settled_at), 0.5, 1},
    };
    static const char *const KNOWN[] = {"because",
                                        "source",
                                        "reported",
                                        "unrecorded",
                                        "wrong_pack",
                                        "product_wrong",
                                        "scanned_wrong",
                                        "store_wrong",
                                        "bought_wrong",
                                        "bought_late",
                                        "found_wrong",
                                        "code_date_day_off",
                                        "code_date_week_off",
                                        "code_date_swapped",
                                        "code_date_year_off",
                                        "code_date_wrong",
                                        "code_date_spread_days",
                                        "settled_at",
                                        NULL};
    if (!agreement)
        return;
    lot_rules_only(r, agreement, "/agreement", KNOWN);
    read_numbers(r, agreement, "/agreement", ROWS, sizeof ROWS / sizeof ROWS[0],
                 &r->matcher->agreement);
    const struct agreement *into = &r->matcher->agreement;
    if (into->bought_wrong + into->bought_late >= 1)
        fault(r, "/agreement/bought_late", NULL, "with bought_wrong it must stay below 1");
    read_reported(r, agreement);
}

#include "rules/vocabulary.h"
#include "base/near.h"
#include "base/text.h"
#include "rules/catalogue.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define EACH_MATERIAL "flour", "inhibitor", "softener", "acid", "yeast", "fat", "film", "closure"
static const char *const MATERIAL_NAMES[MATERIALS] = {EACH_MATERIAL};

static const struct field_word YES_NO[] = {{"yes", NULL, NULL}, {"no", NULL, NULL}, {0}};
static const struct field_word SEASONS[] = {{"winter", NULL, NULL},
                                            {"spring", NULL, NULL},
                                            {"summer", NULL, NULL},
                                            {"autumn", NULL, NULL},
                                            {0}};

/* What is worked out of a complaint; what it says itself are its fields. */
static const struct {
    const char *name;
    const struct field_word *words; /* NULL: a number */
} SEEN[SEEN_CODES] = {
    [SEEN_SEASON] = {"season", SEASONS},
    [SEEN_AGE_DAYS] = {"age_days", NULL},
    [SEEN_RECEIVED_AGE_DAYS] = {"received_age_days", NULL},
    [SEEN_DAYS_PAST_CODE] = {"days_past_code", NULL},
    [SEEN_BOUGHT_LIFE_SHARE] = {"bought_life_share", NULL},
    [SEEN_DAYS_AT_HOME] = {"days_at_home", NULL},
    [SEEN_PACKS] = {"packs", NULL},
};

static const struct {
    const char *name;
    int code;
    bool words;
} LOT_FACTS[] = {
    {"family", LOT_FAMILY, true},
    {"line", LOT_LINE, true},
    {"shift", LOT_SHIFT, true},
    {"product", LOT_PRODUCT, true},
    {"units", LOT_UNITS, false},
    {"pack_hours", LOT_PACK_HOURS, false},
    {"sorbate_used", LOT_SORBATE_USED, false},
};

static const struct {
    const char *name;
    int code;
} DISPATCH_FACTS[] = {
    {"transit_c", DISPATCH_TRANSIT},
    {"transit_c.max", DISPATCH_TRANSIT_MAX},
    {"days_in_trade", DISPATCH_DAYS_IN_TRADE},
    {"dispatch_delay_h", DISPATCH_DELAY_H},
};

static const char *const FACTOR_NAMES[FACTORS] = {
    "lot",         "line",     "line_hour", "shift", "product", "mix", "plant",
    EACH_MATERIAL, "supplier", "route",     "store", "window",  "any", "mold",
};

static const char *const MODEL_NAMES[MODELS] = {
    "mold_age",   "stale_age",       "rope_age",         "condensate_g",   "mold_free_days",
    "odor_ratio", "odor_warm_ratio", "enzyme_min_ratio", "firmness_ratio", "gummy_share",
    "rope_share", "acid_mmol_l",     "acid_ratio",
};

/* Computed from mixes and uses; whatever else is measured stands in rules/quantities.json. */
static const struct {
    const char *name, *unit, *title; /* title NULL: as rules/quantities.json has it */
} COMPUTED[] = {
    {"inhibitor_pct_flour", "%", NULL},
    {"inhibitor_weighed_pct_flour", "%", "Inhibitor dose as weighed"},
    {"inhibitor_active_pct_flour", "%", "Active inhibitor dose"},
    {"inhibitor_active_pct", "%", "Inhibitor's active share"},
    {"inhibitor_unrecorded_share", "1", "Share of the mixes without inhibitor on record"},
    {"softener_unrecorded_share", "1", "Share of the mixes without softener on record"},
    {"softener_pct_flour", "%", NULL},
    {"acid_pct_flour", "%", "Acid dose"},
    {"yeast_pct_flour", "%", "Yeast dose"},
    {"fat_pct_flour", "%", "Fat dose"},
};

struct vocabulary {
    struct catalogue *catalogue;
};

const char *symptom_name(int symptom)
{
    return symptom >= 0 && symptom < SYMPTOMS ? fields_find("symptom")->words[symptom].word : "";
}

static int find_in(const char *const *names, int count, const char *name)
{
    for (int i = 0; name && i < count; i++)
        if (strcmp(names[i], name) == 0)
            return i;
    return -1;
}

int symptom_of(const char *name)
{
    const struct field_word *words = fields_find("symptom")->words;
    const struct field_word *found = name ? fields_word(words, name) : NULL;
    return found && found - words < SYMPTOMS ? (int)(found - words) : -1;
}

const char *material_name(int material)
{
    return MATERIAL_NAMES[material];
}

int material_of(const char *name)
{
    return find_in(MATERIAL_NAMES, MATERIALS, name);
}

const char *vocabulary_word(const struct fact_name *fact, const char *word)
{
    const struct field_word *found = fields_word(fact->allowed, word);
    return found ? found->word : NULL;
}

/* ---- quantities and places ---- */

struct vocabulary *vocabulary_new(const struct catalogue *catalogue)
{
    struct vocabulary *v = xcalloc(1, sizeof *v);
    v->catalogue = catalogue_ref(catalogue);
    return v;
}

void vocabulary_free(struct vocabulary *v)
{
    if (!v)
        return;
    catalogue_free(v->catalogue);
    free(v);
}

/* Index into COMPUTED, -1. */
static int computed(const char *quantity)
{
    for (size_t i = 0; i < sizeof COMPUTED / sizeof COMPUTED[0]; i++)
        if (strcmp(COMPUTED[i].name, quantity) == 0)
            return (int)i;
    return -1;
}

bool vocabulary_place(const struct vocabulary *v, const char *place)
{
    return catalogue_place(v->catalogue, place) != NULL;
}

bool vocabulary_quantity(const struct vocabulary *v, const char *quantity)
{
    return catalogue_quantity(v->catalogue, quantity) || computed(quantity) >= 0;
}

const char *vocabulary_unit(const struct vocabulary *v, const char *quantity)
{
    const struct catalogue_quantity *loaded = catalogue_quantity(v->catalogue, quantity);
    int made = loaded ? -1 : computed(quantity);
    return loaded ? loaded->unit : made >= 0 ? COMPUTED[made].unit : "";
}

const char *vocabulary_quantity_title(const struct vocabulary *v, const char *quantity)
{
    const struct catalogue_quantity *loaded = catalogue_quantity(v->catalogue, quantity);
    int made = loaded ? -1 : computed(quantity);
    return loaded                              ? loaded->title
           : made >= 0 && COMPUTED[made].title ? COMPUTED[made].title
                                               : quantity;
}

const char *vocabulary_place_title(const struct vocabulary *v, const char *place)
{
    const struct catalogue_place *known = catalogue_place(v->catalogue, place);
    return known ? known->name : place;
}

/* ---- names of facts ---- */

static void take_seen(struct fact_name *ret, int code, const struct field_word *words)
{
    ret->kind = FACT_OBSERVATION;
    ret->code = code;
    ret->words = words != NULL;
    ret->allowed = words;
    ret->per_complaint = true;
}

static bool parse_seen(const char *name, struct fact_name *ret)
{
    ret->field = fields_fact(name);
    if (ret->field) {
        take_seen(ret, SEEN_FIELD, ret->field->type == FIELD_BOOL ? YES_NO : ret->field->words);
        return true;
    }
    for (int i = SEEN_FIELD + 1; i < SEEN_CODES; i++)
        if (strcmp(SEEN[i].name, name) == 0) {
            take_seen(ret, i, SEEN[i].words);
            return true;
        }
    return false;
}

static bool parse_lot(const char *name, struct fact_name *ret)
{
    for (size_t i = 0; i < sizeof LOT_FACTS / sizeof LOT_FACTS[0]; i++)
        if (strcmp(LOT_FACTS[i].name, name) == 0) {
            ret->kind = FACT_LOT;
            ret->code = LOT_FACTS[i].code;
            ret->words = LOT_FACTS[i].words;
            return true;
        }
    for (int m = 0; m < MATERIALS; m++) {
        char age[48];
        snprintf(age, sizeof age, "%s_lot_age_days", MATERIAL_NAMES[m]);
        if (strcmp(age, name) == 0) {
            ret->kind = FACT_LOT;
            ret->code = LOT_MATERIAL_AGE;
            ret->material = m;
            return true;
        }
    }
    return false;
}

static bool parse_dispatch(const char *name, struct fact_name *ret)
{
    for (size_t i = 0; i < sizeof DISPATCH_FACTS / sizeof DISPATCH_FACTS[0]; i++)
        if (strcmp(DISPATCH_FACTS[i].name, name) == 0) {
            ret->kind = FACT_DISPATCH;
            ret->code = DISPATCH_FACTS[i].code;
            ret->per_complaint = true;
            return true;
        }
    return false;
}

static bool parse_company(const struct vocabulary *v, const char *name, struct fact_name *ret)
{
    if (strncmp(name, "company.", 8) != 0)
        return false;
    const char *rest = name + 8;
    ret->kind = FACT_COMPANY;
    if (strncmp(rest, "window.", 7) == 0) {
        ret->code = FACTOR_WINDOW;
        if (strlen(rest + 7) > LENGTH_WORD)
            return false;
        text_clip(rest + 7, ret->place, sizeof ret->place);
        return vocabulary_place(v, ret->place);
    }
    ret->code = find_in(FACTOR_NAMES, FACTORS, rest);
    ret->per_complaint = ret->code == FACTOR_ROUTE || ret->code == FACTOR_STORE;
    return ret->code >= 0 && ret->code != FACTOR_WINDOW;
}

static bool parse_place(const struct vocabulary *v, const char *name, struct fact_name *ret)
{
    const char *dot = strchr(name, '.');
    if (!dot || (size_t)(dot - name) >= sizeof ret->place)
        return false;
    snprintf(ret->place, sizeof ret->place, "%.*s", (int)(dot - name), name);
    if (!vocabulary_place(v, ret->place))
        return false;
    ret->kind = FACT_PLACE;
    text_clip(dot + 1, ret->quantity, sizeof ret->quantity);
    static const struct {
        const char *name;
        int code;
    } OWN[] = {{"hours_since_cleaned", PLACE_HOURS_SINCE_CLEANED},
               {"cleaning_missed", PLACE_CLEANING_MISSED},
               {"days_since_filter", PLACE_DAYS_SINCE_FILTER}};
    for (size_t i = 0; i < sizeof OWN / sizeof OWN[0]; i++)
        if (strcmp(ret->quantity, OWN[i].name) == 0) {
            ret->code = OWN[i].code;
            return true;
        }
    ret->code = PLACE_LAST;
    char *suffix = strchr(ret->quantity, '.');
    if (suffix) {
        ret->code = strcmp(suffix, ".next") == 0   ? PLACE_NEXT
                    : strcmp(suffix, ".peak") == 0 ? PLACE_PEAK
                                                   : -1;
        *suffix = '\0';
    }
    return ret->code >= 0 && vocabulary_quantity(v, ret->quantity);
}

static bool parse_quantity(const struct vocabulary *v, const char *name, struct fact_name *ret)
{
    text_clip(name, ret->quantity, sizeof ret->quantity);
    ret->place[0] = '\0'; /* it may look like a place's until its dot is read */
    ret->kind = FACT_QUANTITY;
    ret->part = PART_MEDIAN;
    char *suffix = strchr(ret->quantity, '.');
    if (suffix) {
        if (strcmp(suffix, ".min") == 0)
            ret->part = PART_MIN;
        else if (strcmp(suffix, ".max") == 0)
            ret->part = PART_MAX;
        else
            return false;
        *suffix = '\0';
    }
    const struct catalogue_quantity *loaded = catalogue_quantity(v->catalogue, ret->quantity);
    ret->allowed = loaded ? loaded->words : NULL;
    ret->words = ret->allowed != NULL;
    return vocabulary_quantity(v, ret->quantity) && !(ret->words && suffix);
}

static bool parse_model(const char *name, struct fact_name *ret)
{
    if (strncmp(name, "model.", 6) != 0)
        return false;
    ret->kind = FACT_MODEL;
    ret->per_complaint = true;
    ret->code = find_in(MODEL_NAMES, MODELS, name + 6);
    return ret->code >= 0;
}

/* The fact that may be meant; a name of the rules or of the fields. */
static const char *near_fact(const struct vocabulary *v, const char *name)
{
    const struct catalogue_place *places;
    struct near near = near_to(name);
    int count = catalogue_places(v->catalogue, &places);
    for (const struct field *f = fields_all(); f->name; f++)
        if (fields_fact(fields_leaf(f)))
            near_try(&near, fields_leaf(f));
    for (int i = SEEN_FIELD + 1; i < SEEN_CODES; i++)
        near_try(&near, SEEN[i].name);
    for (size_t i = 0; i < sizeof LOT_FACTS / sizeof LOT_FACTS[0]; i++)
        near_try(&near, LOT_FACTS[i].name);
    for (int i = 0; i < count; i++)
        near_try(&near, places[i].place);
    for (int i = 0; catalogue_quantity_at(v->catalogue, i); i++)
        near_try(&near, catalogue_quantity_at(v->catalogue, i)->name);
    return near.word;
}

int vocabulary_fact(const struct vocabulary *v, const char *name, struct fact_name *ret,
                    struct error *err)
{
    struct fact_name fact = {0};
    if (strlen(name) < sizeof fact.text) {
        snprintf(fact.text, sizeof fact.text, "%s", name);
        if (parse_seen(name, &fact) || parse_lot(name, &fact) || parse_dispatch(name, &fact) ||
            parse_company(v, name, &fact) || parse_model(name, &fact)) {
            *ret = fact;
            return 0;
        }
        fact.per_complaint = false;
        if (parse_place(v, name, &fact) || parse_quantity(v, name, &fact)) {
            *ret = fact;
            return 0;
        }
    }
    const struct near near = {.word = err ? near_fact(v, name) : NULL};
    error_set(err, ERROR_INVALID, "no such fact");
    error_field(err, "fact", name);
    near_hint(&near, "", err);
    return ERROR_INVALID;
}

#include "rules/vocabulary.h"
#include "base/text.h"
#include "base/units.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char *const MATERIAL_NAMES[MATERIALS] = {"flour", "inhibitor", "softener", "acid",
                                                      "yeast", "fat",       "film",     "closure"};

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
    {"family", LOT_FAMILY, true}, {"line", LOT_LINE, true},
    {"shift", LOT_SHIFT, true},   {"product", LOT_PRODUCT, true},
    {"units", LOT_UNITS, false},  {"pack_hours", LOT_PACK_HOURS, false},
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
    "lot",     "line",      "line_hour", "shift", "product", "mix", "plant",
    "flour",   "inhibitor", "softener",  "acid",  "yeast",   "fat", "film",
    "closure", "supplier",  "route",     "store", "window",  "any", "mold",
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

/* The unit that the end of a quantity's name promises. */
static const struct {
    const char *suffix, *unit;
} SUFFIXES[] = {
    {"_c", "degC"},      {"_pct", "%"},         {"_pct_flour", "%"},   {"_ppm", "ppm"},
    {"_kg", "kg"},       {"_g", "g"},           {"_min", "min"},       {"_h", "h"},
    {"_days", "d"},      {"_pa", "Pa"},         {"_ph", "pH"},         {"_aw", "1"},
    {"_cfu", "cfu"},     {"_cfu_g", "cfu/g"},   {"_cfu_m3", "cfu/m3"}, {"_rlu", "RLU"},
    {"_grain", "grain"}, {"_mmol_l", "mmol/L"}, {"_f", "degF"},        {"_lb", "lb"},
};

struct named {
    char *name, *unit, *title; /* title: in words, "" if none is given */
};
struct vocabulary {
    struct named *quantities, *places;
    int quantity_count, place_count;
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
    return found ? (int)(found - words) : -1;
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

/* ---- loading ---- */

static const struct named *find_named(const struct named *list, int count, const char *name)
{
    for (int i = 0; i < count; i++)
        if (strcmp(list[i].name, name) == 0)
            return &list[i];
    return NULL;
}

static void add_named(struct named **list, int *count, const char *name, const char *unit,
                      const char *title)
{
    if (!name || !*name || find_named(*list, *count, name))
        return;
    *list = xrealloc(*list, (size_t)(*count + 1) * sizeof **list);
    (*list)[(*count)++] =
        (struct named){xstrdup(name), xstrdup(unit ? unit : ""), xstrdup(title ? title : "")};
}

static bool same_unit(const char *a, const char *b)
{
    double one = 0;
    return strcmp(a, b) == 0 || (units_convert(1, a, b, &one, NULL) == 0 && one == 1);
}

/* "core_at_pack_c" in percent: a rule's curve and a reader would take it for degrees. */
static void check_suffix(const struct doc_place *one, const char *name)
{
    struct doc_place place = doc_member(one, "unit");
    const char *unit = json_string_value(place.value);
    size_t length = strlen(name), longest = 0, found = 0;
    for (size_t i = 0; i < sizeof SUFFIXES / sizeof SUFFIXES[0]; i++) {
        size_t n = strlen(SUFFIXES[i].suffix);
        if (n > longest && n < length && strcmp(name + length - n, SUFFIXES[i].suffix) == 0) {
            longest = n;
            found = i;
        }
    }
    if (longest && unit && !same_unit(unit, SUFFIXES[found].unit))
        doc_fault(&place, "a name that ends in %s is of %s", SUFFIXES[found].suffix,
                  SUFFIXES[found].unit);
}

static void add_one(const struct doc_place *one, const char *self, struct named **list, int *count)
{
    const char *name = json_string_value(json_object_get(one->value, self));
    const char *title = json_string_value(json_object_get(one->value, "title"));
    if (!title)
        title = json_string_value(json_object_get(one->value, "name"));
    if (!name)
        return; /* what the whole row must be the catalogue checks (rules/catalogue.h) */
    check_suffix(one, name);
    add_named(list, count, name, json_string_value(json_object_get(one->value, "unit")), title);
}

/* The rows of DIR/KEY.json, each of which names itself by its member `self`. */
static void load_names(struct doc *doc, const char *dir, const char *key, const char *self,
                       struct named **list, int *count)
{
    struct text_buffer name = {0}, path = {0};
    text_appendf(&name, "%s.json", key);
    doc_path(dir, name.data, &path);
    if (doc_open(doc, path.data, true) == 0) {
        struct doc_place top = doc_top(doc), all = doc_member(&top, key);
        for (size_t i = 0; i < json_array_size(all.value); i++) {
            struct doc_place one = doc_element(&all, i);
            add_one(&one, self, list, count);
        }
    }
    doc_close(doc);
    text_buffer_free(&path);
    text_buffer_free(&name);
}

struct vocabulary *vocabulary_load(struct doc *doc, const char *dir)
{
    struct vocabulary *v = xcalloc(1, sizeof *v);
    load_names(doc, dir, "quantities", "quantity", &v->quantities, &v->quantity_count);
    load_names(doc, dir, "places", "place", &v->places, &v->place_count);
    for (size_t i = 0; i < sizeof COMPUTED / sizeof COMPUTED[0]; i++)
        add_named(&v->quantities, &v->quantity_count, COMPUTED[i].name, COMPUTED[i].unit,
                  COMPUTED[i].title);
    return v;
}

static void free_named(struct named *list, int count)
{
    for (int i = 0; i < count; i++) {
        free(list[i].name);
        free(list[i].unit);
        free(list[i].title);
    }
    free(list);
}

void vocabulary_free(struct vocabulary *v)
{
    if (!v)
        return;
    free_named(v->quantities, v->quantity_count);
    free_named(v->places, v->place_count);
    free(v);
}

bool vocabulary_place(const struct vocabulary *v, const char *place)
{
    return find_named(v->places, v->place_count, place) != NULL;
}

bool vocabulary_quantity(const struct vocabulary *v, const char *quantity)
{
    return find_named(v->quantities, v->quantity_count, quantity) != NULL;
}

const char *vocabulary_unit(const struct vocabulary *v, const char *quantity)
{
    const struct named *found = find_named(v->quantities, v->quantity_count, quantity);
    return found ? found->unit : "";
}

const char *vocabulary_quantity_title(const struct vocabulary *v, const char *quantity)
{
    const struct named *found = find_named(v->quantities, v->quantity_count, quantity);
    return found && *found->title ? found->title : quantity;
}

const char *vocabulary_place_title(const struct vocabulary *v, const char *place)
{
    const struct named *found = find_named(v->places, v->place_count, place);
    return found && *found->title ? found->title : place;
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
    return vocabulary_quantity(v, ret->quantity);
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
    error_set(err, ERROR_INVALID, "no such fact");
    error_field(err, "fact", name);
    return ERROR_INVALID;
}

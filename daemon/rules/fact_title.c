#include "rules/fact_title.h"
#include <ctype.h>
#include <stdio.h>
#include <string.h>

static const char *const SEEN_TITLES[SEEN_CODES] = {
    [SEEN_SEASON] = "Season",
    [SEEN_AGE_DAYS] = "Days after packing when found",
    [SEEN_RECEIVED_AGE_DAYS] = "Days after packing when reported",
    [SEEN_DAYS_PAST_CODE] = "Days past the code date",
    [SEEN_BOUGHT_LIFE_SHARE] = "Share of its shelf life gone when bought",
    [SEEN_DAYS_AT_HOME] = "Days from purchase until found",
    [SEEN_PACKS] = "Packs",
};

static const char *const LOT_TITLES[] = {
    [LOT_FAMILY] = "Kind of bread",
    [LOT_LINE] = "Line",
    [LOT_SHIFT] = "Shift",
    [LOT_PRODUCT] = "Product",
    [LOT_UNITS] = "Packs made",
    [LOT_PACK_HOURS] = "Hours of packing",
    [LOT_SORBATE_USED] = "Sorbate in its recipe, by the records",
};

static const char *const DISPATCH_TITLES[] = {
    [DISPATCH_TRANSIT] = "Temperature on the way",
    [DISPATCH_TRANSIT_MAX] = "Highest temperature on the way",
    [DISPATCH_DAYS_IN_TRADE] = "Days in trade",
    [DISPATCH_DELAY_H] = "Hours from packing to dispatch",
};

/* The material factors are made from material_name(). */
static const char *const FACTOR_TITLES[FACTORS] = {
    [FACTOR_LOT] = "Other complaints on this lot",
    [FACTOR_LINE] = "Complaints on the same line",
    [FACTOR_LINE_HOUR] = "Complaints on the same line in these hours",
    [FACTOR_SHIFT] = "Complaints on the same line and shift",
    [FACTOR_PRODUCT] = "Complaints on the same product",
    [FACTOR_MIX] = "Complaints on the same mixes",
    [FACTOR_PLANT] = "Complaints on all lines in these days",
    [FACTOR_SUPPLIER] = "Complaints on film of the same supplier",
    [FACTOR_ROUTE] = "Complaints on the same route",
    [FACTOR_STORE] = "Complaints from the same store",
    [FACTOR_WINDOW] = "Complaints between two cleanings",
    [FACTOR_ANY] = "Largest excess of complaints",
    [FACTOR_MOLD] = "Mold complaints on this lot and its line",
};

static const char *const MODEL_TITLES[MODELS] = {
    [MODEL_MOLD_AGE] = "Day the mold was found or reported, by the growth model",
    [MODEL_STALE_AGE] = "Day called stale, by the firming model",
    [MODEL_ROPE_AGE] = "Day of the smell, by the rope model",
    [MODEL_CONDENSATE_G] = "Water that could condense in the bag",
    [MODEL_MOLD_FREE_DAYS] = "Mold-free days predicted",
    [MODEL_ODOR_RATIO] = "Acid over its odor threshold, cold loaf",
    [MODEL_ODOR_WARM_RATIO] = "Acid over its odor threshold, warm loaf",
    [MODEL_ENZYME_MIN_RATIO] = "Enzyme's working time, of the target",
    [MODEL_FIRMNESS_RATIO] = "Firmness predicted, of fresh",
    [MODEL_GUMMY_SHARE] = "Gummy share predicted",
    [MODEL_ROPE_SHARE] = "Ropy share predicted",
    [MODEL_ACID_MMOL_L] = "Undissociated acid in the crumb's water",
    [MODEL_ACID_RATIO] = "Undissociated acid, of the specification",
};

static void quantity_title(const struct vocabulary *v, const struct fact_name *name, char *out)
{
    static const char *const PARTS[] = {
        [PART_MEDIAN] = "", [PART_MIN] = ", lowest", [PART_MAX] = ", highest"};
    snprintf(out, FACT_TITLE, "%s%s", vocabulary_quantity_title(v, name->quantity),
             PARTS[name->part]);
}

static void place_title(const struct vocabulary *v, const struct fact_name *name, char *out)
{
    const char *place = vocabulary_place_title(v, name->place);
    switch (name->code) {
    case PLACE_HOURS_SINCE_CLEANED:
        snprintf(out, FACT_TITLE, "%s: hours since cleaned", place);
        return;
    case PLACE_CLEANING_MISSED:
        snprintf(out, FACT_TITLE, "%s: cleanings missed", place);
        return;
    case PLACE_DAYS_SINCE_FILTER:
        snprintf(out, FACT_TITLE, "%s: days since the filter was changed", place);
        return;
    default:
        break;
    }
    const char *quantity = vocabulary_quantity_title(v, name->quantity);
    snprintf(out, FACT_TITLE, "%s: %c%s%s", place, tolower((unsigned char)quantity[0]),
             quantity + (*quantity != '\0'),
             name->code == PLACE_NEXT   ? ", next entry"
             : name->code == PLACE_PEAK ? ", highest of the week"
                                        : "");
}

static void company_title(const struct vocabulary *v, const struct fact_name *name, char *out)
{
    if (name->code == FACTOR_WINDOW)
        snprintf(out, FACT_TITLE, "%s: %s", FACTOR_TITLES[FACTOR_WINDOW],
                 vocabulary_place_title(v, name->place));
    else if (name->code >= FACTOR_FLOUR && name->code <= FACTOR_CLOSURE)
        snprintf(out, FACT_TITLE, "Complaints on the same lot of %s",
                 material_name(name->code - FACTOR_FLOUR));
    else
        snprintf(out, FACT_TITLE, "%s", FACTOR_TITLES[name->code]);
}

static void lot_title(const struct fact_name *name, char *out)
{
    if (name->code == LOT_MATERIAL_AGE)
        snprintf(out, FACT_TITLE, "Days the lot of %s was in use", material_name(name->material));
    else
        snprintf(out, FACT_TITLE, "%s", LOT_TITLES[name->code]);
}

const char *fact_title(const struct vocabulary *v, const struct fact_name *name,
                       char out[FACT_TITLE])
{
    switch (name->kind) {
    case FACT_OBSERVATION:
        snprintf(out, FACT_TITLE, "%s", name->field ? name->field->title : SEEN_TITLES[name->code]);
        break;
    case FACT_QUANTITY:
        quantity_title(v, name, out);
        break;
    case FACT_LOT:
        lot_title(name, out);
        break;
    case FACT_PLACE:
        place_title(v, name, out);
        break;
    case FACT_DISPATCH:
        snprintf(out, FACT_TITLE, "%s", DISPATCH_TITLES[name->code]);
        break;
    case FACT_COMPANY:
        company_title(v, name, out);
        break;
    case FACT_MODEL:
        snprintf(out, FACT_TITLE, "%s", MODEL_TITLES[name->code]);
        break;
    }
    return out;
}

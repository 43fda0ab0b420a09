#include "tell/law.h"
#include "base/text.h"
#include <math.h>

static const char DECIDES[] =
    "Local law and a licensed person decide; the plant puts its own limits into rules/limits.json.";

struct acid_told {
    const char *name;
    double mg_kg, most_mg_kg; /* NAN: no limit is named */
};

static void add_over(json_t *list, const struct law_way *way, const struct acid_told *acid,
                     const struct limit *limit)
{
    if (acid->mg_kg > acid->most_mg_kg)
        json_array_append_new(
            list, json_sprintf("ABOVE THE LIMIT %s: %.0f mg/kg of %s acid, where %.0f are the "
                               "most of %s (%s).",
                               way->way, acid->mg_kg, acid->name, acid->most_mg_kg, limit->what,
                               limit->source));
    else if (limit && acid->mg_kg > 0 && isnan(acid->most_mg_kg))
        json_array_append_new(
            list, json_sprintf("NO LIMIT IS ON RECORD %s for %.0f mg/kg of %s acid: it may not be "
                               "allowed in this product at all.",
                               way->way, acid->mg_kg, acid->name));
}

static double benzoic_mg_kg(const struct lot_conditions *made, const struct lot_facts *facts)
{
    double moisture_pct = made->crumb_moisture_pct;
    return acid_mg_per_kg_from_mmol_l(facts->total_mmol_l.mmol_l[ACID_BENZOIC], moisture_pct,
                                      acid_constants(ACID_BENZOIC)->molar_g_mol);
}

static void add_way(json_t *list, const struct law_way *way, const struct limit *limit,
                    const struct models_values *values)
{
    struct lot_conditions made = way->lot->made, specified = way->lot->specified;
    struct lot_facts facts;
    lot_conditions_fill(&specified, NULL, values);
    lot_conditions_fill(&made, &specified, values);
    lot_conditions_facts(&made, values, &facts);
    const struct acid_told acids[] = {
        {"propionic", facts.propionic_mg_kg, limit ? limit->propionic_mg_kg : NAN},
        {"sorbic", facts.sorbic_mg_kg, limit ? limit->sorbic_mg_kg : NAN},
        {"benzoic", benzoic_mg_kg(&made, &facts), NAN}};
    for (size_t i = 0; i < sizeof acids / sizeof *acids; i++)
        add_over(list, way, &acids[i], limit);
}

json_t *law_json(const struct limits *limits, const struct evidence_lot *lot,
                 const struct law_way *ways, size_t count, const struct models_values *values)
{
    const struct limit *limit = limits_of(limits, lot->plant, lot->family);
    json_t *list = json_array();
    for (size_t i = 0; i < count; i++)
        add_way(list, &ways[i], limit, values);
    if (!limit) {
        json_array_append_new(list, json_sprintf("No limit is on record for products of the family "
                                                 "'%s'. %s",
                                                 lot->family, DECIDES));
        return list;
    }
    struct text_buffer most = {0};
    text_appendf(&most, "%.0f mg/kg of propionic acid", limit->propionic_mg_kg);
    if (!isnan(limit->sorbic_mg_kg))
        text_appendf(&most, ", %.0f of sorbic acid", limit->sorbic_mg_kg);
    json_array_append_new(list,
                          json_sprintf("The limit in force here is that of %s: at most %s in the "
                                       "bread (%s); yours may be another. %s",
                                       limit->what, most.data, limit->source, DECIDES));
    text_buffer_free(&most);
    return list;
}

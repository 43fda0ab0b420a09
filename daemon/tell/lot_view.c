/* One lot's records beside target and recent lots, and what the models make of them. */
#include "base/text.h"
#include "base/tz_of.h"
#include "facts/model_lot.h"
#include "store/company_count.h"
#include "tell/case_json.h"
#include "tell/measured_json.h"
#include "tell/mold_days.h"
#include "tell/tell.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { CURVE_DAYS = 21 };

static json_t *reading_json(const struct triage *triage, const struct lot_record *record,
                            const struct lot_series *series, const struct fact_baseline *baseline)
{
    struct lot_summary summary = lot_record_summary(record, series, INT64_MAX);
    const struct fact_usual *usual = facts_usual(baseline, series->quantity);
    const struct catalogue_quantity *known =
        catalogue_quantity(triage->rules->catalogue, series->quantity);
    bool compared = usual && usual->count >= FACTS_BASELINE_LEAST && summary.count > 0;
    double z =
        compared ? (summary.median - usual->median[PART_MEDIAN]) / usual->spread[PART_MEDIAN] : NAN;
    return json_pack(
        "{s:s, s:s, s:s, s:o, s:o, s:o, s:i, s:b, s:o, s:o, s:o, s:o, s:o, s:o, s:o}", "quantity",
        series->quantity, "title",
        known ? known->title
              : vocabulary_quantity_title(triage->rules->vocabulary, series->quantity),
        "unit", known ? known->unit : vocabulary_unit(triage->rules->vocabulary, series->quantity),
        "value", jsonx_rounded(summary.median, 4), "min", jsonx_rounded(summary.min, 4), "max",
        jsonx_rounded(summary.max, 4), "n", summary.count, "computed", series->computed, "target",
        jsonx_rounded(series->target, 4), "low", jsonx_rounded(series->low, 4), "high",
        jsonx_rounded(series->high, 4), "usual",
        jsonx_rounded(compared ? usual->median[PART_MEDIAN] : NAN, 4), "spread",
        jsonx_rounded(compared ? usual->spread[PART_MEDIAN] : NAN, 4), "z", jsonx_rounded(z, 2),
        "at", case_json_when(triage, record->lot.plant, summary.last_ms));
}

static json_t *materials_json(const struct triage *triage, const struct lot_record *record)
{
    json_t *list = json_array();
    for (int i = 0; i < record->use_count; i++) {
        const struct lot_use *use = &record->uses[i];
        json_array_append_new(
            list,
            json_pack("{s:s, s:s, s:o, s:o, s:o, s:o, s:s*, s:s*}", "material", use->material,
                      "material_lot", use->material_lot, "supplier",
                      *use->supplier ? json_string(use->supplier) : json_null(), "kg",
                      jsonx_rounded(use->kg, 3), "active_pct", jsonx_rounded(use->active_pct, 3),
                      "first_used", case_json_when(triage, record->lot.plant, use->first_ms),
                      "kind", *use->kind ? use->kind : NULL, "applied",
                      !*use->kind       ? NULL
                      : use->on_surface ? "surface"
                                        : "dough"));
    }
    return list;
}

static json_t *dispatch_json(const struct triage *triage, const struct lot_record *record)
{
    json_t *list = json_array();
    for (int i = 0; i < record->dispatch_count; i++) {
        const struct lot_dispatch *dispatch = &record->dispatches[i];
        json_array_append_new(list,
                              json_pack("{s:s, s:s, s:o, s:I, s:o}", "route", dispatch->route,
                                        "store", dispatch->store, "at",
                                        case_json_when(triage, record->lot.plant, dispatch->at_ms),
                                        "units", (json_int_t)dispatch->units, "transit_c",
                                        jsonx_rounded(dispatch->transit_c, 2)));
    }
    return list;
}

/* No days are counted from a specification that lies past the horizon: that some are lost is told.
 */
static json_t *terms_json(const struct mold_prediction *mold,
                          const struct mold_prediction *specified)
{
    json_t *terms = json_array();
    double horizon_days = specified->horizon_days;
    for (int t = 0; t < PREDICT_TERMS; t++) {
        double lost = mold->term_days[t];
        double left = specified->mold_free_days.typical - lost;
        bool counted = specified->mold_free_days.typical <= horizon_days && left <= horizon_days;
        bool told =
            counted || left <= horizon_days || specified->mold_free_days.typical <= horizon_days;
        if (told && fabs(lost) >= 0.05)
            json_array_append_new(
                terms,
                json_pack("{s:s, s:o, s:b}", "term", predict_term_name((enum predict_term)t),
                          "days_lost", jsonx_rounded(counted ? lost : NAN, 2), "gained", lost < 0));
    }
    return terms;
}

/* Of the packs that carry a spore able to grow there, as the days without mold are told: how many
 * carry one is a guess until a plant calibrates, and no share of all packs. */
static double carriers_moldy(const struct triage *triage, const struct mold_course *course, int day)
{
    double carriers = -expm1(-course->spores);
    double moldy = predict_course_share(course, &triage->models, day);
    return carriers > 0 ? fmin(moldy / carriers, 1) : moldy;
}

static json_t *curve_json(const struct triage *triage, const struct model_lot *lot)
{
    struct mold_course made, specified;
    json_t *curve = json_array();
    predict_mold_course(&lot->made, &lot->specified, &triage->models, &made);
    predict_mold_course(&lot->specified, NULL, &triage->models, &specified);
    for (int day = 1; day <= CURVE_DAYS; day++)
        json_array_append_new(
            curve, json_pack("{s:i, s:o, s:o}", "day", day, "as_made",
                             jsonx_rounded(carriers_moldy(triage, &made, day), 4), "as_specified",
                             jsonx_rounded(carriers_moldy(triage, &specified, day), 4)));
    return curve;
}

static json_t *prediction_json(const struct triage *triage, const struct model_lot *lot)
{
    struct mold_prediction made, specified;
    struct odor_prediction odor;
    struct firmness_prediction firm, firm_specified;
    predict_mold(&lot->made, &lot->specified, &triage->models, &made);
    predict_mold(&lot->specified, NULL, &triage->models, &specified);
    predict_odor(&lot->made, &lot->specified, &triage->models, &odor);
    predict_firmness(&lot->made, &lot->specified, &triage->models, 5, &firm);
    predict_firmness(&lot->specified, NULL, &triage->models, 5, &firm_specified);
    return json_pack(
        "{s:{s:o, s:o, s:o, s:s, s:o, s:b}, s:{s:i, s:o, s:o}, s:{s:o, s:o, s:b}, s:o}",
        "mold_free_days", "as_made", mold_days_json(&made), "as_specified",
        mold_days_json(&specified), "terms", terms_json(&made, &specified), "costliest",
        predict_term_name(made.costliest), "curve", curve_json(triage, lot), "calibrated",
        triage->calibration != NULL, "firmness", "day", 5, "as_made",
        jsonx_rounded(firm.valid ? firm.ratio.typical : NAN, 2), "as_specified",
        jsonx_rounded(firm_specified.valid ? firm_specified.ratio.typical : NAN, 2), "odor", "cold",
        jsonx_rounded(odor.cold.ratio, 3), "warm", jsonx_rounded(odor.warm.ratio, 3), "valid",
        odor.valid, "condensate_g", jsonx_rounded(made.facts.condensate.free_g, 2));
}

static void add_lot_json(const struct triage *triage, const struct evidence_lot *lot,
                         json_t *object)
{
    char code_date[16];
    json_object_set_new(object, "lot", json_string(lot->lot));
    json_object_set_new(object, "exact", json_true());
    json_object_set_new(object, "candidates",
                        json_pack("[{s:s, s:f}]", "lot", lot->lot, "weight", 1.0));
    json_object_set_new(object, "product", json_string(lot->product));
    json_object_set_new(object, "name", json_string(lot->name));
    json_object_set_new(object, "family", json_string(lot->family));
    json_object_set_new(object, "plant", json_string(lot->plant));
    json_object_set_new(object, "line", json_string(lot->line));
    json_object_set_new(object, "shift", json_string(lot->shift));
    json_object_set_new(object, "made_from", case_json_when(triage, lot->plant, lot->made_from_ms));
    json_object_set_new(object, "packed_from",
                        case_json_when(triage, lot->plant, lot->packed_from_ms));
    json_object_set_new(object, "packed_to", case_json_when(triage, lot->plant, lot->packed_to_ms));
    if (tz_of_apart(triage->tz, lot->plant))
        json_object_set_new(object, "zone", json_string(tz_of_apart(triage->tz, lot->plant)));
    json_object_set_new(object, "units", json_integer(lot->units));
    json_object_set_new(object, "code_date", json_string(day_format(lot->code_day, code_date)));
}

int tell_lot(struct triage *triage, struct store *store, int64_t lot_id, json_t **ret,
             struct error *err)
{
    const struct lot_record *record;
    const struct fact_baseline *baseline;
    struct lot_records records;
    int rc = triage_of_lot(triage, store, lot_id, &triage, err);
    if (!rc)
        rc = lot_record_all(store, triage->rules, triage->tz, &records, err);
    if (!rc)
        rc = lot_record_get(triage->source.lots, &records, lot_id, &record, err);
    if (rc)
        return rc;
    int64_t now_ms = record->lot.packed_to_ms + WHEN_DAY_MS;
    rc = facts_baseline(&triage->source, &records, record, now_ms, &baseline, err);
    if (rc) {
        lot_record_unref(record);
        return rc;
    }
    struct model_lot lot;
    json_t *object = json_object(), *readings = json_array();
    add_lot_json(triage, &record->lot, object);
    for (int i = 0; i < record->series_count; i++)
        json_array_append_new(readings, reading_json(triage, record, &record->series[i], baseline));
    json_object_set_new(object, "readings", readings);
    measured_json_add(triage, store, lot_id, object);
    json_object_set_new(object, "materials", materials_json(triage, record));
    json_object_set_new(object, "dispatch", dispatch_json(triage, record));
    model_lot_of(triage->rules, record, baseline, INT64_MAX, &lot);
    json_object_set_new(object, "prediction", prediction_json(triage, &lot));
    cache_object_unref((void *)baseline);
    lot_record_unref(record);
    *ret = object;
    return 0;
}

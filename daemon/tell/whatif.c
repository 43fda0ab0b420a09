#include "tell/whatif.h"
#include "base/jsonx.h"
#include "rank/case_rank.h"
#include "rules/catalogue.h"
#include "tell/assumed.h"
#include "tell/law.h"
#include "tell/mold_days.h"
#include "tell/preserving.h"
#include "tell/warm.h"
#include <math.h>
#include <string.h>

enum { FIRM_DAY = 5, HALVINGS = 40, LEVERS_MOST = 8 };
/* Of the dose below the largest that the acid formulas were tried at, of the crumb above that of
 * sourdough: where nobody looks further. Common practice, no source. */
static const double DOSE_MOST_PCT = 1.0, PH_LEAST = 4.5;
/* What the strictest hygiene could do to the spores that reach a pack: engineering inference. */
static const double SPORES_LEAST = 1e-3;
/* A change of less than that is none. */
static const double SAME = 1e-6;

struct expecting {
    struct triage *triage;
    const struct whatif *asked;
    const struct lot_record *record;
    const struct fact_baseline *baseline;
};

/* The lot with the changes asked for and, of `more`, one besides. */
static void changed_lot(const struct expecting *x, const struct model_change *more,
                        struct model_lot *ret)
{
    struct model_change row[WHATIF_CHANGES + 1];
    struct model_changes changes = {.row = row, .nothing_read = x->asked->of_product};
    for (size_t i = 0; i < x->asked->change_count; i++)
        if (!more || strcmp(more->quantity, x->asked->changes[i].quantity) != 0)
            row[changes.count++] = x->asked->changes[i];
    if (more)
        row[changes.count++] = *more;
    model_lot_changed(x->triage->rules, x->record, x->baseline, &changes, ret);
}

/* ---- what the models expect ---- */

static double moldy_share(const struct expecting *x, const struct model_lot *lot, double day)
{
    struct mold_course course;
    predict_mold_course(&lot->made, &lot->specified, &x->triage->models, &course);
    return course.valid ? predict_course_share(&course, &x->triage->models, day) : NAN;
}

static json_t *odor_json(const struct odor_prediction *odor)
{
    const struct spread_range *range = &odor->cold_ratio;
    bool valid = odor->valid;
    return json_pack(
        "{s:o, s:o, s:o, s:o, s:b, s:s}", "low", jsonx_rounded(valid ? range->low : NAN, 3),
        "typical", jsonx_rounded(valid ? range->typical : NAN, 3), "high",
        jsonx_rounded(valid ? range->high : NAN, 3), "warm",
        jsonx_rounded(valid ? odor->warm.ratio : NAN, 3), "valid", valid, "reason", odor->reason);
}

static json_t *firmness_json(const struct firmness_prediction *firm)
{
    bool valid = firm->valid;
    return json_pack("{s:i, s:o, s:o, s:o, s:b, s:s}", "day", FIRM_DAY, "low",
                     jsonx_rounded(valid ? firm->ratio.low : NAN, 2), "typical",
                     jsonx_rounded(valid ? firm->ratio.typical : NAN, 2), "high",
                     jsonx_rounded(valid ? firm->ratio.high : NAN, 2), "valid", valid, "reason",
                     firm->reason);
}

/* The shelf life that the days fall short of, by the models; null: they last it, or it is not said.
 */
static json_t *short_of(const struct expecting *x, const struct mold_prediction *mold)
{
    int shelf_life_days = x->record->lot.shelf_life_days;
    bool is_short =
        mold->valid && mold->mold_free_days.typical < fmin(shelf_life_days, mold->horizon_days);
    return is_short ? json_integer(shelf_life_days) : json_null();
}

static json_t *way_json(const struct expecting *x, const char *way, const struct model_lot *lot)
{
    const struct models_parameters *models = &x->triage->models;
    struct mold_prediction mold;
    struct odor_prediction odor;
    struct firmness_prediction firm;
    predict_mold(&lot->made, &lot->specified, models, &mold);
    predict_odor(&lot->made, &lot->specified, models, &odor);
    predict_firmness(&lot->made, &lot->specified, models, FIRM_DAY, &firm);
    double moldy =
        x->asked->hold_days && mold.valid ? moldy_share(x, lot, x->asked->hold_days) : NAN;
    struct lot_conditions filled = lot->made, specified = lot->specified;
    lot_conditions_fill(&specified, NULL, &models->typical);
    lot_conditions_fill(&filled, &specified, &models->typical);
    return json_pack("{s:s, s:o, s:o, s:o, s:o, s:o, s:o}", "way", way, "mold_free_days",
                     mold_days_json(&mold), "short_of", short_of(x, &mold), "without_mold",
                     jsonx_rounded(1 - moldy, 4), "odor", odor_json(&odor), "firmness",
                     firmness_json(&firm), "preserving",
                     preserving_json(x->triage->rules, &filled, &models->typical));
}

static json_t *ways_json(const struct expecting *x)
{
    const struct model_changes none = {.nothing_read = x->asked->of_product};
    json_t *ways = json_array();
    struct model_lot lot;
    model_lot_changed(x->triage->rules, x->record, x->baseline, &none, &lot);
    if (!x->asked->of_product)
        json_array_append_new(ways, way_json(x, "as made", &lot));
    lot.made = lot.specified;
    json_array_append_new(ways, way_json(x, "as specified", &lot));
    if (x->asked->change_count) {
        changed_lot(x, NULL, &lot);
        json_array_append_new(ways, way_json(x, "as changed", &lot));
    }
    return ways;
}

/* Of the same ways, in the same order. */
static json_t *ways_law(const struct expecting *x)
{
    const struct model_changes none = {.nothing_read = x->asked->of_product};
    struct model_lot made, specified, changed;
    model_lot_changed(x->triage->rules, x->record, x->baseline, &none, &made);
    specified = made;
    specified.made = made.specified;
    changed_lot(x, NULL, &changed);
    const struct law_way all[] = {
        {"as made", &made}, {"as specified", &specified}, {"as changed", &changed}};
    size_t first = x->asked->of_product ? 1 : 0, count = x->asked->change_count ? 3 : 2;
    return law_json(x->asked->limits, &x->record->lot, all + first, count - first,
                    &x->triage->models.typical);
}

static json_t *ways_assumed(const struct expecting *x)
{
    struct model_lot lot;
    changed_lot(x, NULL, &lot);
    return assumed_json(x->triage, x->record, &lot, x->asked->hold_days > 0);
}

static json_t *changes_json(const struct expecting *x)
{
    json_t *list = json_array();
    for (size_t i = 0; i < x->asked->change_count; i++) {
        const struct model_change *change = &x->asked->changes[i];
        const struct catalogue_quantity *known =
            catalogue_quantity(x->triage->rules->catalogue, change->quantity);
        double was =
            model_lot_value(x->record, x->baseline, change->quantity, x->asked->of_product);
        json_array_append_new(list,
                              json_pack("{s:s, s:s, s:s, s:o, s:f}", "quantity", change->quantity,
                                        "title", known ? known->title : change->quantity, "unit",
                                        known ? known->unit : "", "was", jsonx_rounded(was, 4),
                                        "is", change->value));
    }
    return list;
}

/* ---- what would have held ---- */

struct lever {
    const char *quantity; /* NULL: the spores that reach a pack */
    double now, last;     /* from, to: each step towards `last` holds longer */
};

static void pulled(const struct expecting *x, const struct lever *lever, double value,
                   struct model_lot *ret)
{
    const struct model_change change = {lever->quantity, value};
    changed_lot(x, lever->quantity ? &change : NULL, ret);
    if (!lever->quantity)
        ret->made.spores_factor = value;
}

static bool holds(const struct expecting *x, const struct lever *lever, double value)
{
    struct model_lot lot;
    pulled(x, lever, value, &lot);
    return moldy_share(x, &lot, x->asked->hold_days) <= 1 - x->asked->share;
}

/* The nearest value that holds; NAN: not even the last does. */
static double needed(const struct expecting *x, const struct lever *lever)
{
    if (!holds(x, lever, lever->last))
        return NAN;
    double fails = lever->now, held = lever->last;
    for (int i = 0; i < HALVINGS; i++) {
        double middle = lever->quantity ? (fails + held) / 2 : sqrt(fails * held);
        *(holds(x, lever, middle) ? &held : &fails) = middle;
    }
    return held;
}

static void over_limit(const struct limit *limit, const char *acid, double mg_kg, double most_mg_kg,
                       struct text_buffer *out)
{
    if (mg_kg > most_mg_kg)
        text_appendf(out, "%s%.0f mg/kg of %s acid, above %.0f: %s (%s)", out->length ? "; " : "",
                     mg_kg, acid, most_mg_kg, limit->what, limit->source);
}

/* What speaks against it though it holds; false: nothing. Never more than a model knows. */
static bool objection(const struct expecting *x, const struct lever *lever, double value,
                      struct text_buffer *out)
{
    struct model_lot lot;
    struct odor_prediction odor;
    struct mold_prediction mold;
    const struct limit *limit =
        limits_of(x->asked->limits, x->record->lot.plant, x->record->lot.family);
    pulled(x, lever, value, &lot);
    predict_odor(&lot.made, &lot.specified, &x->triage->models, &odor);
    predict_mold(&lot.made, &lot.specified, &x->triage->models, &mold);
    if (odor.valid && odor.cold.ratio >= 1)
        text_appendf(out, "the acid would be smelled: %.1f times what half of all noses notice",
                     odor.cold.ratio);
    if (limit) {
        over_limit(limit, "propionic", mold.facts.propionic_mg_kg, limit->propionic_mg_kg, out);
        over_limit(limit, "sorbic", mold.facts.sorbic_mg_kg, limit->sorbic_mg_kg, out);
    }
    return out->length > 0;
}

static json_t *lever_json(const struct expecting *x, const struct lever *lever)
{
    const struct catalogue_quantity *known =
        lever->quantity ? catalogue_quantity(x->triage->rules->catalogue, lever->quantity) : NULL;
    struct text_buffer against = {0};
    double value = isnan(lever->now) ? NAN : needed(x, lever);
    bool is_held = !isnan(value);
    if (isnan(lever->now))
        text_append(&against, "it is on no record, nor a target for it");
    else if (!is_held)
        text_append(&against, "no value in reach holds so long");
    bool good = is_held && !objection(x, lever, value, &against);
    json_t *object =
        json_pack("{s:s?, s:s, s:s, s:o, s:o, s:o, s:b, s:s}", "quantity", lever->quantity, "title",
                  known ? known->title : "Spores that reach a pack", "unit",
                  known ? known->unit : "of today's", "now", jsonx_rounded(lever->now, 4), "needs",
                  jsonx_rounded(value, 4), "last", jsonx_rounded(lever->last, 4), "good", good,
                  "against", against.data ? against.data : "");
    text_buffer_free(&against);
    return object;
}

static double now_of(const struct expecting *x, const char *quantity)
{
    for (size_t i = 0; i < x->asked->change_count; i++)
        if (strcmp(x->asked->changes[i].quantity, quantity) == 0)
            return x->asked->changes[i].value;
    return model_lot_value(x->record, x->baseline, quantity, x->asked->of_product);
}

/* The doses of what the lot holds; of a lot without any, the plant's own inhibitor. */
static size_t dose_levers(const struct expecting *x, struct lever *ret, size_t room)
{
    const struct rules *rules = x->triage->rules;
    const struct catalogue_quantity *q;
    size_t count = 0;
    double own = now_of(x, "inhibitor_pct_flour");
    for (int i = 0; count < room && (q = catalogue_quantity_at(rules->catalogue, i)); i++) {
        bool is_dose = q->preserver && q->measure != PRESERVER_STRENGTH;
        if (!is_dose)
            continue;
        double now = now_of(x, q->name);
        if (now > 0 && strcmp(rules_quantity(rules, q->name), q->name) == 0)
            ret[count++] = (struct lever){q->name, now, fmax(q->preserver->most_pct_flour, now)};
    }
    if (count < room && (!isnan(own) || count == 0))
        ret[count++] = (struct lever){"inhibitor_pct_flour", own, DOSE_MOST_PCT};
    return count;
}

static json_t *levers_json(const struct expecting *x, bool *ret_good)
{
    double room_c = now_of(x, "pack_room_c");
    room_c = isnan(room_c) ? x->triage->models.typical.wet.pack_room_c : room_c;
    struct lever levers[LEVERS_MOST] = {{"core_at_pack_c", now_of(x, "core_at_pack_c"), room_c}};
    size_t count = 1 + dose_levers(x, &levers[1], LEVERS_MOST - 3);
    levers[count++] = (struct lever){"crumb_ph", now_of(x, "crumb_ph"), PH_LEAST};
    levers[count++] = (struct lever){NULL, 1, SPORES_LEAST};
    json_t *list = json_array();
    *ret_good = false;
    for (size_t i = 0; i < count; i++) {
        json_t *one = lever_json(x, &levers[i]);
        if (levers[i].quantity && json_is_true(json_object_get(one, "good")))
            *ret_good = true;
        json_array_append_new(list, one);
    }
    return list;
}

static const char *what_holds(double moldy, double share, bool good)
{
    return isnan(moldy) ? "It cannot be said: too little is known of the lot."
           : moldy <= 1 - share
               ? "By the models it holds so long as it is; they know nothing of spores that got in "
                 "by a "
                 "fault. What of it was found moldy: oddloaf cases --symptom mold --product."
           : good ? "One of these changes alone would hold so long."
                  : "By the models no packing temperature, dose or crumb pH in reach "
                    "holds so long alone; fewer spores, from cleaner work after the "
                    "oven, would be needed too.";
}

static json_t *hold_json(const struct expecting *x)
{
    struct model_lot lot;
    bool good = false;
    changed_lot(x, NULL, &lot);
    struct mold_prediction mold;
    predict_mold(&lot.made, &lot.specified, &x->triage->models, &mold);
    double moldy = mold.valid ? moldy_share(x, &lot, x->asked->hold_days) : NAN;
    bool looked = moldy > 1 - x->asked->share + SAME;
    json_t *levers = looked ? levers_json(x, &good) : json_array();
    return json_pack("{s:i, s:f, s:o, s:o, s:s}", "days", x->asked->hold_days, "share",
                     x->asked->share, "without_mold", jsonx_rounded(1 - moldy, 4), "levers", levers,
                     "says", what_holds(moldy, x->asked->share, good));
}

/* ---- what packing warm does besides ---- */

static double asked_value(const struct expecting *x, const char *quantity)
{
    for (size_t i = 0; i < x->asked->change_count; i++)
        if (strcmp(x->asked->changes[i].quantity, quantity) == 0)
            return x->asked->changes[i].value;
    return model_lot_value(x->record, x->baseline, quantity, x->asked->of_product);
}

/* What the days above do not count of a lot packed warm, as asked for; null: it is not, or nobody
 * read it. */
static json_t *heat_json(const struct expecting *x)
{
    struct warm warm = {asked_value(x, "core_at_pack_c"), asked_value(x, "pack_room_c")};
    double target = model_lot_value(x->record, x->baseline, "core_at_pack_c", true);
    if (!warm_packed(x->triage, &warm))
        return json_null();
    return json_sprintf(
        "Packed at %.1f °C in a room of %.0f °C. Of sweat the models hold how much water "
        "condenses, that it wets the crust (to a water activity of %.3g), thins the preservative "
        "there and lets more spores grow. They do not hold drops that stay on crust and film or "
        "carry spores over it, nor the hours that a pack or a full crate stays warm: packing hot "
        "can cost more days than these, and cooling gain more.%s",
        warm.core_c, warm.room_c, x->triage->models.typical.wet.spot_aw,
        warm.core_c <= target ? "" : " Bring it to its target whatever else is changed.");
}

/* ---- the whole ---- */

/* Of changes of a recipe: the rules' own words. */
static json_t *cautions_json(const struct triage *triage)
{
    static const char *const IDS[] = {"license", "powders", "heat"};
    json_t *list = json_array();
    for (size_t i = 0; i < sizeof IDS / sizeof IDS[0]; i++) {
        const struct rule_caution *caution = rules_caution(triage->rules, IDS[i]);
        if (caution)
            json_array_append_new(list, json_string(caution->text));
    }
    return list;
}

static json_t *answer_json(const struct expecting *x)
{
    const struct evidence_lot *lot = &x->record->lot;
    return json_pack(
        "{s:o, s:s, s:s, s:s, s:o, s:o, s:o, s:o, s:o, s:b, s:o, s:o}", "lot",
        x->asked->of_product ? json_null() : json_string(lot->lot), "product", lot->product, "name",
        lot->name, "family", lot->family, "changed", changes_json(x), "ways", ways_json(x), "hold",
        x->asked->hold_days ? hold_json(x) : json_null(), "heat", heat_json(x), "cautions",
        cautions_json(x->triage), "calibrated", x->triage->calibration != NULL, "law", ways_law(x),
        "assumes", ways_assumed(x));
}

int whatif_tell(struct triage *triage, struct store *store, const struct whatif *asked,
                json_t **ret, struct error *err)
{
    struct lot_records records;
    int rc = triage_of_lot(triage, store, asked->lot_id, &triage, err);
    struct expecting x = {triage, asked, NULL, NULL};
    if (!rc)
        rc = lot_record_all(store, triage->rules, triage->tz, &records, err);
    if (!rc)
        rc = lot_record_get(triage->source.lots, &records, asked->lot_id, &x.record, err);
    if (rc)
        return rc;
    int64_t now_ms = x.record->lot.packed_to_ms + WHEN_DAY_MS;
    rc = facts_baseline(&triage->source, &records, x.record, now_ms, &x.baseline, err);
    if (!rc) {
        *ret = answer_json(&x);
        cache_object_unref((void *)x.baseline);
    }
    lot_record_unref(x.record);
    return rc;
}
